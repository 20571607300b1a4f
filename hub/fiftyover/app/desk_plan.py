"""Planning for the pages: shipped recipes, a sheet while somebody types, a practice cook, and the hanging.

`own` is the folder of the household's own schedules.
"""

from __future__ import annotations

import multiprocessing
import os
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any

from ..batch import sheet as batch_sheet
from ..batch.recipe import recipe_from_data
from ..batch.sheet import Sheet, made_of, plan_of
from ..errors import HubError, PlanError
from ..reports import sheet_view
from . import cook_time, plan, schedules
from .hub import Hub
from .parts import new_batch_id

NICE = 10  # a practice cook may take long, a decision about heat may not


def names() -> list[str]:
    """The shipped recipes."""
    return plan.shipped()


def recipe(name: str) -> dict[str, Any]:
    """A shipped recipe as the form takes it; PlanError if there is none of that name."""
    if name not in plan.shipped():
        raise PlanError(f"There is no shipped recipe {name!r}.")
    return tomllib.loads((plan.RECIPES / f"{name}.toml").read_text("utf-8"))


def sheet(data: Mapping[str, Any], own: Path) -> dict[str, Any]:
    """The sheet of a form, without its timeline; HubError, one sentence, for what cannot be."""
    return _shown(_sheet(data, own), None)


def practice(data: Mapping[str, Any], own: Path, told: Callable[[int, int], None]) -> dict[str, Any]:
    """The same with the timeline from now and likely curves, after a few rehearsed cooks in a process of their own.

    That takes seconds each: `told` hears how many of how many are done.
    """
    wanted = cook_time.trials(_sheet(data, own))  # what is wrong is said at once
    spawn = multiprocessing.get_context("spawn")
    cooked: list[cook_time.Trial] = []
    with ProcessPoolExecutor(1, mp_context=spawn, initializer=os.nice, initargs=(NICE,)) as pool:
        for one in [pool.submit(_trial, dict(data), own, line, number) for line, number in wanted]:
            told(len(cooked), len(wanted))
            cooked.append(one.result())
        told(len(wanted), len(wanted))
    return practised(data, own, cooked, datetime.now())


def _trial(data: dict[str, Any], own: Path, line: str, number: int) -> cook_time.Trial:
    return cook_time.trial(_sheet(data, own), line, number)


def practised(data: Mapping[str, Any], own: Path, cooked: Sequence[cook_time.Trial], now: datetime) -> dict[str, Any]:
    """What `practice` shows of its cooks."""
    made = _sheet(data, own)
    cooks, told = cook_time.summed(cooked)
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    now_s = (now - midnight).total_seconds()
    made = batch_sheet.with_times(made, cooks, now_s, None, now_s, tuple(told))
    curves = {one["line"]: one for one in cook_time.likely(cooked)}
    spans = [
        {"low_s": one.low_s, "likely_s": one.likely_s, "high_s": one.high_s, **curves[one.line]} for one in cooks
    ]  # fmt: skip
    return _shown(made, midnight) | {"cooks": spans, "band_degC": [made.band.foot_degC, made.band.top_degC]}


def page(data: Mapping[str, Any], own: Path) -> tuple[str, str]:
    """The sheet as a page to print: (file name, text)."""
    return "batch-sheet.html", plan.page(_sheet(data, own), None)


def begin(hub: Hub, data: Mapping[str, Any], own: Path) -> tuple[bool, str]:
    """Put the batch into the record before it is mixed; another one may hang meanwhile."""
    try:
        made = _sheet(data, own)
        hub.days.begin(plan_of(made, new_batch_id()), hub.watch.kit, made_of(made))
    except HubError as fault:
        return False, str(fault)
    return True, "Begun. Its marks and clocks are under Now."


def hang(hub: Hub, data: Mapping[str, Any], own: Path) -> tuple[bool, str]:
    """Begin the batch: its chubs hang now, or the empty smoker is preheated for them."""
    try:
        made = _sheet(data, own)
        planned = plan_of(made, new_batch_id())
        hub.start_batch(planned)
    except HubError as fault:
        return False, str(fault)
    hub.days.tell_recipe(planned.batch_id, made_of(made))
    if planned.stages[0].empty:
        return True, "The empty smoker is preheated. Hang the chubs when it is warm, and say so."
    return True, "Hung. The clock runs; heat begins with the start check."


def _sheet(data: Mapping[str, Any], own: Path) -> Sheet:
    recipe = recipe_from_data(data)
    if recipe.cook.schedule not in (None, *schedules.names(own)):  # no path: a page reads no other files
        raise PlanError(f"There is no schedule {recipe.cook.schedule!r}; there are {', '.join(schedules.names(own))}.")
    return schedules.sheet_of(recipe, own)


def _shown(made: Sheet, midnight: datetime | None) -> dict[str, Any]:
    return {
        "blocks": [block._asdict() for block in sheet_view.blocks(made, midnight)],
        "notices": sheet_view.notices(made),
        "closing": sheet_view.closing(made),
    }
