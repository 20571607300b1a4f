"""A schedule as a person writes it (TOML of ours) read into stages. Pure: files are others' matter.

Temperatures, times and differences are texts with their unit, as in a recipe. What is wrong is told with its line.

    name = "Slow and smoky"
    source = "our own habit"
    wood = "tray"                 # element, tray or none

    [[stage]]
    name = "dry"
    hold = "130 F"
    until = "dry to the touch"    # the person's word
    [[stage]]
    name = "smoke"
    hold = "140 F"
    smoke = true
    for = "2 h"
    until_core = "110 F"          # whichever comes first
    [[stage]]
    name = "cook"                 # without hold it follows the meat
    lift = "50 F"
    floor = "150 F"
    limit = "180 F"
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from fiftyover.batch.quantity import difference_kelvin, span_s, temperature_degC
from fiftyover.batch.stages import FOLLOW_CORE, HOLD, Stage
from fiftyover.errors import PlanError

Temperature = Annotated[float, BeforeValidator(temperature_degC)]
Difference = Annotated[float, BeforeValidator(difference_kelvin)]
Span = Annotated[float, BeforeValidator(span_s)]
Text = Annotated[str, Field(min_length=1, max_length=80)]
_STAGE_LINE = re.compile(r"\s*\[\[\s*stage\s*\]\]")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class WrittenStage(_Table):
    """[[stage]]: with ``hold`` it holds, without it follows the meat."""

    name: Text
    hold_degC: Temperature | None = Field(default=None, alias="hold")
    lift_kelvin: Difference | None = Field(default=None, alias="lift")
    floor_degC: Temperature | None = Field(default=None, alias="floor")
    limit_degC: Temperature | None = Field(default=None, alias="limit")
    empty: bool = False
    smoke: bool = False
    after_s: Span | None = Field(default=None, alias="for")
    core_degC: Temperature | None = Field(default=None, alias="until_core")
    mark: Text = Field(default="", alias="until", min_length=1)


class WrittenSchedule(_Table):
    """The whole file."""

    name: Text
    source: str = Field(default="", max_length=400)
    wood: Literal["element", "tray", "none"] = "none"
    stage: list[WrittenStage] = Field(min_length=1, max_length=12)


@dataclass(frozen=True, slots=True)
class Schedule:
    """A schedule read: its name, where it comes from, where the wood lies, its stages."""

    name: str
    source: str
    wood: str
    stages: tuple[Stage, ...]


def schedule_from_text(text: str, where: str = "The schedule") -> Schedule:
    """Read a schedule; PlanError, one sentence with the line, the key, what is wrong and the nearest right one."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise PlanError(f"{where} is not TOML ({fault}): mend that line.") from None
    try:
        written = WrittenSchedule.model_validate(data)
    except ValidationError as fault:
        faults = sorted(fault.errors(), key=lambda one: one["type"] != "extra_forbidden")  # a typo explains the rest
        raise PlanError(_sentence(faults[0], text, where)) from None
    stages = tuple(
        Stage(does=FOLLOW_CORE if one.hold_degC is None else HOLD, **one.model_dump()) for one in written.stage
    )
    return Schedule(written.name, written.source, written.wood, stages)


def at_line(text: str, fault: PlanError, where: str = "The schedule") -> PlanError:
    """Give what a plan has against a stage with the line on which that stage begins."""
    names = [one.get("name") for one in tomllib.loads(text).get("stage", [])]
    place = next((i for i, name in enumerate(names) if str(fault).startswith(f"Stage {name!r}:")), None)
    return fault if place is None else PlanError(f"{where}, line {_line(text, place, 'name')}: {fault}")


def _sentence(error: Any, text: str, where: str) -> str:
    loc = list(error["loc"])
    in_stage = loc[0] == "stage" and len(loc) > 1
    key = str(loc[2 if in_stage else 0]) if len(loc) > 2 or not in_stage else ""
    at = f"{where}, line {_line(text, int(loc[1]) if in_stage else None, key)}"
    if error["type"] == "extra_forbidden":
        model = WrittenStage if in_stage else WrittenSchedule
        known = [field.alias or name for name, field in model.model_fields.items()]
        near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.5)
        meant = f"did you mean {near[0]}?" if near else f"known here are {', '.join(known)}."
        return f"{at}: {key} is not known; {meant}"
    if error["type"] == "missing":
        return f"{at}: {key} is missing, a {'stage' if in_stage else 'schedule'} needs it."
    said = str(error["msg"]).removeprefix("Value error, ").replace("Input should be", "this must be").rstrip(".")
    return f"{at}: {key}: {said[0].upper()}{said[1:]}."


def _line(text: str, stage: int | None, key: str) -> int:
    """Number of the line of a key at the top or in a stage; of the stage's own line where the key is not written."""
    lines = text.splitlines()
    heads = [number for number, line in enumerate(lines) if _STAGE_LINE.match(line)]
    if stage is None:
        first, last, other = 0, heads[0] if heads else len(lines), 0
    else:
        if stage >= len(heads):  # written in another way than ours
            return 1
        first, other = heads[stage] + 1, heads[stage]
        last = heads[stage + 1] if stage + 1 < len(heads) else len(lines)
    wanted = re.compile(rf"""\s*\[*\s*["']?{re.escape(key)}["']?\s*[=\].]""") if key else None
    for number in range(first, last):
        if wanted is not None and wanted.match(lines[number]):
            return number + 1
    return other + 1
