"""The door: seen by a fast fall of the chamber or told; while it lasts the controller is held, then let go gently.

Pure: ``step`` maps (state, time, chamber, told) to a new state. Temperatures degC, rates K/s, times seconds.
The figures come from our own simulation study: an open door drops the chamber by tens of K/min, an element that is off
by 3 K/min at most, so 9 K/min over 30 s tells them apart.
"""

from __future__ import annotations

from typing import NamedTuple

FALL_KELVIN_PER_S = 9.0 / 60.0
LOOK_BACK_S = 30.0
AFTER_S = 90.0  # the hold goes on this long after the fall has ended
HANDS_S = 120.0  # the kit itself keeps the element off this long; longer is asked about, not held
MEAN_S = 600.0  # time constant of the duty that is run at after a door
WATCH_S = 900.0  # how long after a door the limit is watched ahead
AHEAD_S = 60.0
BACK_KELVIN = 1.0  # hysteresis of that watch; without it noise doubled the relay's switchings
BACK_QUIET_KELVIN = 0.3  # hysteresis at the limit itself
FAR_KELVIN = 1.5  # so far under its target the chamber is on its way back from a door
SLOWER = 0.7  # of its usual pace, at which the integral grows meanwhile: what a door took is soon made up for


class DoorState(NamedTuple):
    """Recent (time, chamber) pairs, whether the door is open, until when to hold and watch, and the mean duty."""

    recent: tuple[tuple[float, float], ...] = ()
    told_open: bool = False
    opened_s: float | None = None
    hands_until_s: float = float("-inf")
    hold_until_s: float = float("-inf")
    watch_until_s: float = float("-inf")
    missed_until_s: float = float("-inf")
    mean_duty: float = 0.0
    cut: bool = False
    at_s: float | None = None


def step(state: DoorState, at_s: float, chamber_degC: float, kit_says_open: bool = False) -> DoorState:
    """Look at one chamber reading.

    Parameters: scalars; ``at_s`` monotonic seconds (not before the last), ``chamber_degC`` [degC], ``kit_says_open``
    True while the kit keeps the element off for its door.
    Returns: the new state; read it with ``hands_in``, ``holding``. Raises nothing. Source: see the module.
    """
    recent = (*(p for p in state.recent if p[0] > at_s - LOOK_BACK_S - 4.0), (at_s, chamber_degC))
    old_s, old_degC = recent[0]
    span_s = at_s - old_s
    falling = span_s >= 0.4 * LOOK_BACK_S and (old_degC - chamber_degC) > FALL_KELVIN_PER_S * max(span_s, LOOK_BACK_S)
    opened_s, hands_s, hold_s, watch_s = state.opened_s, state.hands_until_s, state.hold_until_s, state.watch_until_s
    if falling or kit_says_open or state.told_open:
        if at_s > hold_s:  # a new opening
            opened_s = at_s
            hands_s = at_s + HANDS_S if falling and not state.told_open else hands_s
        hold_s = at_s + AFTER_S
        watch_s = at_s + WATCH_S
    if at_s > hold_s:
        opened_s = None
    return state._replace(
        recent=recent,
        opened_s=opened_s,
        hands_until_s=hands_s,
        hold_until_s=hold_s,
        watch_until_s=watch_s,
        at_s=at_s,
    )


def told(state: DoorState, at_s: float, is_open: bool) -> DoorState:
    """Take the person's word: the door is open or closed.

    Parameters: ``at_s`` monotonic seconds; ``is_open`` True for open. Returns: the new state. Raises nothing.
    """
    if is_open:
        return state._replace(told_open=True, opened_s=at_s, hold_until_s=at_s + AFTER_S, watch_until_s=at_s + WATCH_S)
    return state._replace(
        told_open=False, hands_until_s=at_s, hold_until_s=at_s + AFTER_S, watch_until_s=at_s + WATCH_S
    )


def interrupted(state: DoorState, at_s: float) -> DoorState:
    """Take note that heat was interrupted (permits ran out): the limit is watched ahead while the chamber recovers.

    Parameters: ``at_s`` monotonic seconds. Returns: the new state. Raises nothing. Source: own simulation study.
    """
    return state._replace(missed_until_s=max(state.missed_until_s, at_s + WATCH_S))


def hands_in(state: DoorState, at_s: float) -> bool:
    """Say whether hands may be in: the element stays off. ``at_s`` seconds. Returns True or False; raises nothing."""
    return state.told_open or at_s < state.hands_until_s


def holding(state: DoorState, at_s: float) -> bool:
    """Say whether the controller is held (integral frozen). ``at_s`` seconds. Returns True or False; raises nothing."""
    return at_s < state.hold_until_s


def watching(state: DoorState, at_s: float) -> bool:
    """Say whether a door was open lately, so that the limit is watched ahead. ``at_s`` seconds; raises nothing."""
    return at_s < state.watch_until_s


def recovering(state: DoorState, at_s: float) -> bool:
    """Say whether heat was interrupted lately: the limit is watched ahead too, but the integral is not to be trusted
    as it is after a door. ``at_s`` seconds; raises nothing."""
    return at_s < state.missed_until_s


def with_duty(state: DoorState, duty: float, dt_s: float) -> DoorState:
    """Learn the recent mean duty while nothing is held.

    Parameters: ``duty`` 0..1 given last, ``dt_s`` seconds it ran. Returns: the new state. Raises nothing.
    """
    share = min(1.0, max(0.0, dt_s) / MEAN_S)
    return state._replace(mean_duty=state.mean_duty + (duty - state.mean_duty) * share)


def wound(state: DoorState, at_s: float, under_kelvin: float, before: float, after: float) -> float:
    """Slow the growth of the controller's integral on the way back from a door, or it overshoots.

    Parameters: ``under_kelvin`` the chamber under its target; ``before``, ``after`` the integral at the last step and
    at this one [duty]. Returns: the integral to go on with [duty]. Raises nothing. Source: own simulation study; over
    two smokers, elements and doors each the worst overshoot fell from 2.7 to 1.4 K, the way back took a tenth longer.
    """
    if not watching(state, at_s) or under_kelvin <= FAR_KELVIN or after <= before:
        return after
    return before + SLOWER * (after - before)


def cap_watch(state: DoorState, at_s: float, chamber_degC: float, slope: float, cap_degC: float) -> DoorState:
    """Look a minute ahead after a door: cut before the limit is passed, with hysteresis.

    Parameters: scalars; ``chamber_degC`` [degC], ``slope`` of the chamber [K/s], ``cap_degC`` the limit [degC].
    Returns: the new state, ``cut`` True while the element must stay off. Outside the watch only the limit itself cuts.
    Raises nothing. Source: own simulation study.
    """
    lately = watching(state, at_s) or recovering(state, at_s)
    ahead_degC = chamber_degC + (AHEAD_S * max(0.0, slope) if lately else 0.0)
    back_kelvin = BACK_KELVIN if lately else BACK_QUIET_KELVIN
    cut = ahead_degC > cap_degC - (back_kelvin if state.cut else 0.0)
    return state if cut == state.cut else state._replace(cut=cut)
