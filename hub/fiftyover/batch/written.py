"""A plan as plain data: what a batch file says, and what the record keeps. Unknown keys are refused by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fiftyover.batch.plan import LOWEST, Chub, Plan
from fiftyover.batch.stages import FOLLOW_CORE, STAGES, Stage
from fiftyover.errors import PlanError
from fiftyover_kit.contract.limits import STANDBY_MAX_S
from fiftyover_kit.contract.units import degC_from_degF

SLIM_BELOW_MM = 55.0
# Process limits by casing line: 180 °F slim, 200 °F stout, common practice.
SLIM_CAP_DEGC = degC_from_degF(180.0)
STOUT_CAP_DEGC = degC_from_degF(200.0)


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class WrittenChub(_Strict):
    """One chub; `line` and `place` have defaults so that a short file is enough."""

    number: int = Field(ge=1, le=999)
    diameter_mm: float
    line: str = Field(default="", max_length=40)
    place: str = Field(default="", max_length=40)
    probe: int | None = Field(default=None, ge=1, le=31)


class WrittenStage(_Strict):
    """One row of the stages, in °C, kelvin and s, as in `stages.Stage`."""

    name: str = Field(min_length=1, max_length=80)
    does: str = FOLLOW_CORE
    hold_degC: float | None = None
    lift_kelvin: float | None = None
    floor_degC: float | None = None
    limit_degC: float | None = None
    empty: bool = False
    smoke: bool = False
    after_s: float | None = None
    core_degC: float | None = None
    mark: str = Field(default="", max_length=80)


class WrittenPlan(_Strict):
    """The whole plan; what is left out takes its usual value."""

    name: str = Field(min_length=1, max_length=80)
    chubs: list[WrittenChub] = Field(min_length=1, max_length=99)
    cap_degC: float | None = None
    lift_kelvin: float = 27.78
    floor_degC: float | None = None
    band_degC: list[float] = Field(default=[66.67, 68.33], min_length=2, max_length=2)
    response_s: float = 0.0
    relay: str = "mechanical"
    element_watts: float | None = None
    line_caps: dict[str, float] = Field(default_factory=dict)
    place_pace: dict[str, float] = Field(default_factory=dict)
    standby_degC: float | None = None
    standby_s: int = STANDBY_MAX_S
    stages: list[WrittenStage] = Field(default_factory=list, max_length=12)
    wood: str = "none"
    autotune: bool = False
    lead: str | int = LOWEST


def plan_from_data(batch_id: str, data: Mapping[str, Any]) -> Plan:
    """Read a plan; PlanError, one sentence with the key that is wrong."""
    try:
        written = WrittenPlan.model_validate(dict(data))
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        said = first["msg"].lower().replace("input should be", "it must be")
        raise PlanError(f"The plan's {where} cannot be used: {said}.") from None
    chubs = tuple(
        Chub(
            number=one.number,
            line=one.line or _line(one.diameter_mm),
            diameter_mm=one.diameter_mm,
            place=one.place or str(one.number),
            probe=one.probe,
        )
        for one in written.chubs
    )
    return Plan(
        batch_id=batch_id,
        name=written.name,
        chubs=chubs,
        cap_degC=written.cap_degC if written.cap_degC is not None else _usual_cap_degC(chubs),
        lift_kelvin=written.lift_kelvin,
        floor_degC=written.floor_degC,
        band_degC=(written.band_degC[0], written.band_degC[1]),
        response_s=written.response_s,
        relay=written.relay,
        element_watts=written.element_watts,
        line_caps=tuple(sorted(written.line_caps.items())),
        place_pace=tuple(sorted(written.place_pace.items())),
        standby_degC=written.standby_degC,
        standby_s=written.standby_s,
        stages=tuple(Stage(**one.model_dump()) for one in written.stages) or STAGES,
        wood=written.wood,
        autotune=written.autotune,
        lead=written.lead,
    )


def data_of_plan(plan: Plan) -> dict[str, Any]:
    """Give the plan as plain data, from which `plan_from_data` makes the same plan."""
    return {
        "name": plan.name,
        "chubs": [
            {"number": c.number, "diameter_mm": c.diameter_mm, "line": c.line, "place": c.place, "probe": c.probe}
            for c in plan.chubs
        ],
        "cap_degC": plan.cap_degC,
        "lift_kelvin": plan.lift_kelvin,
        "floor_degC": plan.floor_degC,
        "band_degC": list(plan.band_degC),
        "response_s": plan.response_s,
        "relay": plan.relay,
        "element_watts": plan.element_watts,
        "line_caps": dict(plan.line_caps),
        "place_pace": dict(plan.place_pace),
        "standby_degC": plan.standby_degC,
        "standby_s": plan.standby_s,
        "stages": data_of_stages(plan.stages),
        "wood": plan.wood,
        "autotune": plan.autotune,
        "lead": plan.lead,
    }


def data_of_stages(stages: Sequence[Stage]) -> list[dict[str, Any]]:
    """Give stages as plain data, what says nothing left out; no rows for the plain follow."""
    if tuple(stages) == STAGES:
        return []
    rows = [{name: getattr(one, name) for name in WrittenStage.model_fields} for one in stages]
    return [{name: value for name, value in row.items() if value not in (None, "", False)} for row in rows]


def _line(diameter_mm: float) -> str:
    return "slim" if diameter_mm < SLIM_BELOW_MM else "stout"


def _usual_cap_degC(chubs: tuple[Chub, ...]) -> float:
    """The lowest line's limit holds while it hangs."""
    return SLIM_CAP_DEGC if any(c.diameter_mm < SLIM_BELOW_MM for c in chubs) else STOUT_CAP_DEGC
