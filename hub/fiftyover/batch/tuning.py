"""Lets the controller measure this smoker in its preheat, or in the first 20 min of heat, and take what it found."""

from __future__ import annotations

from collections.abc import Callable

from fiftyover.batch import events as ev
from fiftyover.batch.course import preheating
from fiftyover.batch.events import Event
from fiftyover.batch.state import BatchState
from fiftyover.control import autotune, controller
from fiftyover.control.autotune import Tune
from fiftyover.control.controller import ControllerSettings

BEGINS_WITHIN_S = 1200.0

Add = Callable[..., None]


def wanted(state: BatchState, at_s: float) -> bool:
    """Whether a test is to run, or runs."""
    book = state.book
    if not state.plan.autotune or book.tuned or not (book.hanging or preheating(book)) or not book.start_checked:
        return False
    since_s = min(book.hung_s.values()) if book.hung_s else at_s
    return state.tune.swinging or preheating(book) or at_s - since_s <= BEGINS_WITHIN_S


def run(
    state: BatchState, at_s: float, chamber_degC: float, target_degC: float, cap_degC: float, add: Add
) -> tuple[BatchState, float]:
    """Go on with the test; return the state and the duty. At its end the controller takes over without a jump."""
    tune = state.tune if state.tune.smooth_degC is not None else autotune.begin(state.plan.element_watts)
    tune, duty = autotune.step(tune, at_s, chamber_degC, target_degC, cap_degC)
    state = state._replace(tune=tune)
    if not tune.over:
        return state, duty
    found = autotune.result(tune)
    if found is None:
        add(ev.TUNED, failed=tune.over)
    else:
        settings = autotune.tuned(found, state.plan.relay, state.plan.element_watts)
        add(
            ev.TUNED,
            gain=settings.gain,
            integral_s=settings.integral_s,
            ultimate_gain=round(found.gain, 4),
            period_s=round(found.period_s, 1),
            swing_kelvin=round(found.swing_kelvin, 2),
        )
        state = state._replace(tuning=settings)
    control = controller.hand_over(state.tuning, state.control, at_s, chamber_degC, target_degC, duty)
    return state._replace(control=control, tune=Tune()), duty


def settings_of(event: Event, usual: ControllerSettings) -> ControllerSettings:
    """Read a `tuned` event of the record; a test that failed leaves what was."""
    gain, integral_s = event.data.get("gain"), event.data.get("integral_s")
    if gain is None or integral_s is None:
        return usual
    return ControllerSettings(
        float(gain), float(integral_s), usual.derivative_s, usual.filter_s, float(integral_s) / 2.0, usual.nominal_s
    )
