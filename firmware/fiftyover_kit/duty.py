"""Granted duty to relay on/off: integer sigma-delta with a band, minimum on and off times, a bound on switchings.

What was asked for and not yet given is carried (`CARRY`, in ms x 1/1000 of full power), so the mean is exact over time.
The relay goes on when the carry is not negative and off when it has fallen by the band; a step of the duty moves the
carry at once, there is no window to wait for. At a steady duty d the period is band / (d (1 - d)); the band is chosen
so that it is PERIOD (60 s mechanical, 30 s solid-state: 60 and 120 switchings an hour), or longer where the minimum
on or off time asks for it. Nothing shorter keeps the bound, and ripple grows with the square of the period.
A duty that changes wildly cannot beat the bound: each switching on takes one PERIOD of credit, of which 3 are saved.

Integers only, no allocation; every intermediate value fits a board's 31-bit small integers.
state (slots)   0 ON  1 LAST tick  2 HELD ms since the last change  3 CARRY  4 CREDIT ms  5 PERIOD s  6 MIN ms
                7 SWITCHINGS off to on since the start  8 ASKED duty in 1/1000 since the last step
"""

from array import array

from .contract.limits import ticks_diff

try:
    from micropython import const  # names with an underscore then cost no heap
except ImportError:

    def const(value):
        return value


_ON = const(0)
_LAST = const(1)
_HELD = const(2)
_CARRY = const(3)
_CREDIT = const(4)
_PERIOD = const(5)
_MIN = const(6)
_SWITCHINGS = const(7)
_ASKED = const(8)
PERIOD_S = {"mechanical": 60, "solid-state": 30}
MIN_MS = {"mechanical": 10000, "solid-state": 5000}
_SAVED_PERIODS = const(3)
_STEP_MAX_MS = const(2000)  # a longer gap between two steps is no time that the duty was meant for
_HELD_MAX_MS = const(1000000)


def new_state(relay_kind, now_ms):
    """State with the relay off just now: the minimum off time runs from the start. `relay_kind`: a key of PERIOD_S."""
    period_s = PERIOD_S[relay_kind]
    return array("i", [0, now_ms, 0, 0, period_s * 1000, period_s, MIN_MS[relay_kind], 0, 0])


def _band(state, duty_1000):
    """By how much the carry may fall in one pulse at this duty."""
    rest = 1000 - duty_1000
    band = state[_PERIOD] * duty_1000 * rest
    longer = duty_1000 if duty_1000 > rest else rest
    least = state[_MIN] * longer
    return band if band > least else least


def _pass_time(state, now_ms):
    passed_ms = ticks_diff(now_ms, state[_LAST])
    state[_LAST] = now_ms
    if not 0 < passed_ms <= _STEP_MAX_MS:
        return
    given = 1000 if state[_ON] else 0
    limit = _SAVED_PERIODS * state[_PERIOD] * 1000
    carry = state[_CARRY] + (state[_ASKED] - given) * passed_ms
    # More than a period owed cannot be the ripple: minimum times or the credit held it back. It is let go.
    most = state[_PERIOD] * 1000000
    state[_CARRY] = max(-most, min(most, carry))
    state[_HELD] = min(_HELD_MAX_MS, state[_HELD] + passed_ms)
    state[_CREDIT] = min(limit, state[_CREDIT] + passed_ms)


def step(state, now_ms, duty_1000, allowed):
    """The relay for the time from now on, 0/1. `allowed` other than 1 opens it at once; nothing is asked for then."""
    _pass_time(state, now_ms)
    if allowed != 1 or not 0 < duty_1000 <= 1000:
        duty_1000 = 0
    state[_ASKED] = duty_1000
    held_long = state[_HELD] >= state[_MIN]
    if state[_ON] == 0:
        if held_long and _wanted(state, duty_1000) and state[_CREDIT] >= state[_PERIOD] * 1000:
            state[_CREDIT] -= state[_PERIOD] * 1000
            state[_SWITCHINGS] += 1
            state[_HELD] = 0
            state[_ON] = 1
    elif allowed != 1 or (held_long and _spent(state, duty_1000)):
        state[_ON] = 0
        state[_HELD] = 0
    return state[_ON]


def _wanted(state, duty_1000):
    return duty_1000 == 1000 or (duty_1000 > 0 and state[_CARRY] >= 0)


def _spent(state, duty_1000):
    return duty_1000 == 0 or (duty_1000 < 1000 and state[_CARRY] <= -_band(state, duty_1000))


def switchings(state):
    """Times the relay went on since the start."""
    return state[_SWITCHINGS]


def is_on(state):
    """1 while the relay is to be on."""
    return state[_ON]
