"""How a batch stands in the record: its plan is its first event; the cook's events and the days' follow mixed. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fiftyover.batch import day, events
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Plan
from fiftyover.batch.written import plan_from_data
from fiftyover.errors import PlanError

PLANNED = "planned"  # the first event of every batch; its data is the plan, and the kit if it was known
KIT_CHOSEN = "kit-chosen"  # the first kit that was heard, where none was named


@dataclass(frozen=True)
class Opened:
    """A batch read from its events: plan, kit ("" none yet), the cook's events and the days' events."""

    plan: Plan
    kit: str
    cook: tuple[Event, ...]
    days: tuple[Event, ...]

    @cached_property
    def book(self) -> events.Book:
        """The cook's events added up."""
        return events.fold(self.plan, self.cook)

    @cached_property
    def day(self) -> day.Day:
        """The days' events added up."""
        return day.fold(self.days)


def opened(batch_id: str, found: Sequence[Event]) -> Opened:
    """Sort a batch's events; PlanError if they do not begin with a plan of this program."""
    if not found or found[0].kind != PLANNED:
        raise PlanError(f"Batch {batch_id} is not in this record, or was not begun with a plan.")
    data: Mapping[str, Any] = [event for event in found if event.kind == PLANNED][-1].data  # it may change until hung
    kits = [str(event.data.get("kit", "")) for event in found if event.kind in (PLANNED, KIT_CHOSEN)]
    cook = tuple(event for event in found if event.kind in events.KINDS)
    days = tuple(event for event in found if event.kind in day.KINDS)
    return Opened(plan_from_data(batch_id, data["plan"]), kits[-1], cook, days)
