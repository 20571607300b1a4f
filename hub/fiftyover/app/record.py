"""How a batch stands in the record: its plan is its first event, so that a restarted hub finds what it was doing."""

from __future__ import annotations

from dataclasses import dataclass

from ..batch import events as ev
from ..batch.events import Event
from ..batch.plan import Plan
from ..batch.written import data_of_plan, plan_from_data
from ..store import Store
from .parts import PLANNED


@dataclass(frozen=True)
class Found:
    """A batch that was going on when the hub ended."""

    plan: Plan
    kit: str


def start_events(plan: Plan, kit: str, at_s: float, utc_ms: int) -> list[Event]:
    """The event that opens a batch."""
    return [Event(PLANNED, at_s, utc_ms, {"plan": data_of_plan(plan), "kit": kit})]


def resumable(store: Store) -> Found | None:
    """The newest batch, if it was planned by this program and is not finished."""
    for line in store.batches()[:1]:
        events = store.events(line.batch_id)
        if not events or events[0].kind != PLANNED:
            return None
        plan = plan_from_data(line.batch_id, events[0].data["plan"])
        book = ev.fold(plan, [event for event in events if event.kind != PLANNED])
        return None if book.finished else Found(plan, str(events[0].data["kit"]))
    return None
