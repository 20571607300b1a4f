"""The cure hold's refrigerator: a probe with its tip in a glass of water, an alarm above 40 °F. Pure."""

from __future__ import annotations

from typing import NamedTuple

from fiftyover_kit.contract.units import degC_from_degF

WARM_DEGC = degC_from_degF(40.0)  # FSIS: keep at or below 40 °F
FREEZING_DEGC = degC_from_degF(30.0)
GRACE_S = 7200.0  # after warm meat was put in
STEADY_S = 600.0  # above it for so long: a door that was open does not count
SLACK_KELVIN = 0.5
SILENT_S = 1800.0


class Refrigerator(NamedTuple):
    """What is remembered: when it was loaded, since when it is too warm or too cold [s]; None: it is not."""

    loaded_s: float | None = None
    warm_since_s: float | None = None
    cold_since_s: float | None = None
    alarm: bool = False
    notice: bool = False


def loaded(state: Refrigerator, at_s: float) -> Refrigerator:
    """Meat was put in: the grace begins."""
    return state._replace(loaded_s=at_s, warm_since_s=None, alarm=False)


def step(state: Refrigerator, at_s: float, water_degC: float | None) -> Refrigerator:
    """Take one reading of the water in the glass (None: no reading, which changes nothing)."""
    if water_degC is None:
        return state
    warm = water_degC > (WARM_DEGC - SLACK_KELVIN if state.alarm else WARM_DEGC)
    cold = water_degC < (FREEZING_DEGC + SLACK_KELVIN if state.notice else FREEZING_DEGC)
    warm_s = None if not warm else at_s if state.warm_since_s is None else state.warm_since_s
    cold_s = None if not cold else at_s if state.cold_since_s is None else state.cold_since_s
    graced = state.loaded_s is not None and at_s - state.loaded_s < GRACE_S
    return state._replace(
        warm_since_s=warm_s,
        cold_since_s=cold_s,
        alarm=warm_s is not None and not graced and at_s - warm_s >= STEADY_S,
        notice=cold_s is not None and at_s - cold_s >= STEADY_S,
    )


def sentences(state: Refrigerator) -> list[str]:
    """What a person should hear."""
    told = []
    if state.alarm:
        told.append(
            "The refrigerator with the cured meat is above 40 °F: look at its door and setting, or move the meat."
        )
    if state.notice:
        told.append("The refrigerator is below 30 °F: the meat freezes and the cure stands still; set it warmer.")
    return told


def silent(heard_s: float, at_s: float) -> list[str]:
    """What a person should hear when the probe in the refrigerator was last heard then."""
    if at_s - heard_s < SILENT_S:
        return []
    return ["The probe in the refrigerator was not heard for half an hour: look at its kit, its plug and its lead."]


def hold_left_s(held_s: float, hold_s: float, at_s: float) -> float:
    """Time left of the cure hold [s]; negative when it is over."""
    return held_s + hold_s - at_s
