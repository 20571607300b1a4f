"""The interlock: may the element be on? Integers in one array('i'), no allocation, nothing but `contract.limits`.

Heat is allowed only while ALL of these hold; each is asked for in the positive, so that a value which should not occur
means off:
    the latch is open              no 2 of the last 8 samples above the cap since a person cleared it
    the boot hold is over          5 s after the start
    the chamber reading is good    `ok` or `uncalibrated`, strictly between the limits, and at most 5 s old
    the door is shut               2 min since it was opened, or until the button says "closed"
    a permit is live               granted for the frame it echoes, and 0 < time left <= 30 s; or, without one,
                               `standby` holds: asked for by the caller, who owns that hold
What ends a permit stays ended: every call first writes down what time has ended (`_age`), so a tick that comes round
again after 2^30 ms revives nothing. A probe fault, the cap or the door also fences: the next grant must have been
decided on a later frame. Expiry 0 means "none": a new permit is written expiry 0, duty, real expiry, so that a timer
interrupt in between sees no heat.

limits (new_state)   3 integers (cap, cold, clear), sums of counts of the chamber probe at its cap, at the lowest
                     believable temperature and 10 K below the cap; 6 with a second chamber probe (cap, cold, clear of
                     that one). Counts may fall (NTC to ground: cap < clear < cold) or rise with temperature
                     (NTC to rail: cold < clear < cap).
status (on_reading)  index in contract.limits.STATUS:  0 ok  1 open  2 short  3 range  4 jump  5 stuck  6 uncalibrated
reason               index in contract.limits.WHY:     0 on  1 off  2 refused  3 expired  4 cap  5 probe-fault
                     6 boot-hold  7 link-lost  8 door  9 latched  10 standby
on_grant             0 accepted, else index in contract.limits.REFUSALS:  1 retained  2 other-hub  3 other-boot
                     4 not-newer  5 ttl  6 duty  7 too-old  8 from-future  9 probe-fault  10 before-clear
state (slots)        0..6   SIGN CAP COLD CLEAR SIGN_2 CAP_2 CLEAR_2     sign * counts: rise with temperature
                     7 LATCH  8 HISTORY (last 8 samples, bit 0 newest: above the cap)
                     9 HOT_2  10 COOL_2    second probe's sample of this tick: above its cap; below its clear limit
                     11 READ_AT  12 GOOD  13 COOL  14 SICK (reason while not good)
                     15 BOOT_AT  16 HOLD  17 DOOR  18 DOOR_AT  19 FENCE  20 FENCE_AT
                     21 SEQ (newest seen, -1 none)  22 EXPIRY (0 none)  23 DUTY  24 CAUSE (why there is no permit)
                     25 QUIET  26 QUIET_AT (another hub's stop was obeyed)  27 LINK  28 WHY (of the last decision)
Time: now_ms, up_ms are ticks of 2^30 ms. The second chamber probe is told first (`on_second`), then the chamber.
"""

from array import array

from .contract.limits import (
    BOOT_HOLD_MS,
    CHAMBER_STALE_MS,
    DOOR_HOLD_MS,
    SEQ_MAX,
    STOP_OTHER_HUB_MS,
    TICK_MASK,
    TTL_MAX_S,
    TTL_MIN_S,
    ticks_add,
    ticks_diff,
)

try:
    from micropython import const  # names with an underscore then cost no heap
except ImportError:

    def const(value):
        return value


_SIGN = const(0)
_CAP = const(1)
_COLD = const(2)
_CLEAR = const(3)
_SIGN_2 = const(4)
_CAP_2 = const(5)
_CLEAR_2 = const(6)
_LATCH = const(7)
_HISTORY = const(8)
_HOT_2 = const(9)
_COOL_2 = const(10)
_READ_AT = const(11)
_GOOD = const(12)
_COOL = const(13)
_SICK = const(14)
_BOOT_AT = const(15)
_HOLD = const(16)
_DOOR = const(17)
_DOOR_AT = const(18)
_FENCE = const(19)
_FENCE_AT = const(20)
_SEQ = const(21)
_EXPIRY = const(22)
_DUTY = const(23)
_CAUSE = const(24)
_QUIET = const(25)
_QUIET_AT = const(26)
_LINK = const(27)
_WHY = const(28)
SLOTS = 29

# Indices in contract.limits.STATUS, WHY and REFUSALS; a test holds them to the words.
_OK = const(0)
_OPEN = const(1)
_SHORT = const(2)
_UNCALIBRATED = const(6)
_WHY_ON = const(0)
_WHY_OFF = const(1)
_WHY_REFUSED = const(2)
_WHY_EXPIRED = const(3)
_WHY_CAP = const(4)
_WHY_PROBE_FAULT = const(5)
_WHY_BOOT_HOLD = const(6)
_WHY_LINK_LOST = const(7)
_WHY_DOOR = const(8)
_WHY_LATCHED = const(9)
_WHY_STANDBY = const(10)
_NO_RETAINED = const(1)
_NO_OTHER_HUB = const(2)
_NO_OTHER_BOOT = const(3)
_NO_NOT_NEWER = const(4)
_NO_TTL = const(5)
_NO_DUTY_RANGE = const(6)
_NO_TOO_OLD = const(7)
_NO_FUTURE = const(8)
_NO_CHAMBER = const(9)
_NO_BEFORE = const(10)

_TTL_MAX_MS = TTL_MAX_S * 1000
_HISTORY_MASK = 0xFF  # contract.limits.CAP_TRIP_OF: 8 samples, two of them latch


def _sign(cap, cold, clear):
    sign = 1 if cap > cold else -1
    if not sign * cold < sign * clear < sign * cap:
        raise ValueError("guard limits (cap, cold, clear) must lie in the order cap, clear, cold; check the settings.")
    return sign


def new_state(limits, now_ms, latched=0):
    """State of a kit that has just started: element off, no permit, boot hold running. `latched` 1: the flag was set.

    Raises ValueError on limits out of order.
    """
    state = array("i", [0] * SLOTS)
    cap, cold, clear = limits[:3]
    sign = _sign(cap, cold, clear)
    state[_SIGN], state[_CAP], state[_COLD], state[_CLEAR] = sign, sign * cap, sign * cold, sign * clear
    if len(limits) == 6:
        cap, cold, clear = limits[3:]
        sign = _sign(cap, cold, clear)
        state[_SIGN_2], state[_CAP_2], state[_CLEAR_2] = sign, sign * cap, sign * clear
    state[_LATCH] = 0 if latched == 0 else 1
    state[_SICK] = _WHY_PROBE_FAULT
    state[_BOOT_AT] = now_ms
    state[_HOLD] = 1
    state[_SEQ] = -1
    state[_CAUSE] = _WHY_OFF
    state[_WHY] = _WHY_BOOT_HOLD
    return state


def _end_permit(state, cause):
    state[_EXPIRY] = 0
    state[_DUTY] = 0
    state[_CAUSE] = cause


def _fence(state, now_ms, cause):
    _end_permit(state, cause)
    state[_FENCE_AT] = now_ms
    state[_FENCE] = 1


def _age(state, now_ms):
    """Write down what time has ended. A negative age (over half the tick period) has ended too, for good."""
    if state[_GOOD] == 1 and not 0 <= ticks_diff(now_ms, state[_READ_AT]) <= CHAMBER_STALE_MS:
        state[_GOOD] = 0
        state[_COOL] = 0
        state[_SICK] = _WHY_PROBE_FAULT
        _fence(state, now_ms, _WHY_PROBE_FAULT)
    if state[_EXPIRY] != 0 and not 0 < ticks_diff(state[_EXPIRY], now_ms) <= _TTL_MAX_MS:
        _end_permit(state, _WHY_EXPIRED)
    if state[_HOLD] != 0 and not 0 <= ticks_diff(now_ms, state[_BOOT_AT]) < BOOT_HOLD_MS:
        state[_HOLD] = 0
    if state[_DOOR] != 0 and not 0 <= ticks_diff(now_ms, state[_DOOR_AT]) < DOOR_HOLD_MS:
        state[_DOOR] = 0
    if state[_FENCE] != 0 and not 0 <= ticks_diff(now_ms, state[_FENCE_AT]) <= _TTL_MAX_MS:
        state[_FENCE] = 0  # an echo that old is refused by its own age
    if state[_QUIET] != 0 and not 0 <= ticks_diff(now_ms, state[_QUIET_AT]) < STOP_OTHER_HUB_MS:
        state[_QUIET] = 0


def _believed(status):
    return status == _OK or status == _UNCALIBRATED  # noqa: SIM109  a tuple to look in costs heap on the device


def _hot(status, heat, cap):
    """Above the cap. Any number counts, believed or not; only an open or shorted lead has none."""
    return 1 if status != _OPEN and status != _SHORT and heat >= cap else 0


def on_second(state, status, counts):
    """The second chamber probe's sample of this tick, told before `on_reading`. The hotter of the two counts."""
    heat = counts * state[_SIGN_2]
    state[_HOT_2] = _hot(status, heat, state[_CAP_2])
    state[_COOL_2] = 1 if _believed(status) and heat < state[_CLEAR_2] else 0


def on_reading(state, now_ms, status, counts):
    """The chamber probe's sample: status word (index) and sum of counts."""
    _age(state, now_ms)
    heat = counts * state[_SIGN]
    hot = state[_HOT_2] | _hot(status, heat, state[_CAP])
    cool = 1 if heat < state[_CLEAR] and (state[_SIGN_2] == 0 or state[_COOL_2] == 1) else 0
    state[_HOT_2] = 0
    state[_COOL_2] = 0
    history = ((state[_HISTORY] << 1) | hot) & _HISTORY_MASK
    state[_HISTORY] = history
    if history & (history - 1):  # two bits or more
        state[_LATCH] = 1
    if hot == 0 and _believed(status) and state[_COLD] < heat < state[_CAP]:
        state[_READ_AT] = now_ms
        state[_COOL] = cool
        state[_GOOD] = 1
    else:
        state[_GOOD] = 0
        state[_COOL] = 0
        state[_SICK] = _WHY_CAP if hot else _WHY_PROBE_FAULT
        _fence(state, now_ms, state[_SICK])


def _refusal(state, now_ms, boot_ok, hub_ok, retained, seq, up_ms, ttl_s, duty_1000):
    if retained != 0:
        return _NO_RETAINED
    if hub_ok != 1:
        return _NO_OTHER_HUB
    if boot_ok != 1:
        return _NO_OTHER_BOOT
    if not state[_SEQ] < seq <= SEQ_MAX:
        return _NO_NOT_NEWER
    if not TTL_MIN_S <= ttl_s <= TTL_MAX_S:
        return _NO_TTL
    if not 0 <= duty_1000 <= 1000:
        return _NO_DUTY_RANGE
    age_ms = ticks_diff(now_ms, up_ms)
    if age_ms < 0:
        return _NO_FUTURE
    if age_ms >= ttl_s * 1000:
        return _NO_TOO_OLD
    if state[_GOOD] != 1:
        return _NO_CHAMBER
    if state[_FENCE] != 0 and ticks_diff(up_ms, state[_FENCE_AT]) <= 0:
        return _NO_BEFORE
    return 0


def on_grant(state, now_ms, boot_ok, hub_ok, retained, seq, up_ms, ttl_s, duty_1000):
    """A permit of the hub, decided on the frame of tick `up_ms`, whole seconds of life. 0, or why it was refused.

    A refused one changes nothing but the reason shown while there is no permit.
    """
    _age(state, now_ms)
    code = _refusal(state, now_ms, boot_ok, hub_ok, retained, seq, up_ms, ttl_s, duty_1000)
    if code != 0:
        on_refused(state)
        return code
    expiry = ticks_add(up_ms, ttl_s * 1000)
    state[_SEQ] = seq
    state[_EXPIRY] = 0
    state[_DUTY] = duty_1000
    state[_EXPIRY] = expiry if expiry != 0 else TICK_MASK  # 0 is "none": end it a millisecond early
    return 0


def on_refused(state):
    """A grant was refused before it came here: shown as the reason while there is no permit."""
    if state[_EXPIRY] == 0:
        state[_CAUSE] = _WHY_REFUSED


def on_stop(state, now_ms, boot_ok, hub_ok, seq):
    """No heat, now, however old or retained. 1 if obeyed; 0 only for another hub's second one within a minute."""
    _age(state, now_ms)
    if hub_ok != 1:
        if state[_QUIET] != 0:
            return 0
        state[_QUIET_AT] = now_ms
        state[_QUIET] = 1
    _end_permit(state, _WHY_OFF)
    if hub_ok == 1 and boot_ok == 1 and state[_SEQ] < seq <= SEQ_MAX:
        state[_SEQ] = seq
    return 1


def on_door(state, now_ms, is_open):
    """The door was opened (1: off for 2 min, permit cleared) or is said to be closed (0)."""
    if is_open == 0:
        state[_DOOR] = 0
    else:
        state[_DOOR_AT] = now_ms
        state[_DOOR] = 1
        _fence(state, now_ms, _WHY_DOOR)


def on_clear(state, now_ms):
    """A person at the board opens the latch: 1 if done, 0 if there is none or the chamber is not 10 K below the cap."""
    _age(state, now_ms)
    if not (state[_LATCH] == 1 and state[_GOOD] == 1 and state[_COOL] == 1):
        return 0
    _fence(state, now_ms, _WHY_OFF)
    state[_HISTORY] = 0
    state[_LATCH] = 0
    return 1


def on_link(state, up):
    """The session to the broker is up (1) or down (0). It changes the reason shown, never the permit."""
    state[_LINK] = 1 if up == 1 else 0


def _why_not(state):
    """The first thing that speaks against heat. A word for the person: no heat is ever decided by it."""
    if state[_LATCH] != 0:
        return _WHY_LATCHED
    if state[_HOLD] != 0:
        return _WHY_BOOT_HOLD
    if state[_GOOD] != 1:
        return state[_SICK]
    if state[_DOOR] != 0:
        return _WHY_DOOR
    return state[_CAUSE] if state[_LINK] == 1 else _WHY_LINK_LOST


def heat_allowed(state, now_ms, holds=0):
    """1 while a permit is live and nothing speaks against it, else 0. One of duty 0 counts too, and is shown as off.

    `holds` 1: stand-by holds; it stands for the permit where there is none, and for nothing else.
    """
    _age(state, now_ms)
    if state[_LATCH] == 0 and state[_HOLD] == 0 and state[_GOOD] == 1 and state[_DOOR] == 0:
        if state[_EXPIRY] != 0:
            state[_WHY] = _WHY_ON if state[_DUTY] > 0 else _WHY_OFF
            return 1
        if holds == 1:
            state[_WHY] = _WHY_STANDBY
            return 1
    state[_WHY] = _why_not(state)
    return 0


def duty(state):
    """The granted duty 0..1000 of the permit, 0 without one."""
    return state[_DUTY] if state[_EXPIRY] != 0 else 0


def left_ms(state, now_ms):
    """Milliseconds the permit has left, 0 without one."""
    return max(0, ticks_diff(state[_EXPIRY], now_ms)) if state[_EXPIRY] != 0 else 0


def reason(state):
    """Why the element is on or off, as of the last `heat_allowed`: index in contract.limits.WHY."""
    return state[_WHY]


def is_latched(state):
    """1 while the latch holds."""
    return state[_LATCH]


def is_door_open(state):
    """1 while the door holds the element off."""
    return state[_DOOR]
