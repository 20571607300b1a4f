"""The stages of a cook as a table. A row says what the chamber does and what ends it; `course` walks through it.

Frozen and pure; temperatures degC, differences kelvin, times seconds. A row that cannot be is refused with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fiftyover.errors import PlanError
from fiftyover_kit.contract.units import degF_from_degC

HOLD, FOLLOW_CORE = "hold", "follow"
WOODS = ("element", "tray", "none")  # where the wood lies: on the element, in a tray of its own, nowhere
HOLD_DEGC = (30.0, 107.2)
LIFT_KELVIN = (5.0, 45.0)
CORE_DEGC = (10.0, 90.0)
LONGEST_S = 24 * 3600.0
PREHEAT_LONGEST_S = 3 * 3600.0
UNDER_KELVIN = 2.0  # a core comes no nearer to the air that warms it in any time that counts


@dataclass(frozen=True, slots=True)
class Stage:
    """One row.

    ``does`` is ``hold`` (then ``hold_degC``) or ``follow`` (the leading core by ``lift_kelvin``, never under
    ``floor_degC``, never over ``limit_degC``; None takes the plan's). ``empty`` is the preheat, before the chubs hang;
    ``smoke`` says that the wood is to smoulder. The first end that comes ends the row: ``after_s`` from its begin,
    ``core_degC`` of the lowest believable core, or the person's word for ``mark``, for instance "dry to the touch". The
    last row has no end: the band does it.
    """

    name: str
    does: str = FOLLOW_CORE
    hold_degC: float | None = None
    lift_kelvin: float | None = None
    floor_degC: float | None = None
    limit_degC: float | None = None
    empty: bool = False
    smoke: bool = False
    after_s: float | None = None
    core_degC: float | None = None
    mark: str = ""


FOLLOW = Stage("follow")
STAGES = (FOLLOW,)


def check(stages: Sequence[Stage], cap_degC: float, band_degC: tuple[float, float], margin_kelvin: float) -> None:
    """Refuse a table that cannot be run; PlanError names the row and the reason.

    ``cap_degC`` is the lowest limit of the batch and ``margin_kelvin`` what the chamber stays under it.
    """
    if not stages:
        raise PlanError("The batch has no stages: leave the table out to follow the meat all the way.")
    names = [stage.name for stage in stages]
    for place, stage in enumerate(stages):
        if names.count(stage.name) > 1:
            raise _refuse(stage, "there are two of this name: give each its own")
        last = place == len(stages) - 1
        _check_figures(stage)
        _check_heat(stage, cap_degC)
        _check_order(stage, stages[:place], last)
        if not last:
            _check_end(stage, band_degC, cap_degC - margin_kelvin)
    _check_last(stages[-1], band_degC, cap_degC, margin_kelvin)


def _refuse(stage: Stage, why: str) -> PlanError:
    return PlanError(f"Stage {stage.name!r}: {why}.")


def _f(degC: float) -> str:
    return f"{degF_from_degC(degC):.0f} °F"


def _check_figures(stage: Stage) -> None:
    if not stage.name:
        raise PlanError("A stage has no name: give it one.")
    if stage.does not in (HOLD, FOLLOW_CORE):
        raise _refuse(stage, f"{stage.does!r} is not known, it can hold a temperature or follow the meat")
    for what, value, (low, high), unit in (
        ("the held temperature", stage.hold_degC, HOLD_DEGC, "°C"),
        ("the floor", stage.floor_degC, HOLD_DEGC, "°C"),
        ("the limit", stage.limit_degC, HOLD_DEGC, "°C"),
        ("the lift", stage.lift_kelvin, LIFT_KELVIN, "K"),
        ("the core that ends it", stage.core_degC, CORE_DEGC, "°C"),
        ("its time", stage.after_s, (60.0, PREHEAT_LONGEST_S if stage.empty else LONGEST_S), "s"),
    ):
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise _refuse(stage, f"{what} is {value:g} {unit}, it must lie between {low:g} and {high:g} {unit}")


def _check_heat(stage: Stage, cap_degC: float) -> None:
    if stage.does == HOLD:
        if stage.hold_degC is None:
            raise _refuse(stage, "it holds, but no temperature is given")
        if (stage.lift_kelvin, stage.floor_degC, stage.limit_degC) != (None, None, None):
            raise _refuse(stage, "it holds a temperature, so lift, floor and limit say nothing: leave them out")
        if stage.hold_degC > cap_degC + 0.05:  # a limit typed in °F is a rounded figure in °C
            raise _refuse(
                stage, f"it holds {_f(stage.hold_degC)}, over the smoker limit {_f(cap_degC)}: raise the limit"
            )
        return
    if stage.hold_degC is not None:
        raise _refuse(stage, "it follows the meat, so a held temperature says nothing: leave it out, or write a floor")
    if stage.limit_degC is not None and stage.limit_degC > cap_degC + 0.05:
        raise _refuse(stage, f"its limit {_f(stage.limit_degC)} is over the smoker limit {_f(cap_degC)}")
    if stage.floor_degC is not None and stage.floor_degC > (stage.limit_degC or cap_degC):
        raise _refuse(stage, f"its limit is below the floor {_f(stage.floor_degC)} that it starts at")


def _check_order(stage: Stage, before: Sequence[Stage], last: bool) -> None:
    if stage.empty and before:
        raise _refuse(stage, "an empty chamber is preheated first, before any other stage")
    if stage.empty and (stage.does != HOLD or stage.core_degC is not None):
        raise _refuse(stage, "an empty chamber has no meat to follow or to end by: hold a temperature")
    if stage.empty and last:
        raise _refuse(stage, "after the preheat there must be a stage with meat")
    held = [one.hold_degC for one in before if one.hold_degC is not None and not one.empty]
    if stage.limit_degC is not None and held and stage.limit_degC < held[-1]:
        raise _refuse(stage, f"its limit {_f(stage.limit_degC)} is below the {_f(held[-1])} that it starts at")


def _check_end(stage: Stage, band_degC: tuple[float, float], top_degC: float) -> None:
    if stage.after_s is None and stage.core_degC is None and not stage.mark and not stage.empty:
        raise _refuse(stage, "nothing ends it and another stage follows: give a time, a core or a mark")
    core = stage.core_degC
    if core is None:
        return
    if core > band_degC[0]:
        raise _refuse(stage, f"its end, a core of {_f(core)}, cannot come: chubs are pulled from {_f(band_degC[0])} on")
    warmest = stage.hold_degC if stage.does == HOLD else stage.limit_degC
    warmest = top_degC if warmest is None else min(warmest, top_degC)
    if core > warmest - UNDER_KELVIN:
        raise _refuse(stage, f"its end, a core of {_f(core)}, cannot come in a chamber of {_f(warmest)}")


def _check_last(stage: Stage, band_degC: tuple[float, float], cap_degC: float, margin_kelvin: float) -> None:
    if stage.after_s is not None or stage.mark or stage.core_degC is not None:
        raise _refuse(stage, "it is the last, which ends when the chubs are pulled in their band: leave its end out")
    top_degC = min(cap_degC, stage.limit_degC or cap_degC) - margin_kelvin
    warmest = top_degC if stage.hold_degC is None else min(stage.hold_degC, top_degC)
    if warmest <= band_degC[1]:
        raise _refuse(
            stage,
            f"a chamber of {_f(warmest)} leaves no room over the band's top {_f(band_degC[1])}: the end cannot come",
        )
