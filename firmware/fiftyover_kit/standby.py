"""The hold that the kit keeps by itself while its hub is silent, if a person armed it at the smoker for this batch.

Integers in one array('i'), no allocation. It only asks for heat: `guard.heat_allowed` still has every lock of its own.
    offered   the newest grant that was taken carried a stand-by: a batch, a chamber temperature, seconds
    armed     by the button, while a batch is offered and the hub is heard. Ended by the button, any stop obeyed, a
              grant without stand-by or for another batch - also one that the guard refuses, unless it is retained, of
              another hub or boot, or not newer than what was heard - and by the end of its seconds; lost in a restart
    silent    nothing at all from the bound hub for 30 s; what time has ended stays ended until the hub is heard again
    holds     armed and silent. Its seconds are added up over all silences of one arming
The power is a slow PI on the chamber's centi-degC, called only while there may be heat, so that it does not wind up. It
begins at the mean of the hub's last duties, but at no more than half. Gain and reset time are those of an integrator
with delay (0.13 K/s per unit duty, 35 s; twice that gain for 1500 W) with four and two times the delay to spare.

state (slots)   0 OFFERED  1 ARMED  2 SEEN (newest number of a grant, -1 none)  3 HEARD_AT  4 SILENT  5 HOLDS
                6 CENTI (hold at, centi-degC)  7 LIMIT ms  8 SPENT ms  9 LAST tick  10 LOW (a core has passed 62 °C)
                11 TERM (the integral, duty in 1/1000 x 2^12)  12 AFTER ms
"""

from array import array

from .contract.limits import SEQ_MAX, STANDBY_AFTER_MS, STANDBY_LOW_DEGC, ticks_diff

try:
    from micropython import const  # names with an underscore then cost no heap
except ImportError:

    def const(value):
        return value


_OFFERED = const(0)
_ARMED = const(1)
_SEEN = const(2)
_HEARD_AT = const(3)
_SILENT = const(4)
_HOLDS = const(5)
_CENTI = const(6)
_LIMIT = const(7)
_SPENT = const(8)
_LAST = const(9)
_LOW = const(10)
_TERM = const(11)
_AFTER = const(12)
_TERM_SHIFT = const(12)
_TERM_FIRST_MAX = const(500 << 12)
_MEAN_SHIFT = const(3)  # of the last eight duties or so
_FAR_CENTIKELVIN = const(2000)
_LOW_CENTI = int(STANDBY_LOW_DEGC * 100)


def new_state(now_ms, after_ms=STANDBY_AFTER_MS):
    """State of a kit that has just started: nothing offered, nothing armed, no hub heard.

    `after_ms`: the silence, longer where a simulated kit's ticks run faster than the link's real seconds.
    """
    return array("i", [0, 0, -1, now_ms, 1, 0, 0, 0, 0, now_ms, 0, 0, after_ms])


def _end(state):
    state[_HOLDS] = 0
    state[_ARMED] = 0
    if state[_SILENT] == 1:  # who is silent offers nothing new
        state[_OFFERED] = 0


def _spend(state, ms):
    """Hold seconds that went by. A negative time is one of over half the tick period: spent, for good."""
    if 0 <= ms < state[_LIMIT] - state[_SPENT]:
        state[_SPENT] += ms
    else:
        _end(state)


def _age(state, now_ms):
    if state[_HOLDS] == 1:
        _spend(state, ticks_diff(now_ms, state[_LAST]))
    elif state[_SILENT] == 0:
        silent_ms = ticks_diff(now_ms, state[_HEARD_AT])
        if not 0 <= silent_ms < state[_AFTER]:
            state[_SILENT] = 1
            if state[_ARMED] == 1:
                state[_HOLDS] = 1
                state[_TERM] = min(state[_TERM], _TERM_FIRST_MAX)
                _spend(state, silent_ms - state[_AFTER])
            else:
                _end(state)
    state[_LAST] = now_ms


def on_heard(state, now_ms):
    """Anything, not retained, came from the bound hub: it is not silent."""
    _age(state, now_ms)
    state[_HEARD_AT] = now_ms
    state[_SILENT] = 0
    state[_HOLDS] = 0
    state[_LOW] = 0


def on_grant(state, now_ms, boot_ok, hub_ok, retained, seq, taken, same, centi_degC, limit_s, duty_1000):
    """A grant, after the guard had it: `taken` 1 if it was accepted. 1 if the batch it carries is offered from now on.

    `same`: 1 it carries a stand-by for the batch that was offered last, 0 for another, -1 it carries none (then
    `centi_degC` and `limit_s` are not looked at).
    """
    _age(state, now_ms)
    if retained != 0 or hub_ok != 1 or boot_ok != 1 or not state[_SEEN] < seq <= SEQ_MAX:
        return 0
    state[_SEEN] = seq
    if same != 1:
        state[_OFFERED] = 0
        _end(state)
    if taken != 1:
        return 0
    state[_TERM] += ((duty_1000 << _TERM_SHIFT) - state[_TERM]) >> _MEAN_SHIFT
    if same < 0:
        return 0
    state[_OFFERED] = 1
    state[_CENTI] = centi_degC
    state[_LIMIT] = limit_s * 1000
    return 1


def on_stop(state):
    """A stop that the guard obeyed, or the kit obeys another hub from now on: nothing is armed or offered.

    Its number is the guard's business: what came before it is not taken, and so offers nothing.
    """
    state[_OFFERED] = 0
    _end(state)


def on_button(state, now_ms):
    """A person at the smoker arms, or ends what is armed: 1 if it is armed now."""
    _age(state, now_ms)
    if state[_ARMED] == 1:
        _end(state)
    elif state[_OFFERED] == 1 and state[_SILENT] == 0:
        state[_SPENT] = 0
        state[_ARMED] = 1
    return state[_ARMED]


def on_core(state):
    """A believable core is over 62 °C: the hold falls, for as long as this silence lasts."""
    state[_LOW] = state[_HOLDS]


def holds(state, now_ms):
    """1 while the kit holds the chamber by itself, as far as stand-by goes."""
    _age(state, now_ms)
    return state[_HOLDS]


def goal(state):
    """The chamber temperature held, centi-degC."""
    return min(state[_CENTI], _LOW_CENTI) if state[_LOW] != 0 else state[_CENTI]


def power(state, chamber_centi):
    """The duty 0..1000 for the next guard tick, for a chamber of so many centi-degC."""
    off = max(-_FAR_CENTIKELVIN, min(_FAR_CENTIKELVIN, goal(state) - chamber_centi))
    wanted = (off >> 1) + (state[_TERM] >> _TERM_SHIFT)
    if 0 <= wanted <= 1000:  # at an end nothing is wound up
        state[_TERM] += off
    return max(0, min(1000, wanted))


def is_armed(state):
    """1 while armed."""
    return state[_ARMED]


def left_ms(state):
    """Milliseconds that this hold may go on, 0 while there is none."""
    return max(0, state[_LIMIT] - state[_SPENT]) if state[_HOLDS] == 1 else 0
