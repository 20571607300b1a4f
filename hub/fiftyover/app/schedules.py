"""Schedules: those that come with the program, and a person's own files."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from ..batch.plan import Plan
from ..batch.recipe import Recipe
from ..batch.schedule import at_line, schedule_from_text
from ..batch.sheet import Sheet, make_sheet
from ..batch.written import data_of_stages, plan_from_data
from ..errors import PlanError

SCHEDULES = resources.files("fiftyover.batch") / "schedules"


def shipped() -> list[str]:
    """Names of the schedules that come with the program."""
    return sorted(path.name.removesuffix(".toml") for path in SCHEDULES.iterdir() if path.name.endswith(".toml"))


def names(folder: Path | None) -> list[str]:
    """Names to choose from: the shipped ones, and the files of a folder of one's own."""
    own = sorted(path.name for path in folder.glob("*.toml")) if folder is not None and folder.is_dir() else []
    return [*shipped(), *own]


def listing() -> str:
    """The shipped schedules as text: name, what it is called, where it comes from."""
    read = [(name, schedule_from_text(_text(name, Path())[0], name)) for name in shipped()]
    return "\n".join(f"{name}: {one.name}\n    {one.source}" for name, one in read)


def sheet_of(recipe: Recipe, folder: Path) -> Sheet:
    """Work a recipe out with the schedule that it names; PlanError with the schedule's line where that is wrong."""
    name = recipe.cook.schedule
    if name is None:
        return make_sheet(recipe)
    text, where = _text(name, folder)
    schedule = schedule_from_text(text, where)
    try:
        return make_sheet(recipe, schedule)
    except PlanError as fault:
        raise at_line(text, fault, where) from None


def plan_with_schedule(batch_id: str, data: Mapping[str, Any], folder: Path) -> Plan:
    """Read a batch file's plan, whose `schedule` names a shipped schedule or a file beside it; PlanError if it cannot
    be, with the line of the schedule where that is what is wrong."""
    data = dict(data)
    name = data.pop("schedule", None)
    if name is None:
        return plan_from_data(batch_id, data)
    if not isinstance(name, str) or "stages" in data:
        raise PlanError("The batch file's schedule must be one name in quotes, and then no [[stages]] beside it.")
    text, where = _text(name, folder)
    schedule = schedule_from_text(text, where)
    data["stages"] = data_of_stages(schedule.stages)
    data.setdefault("wood", schedule.wood)
    try:
        return plan_from_data(batch_id, data)
    except PlanError as fault:
        raise at_line(text, fault, where) from None


def _text(name: str, folder: Path) -> tuple[str, str]:
    try:
        if name in shipped():
            return (SCHEDULES / f"{name}.toml").read_text("utf-8"), f"The schedule {name}"
        return (folder / name).read_text("utf-8"), f"The schedule {name}"
    except FileNotFoundError:
        raise PlanError(f"There is no schedule {name}; shipped ones are {', '.join(shipped())}.") from None
    except (OSError, UnicodeDecodeError) as fault:
        why = getattr(fault, "strerror", None) or "it is not UTF-8 text"
        raise PlanError(f"The schedule {name} cannot be read ({why}): check the file.") from None
