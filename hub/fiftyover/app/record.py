"""How a batch stands in the record: its plan is its first event, so that a restarted hub finds what it was doing."""

from __future__ import annotations

from dataclasses import dataclass

from ..batch import day
from ..batch import events as ev
from ..batch.events import Event
from ..batch.opening import KIT_CHOSEN, PLANNED
from ..batch.plan import Plan
from ..batch.written import data_of_plan, plan_from_data
from ..errors import HubError
from ..store import Store

NEWEST = 5  # batches looked at for the one that hangs: the others may be in the bowl or in the refrigerator


@dataclass(frozen=True)
class Found:
    """A batch of the record: its plan, its kit ("" none yet), the events of its book, whether it has events of the days
    around the cook."""

    plan: Plan
    kit: str
    events: tuple[Event, ...]
    days: bool = False


def planned(plan: Plan, kit: str, at_s: float, utc_ms: int) -> Event:
    """The event that opens a batch."""
    return Event(PLANNED, at_s, utc_ms, {"plan": data_of_plan(plan), "kit": kit})


def kit_chosen(kit: str, at_s: float, utc_ms: int) -> Event:
    """The event that says which kit a batch is cooked with."""
    return Event(KIT_CHOSEN, at_s, utc_ms, {"kit": kit})


def resumable(store: Store, kit: str = "") -> Found | None:
    """The newest batch in the smoker (of this kit, if one is named), if it was planned by this program and is not
    finished.

    HubError if it cannot be read: it was written by a newer program, or by a hand.
    """
    for line in store.batches(kit)[:NEWEST]:
        found = _found(store, line.batch_id)
        if found is None or kit and found.kit != kit:
            continue
        book = ev.fold(found.plan, found.events)
        if not book.finished and (book.hung_s or book.preheat_s is not None or not found.days):
            return found
    return None


def finished(store: Store, batch_id: str) -> Found | None:
    """A batch of the record, if it was planned by this program and is finished; HubError as in `resumable`."""
    found = _found(store, batch_id)
    return found if found is not None and ev.fold(found.plan, found.events).finished else None


def _found(store: Store, batch_id: str) -> Found | None:
    events = store.events(batch_id)
    if not events or events[0].kind != PLANNED:
        return None
    try:
        plan = plan_from_data(batch_id, [event for event in events if event.kind == PLANNED][-1].data["plan"])
        kit = [str(event.data["kit"]) for event in events if event.kind in (PLANNED, KIT_CHOSEN)][-1]
        days = any(event.kind in day.KINDS for event in events)
        told = tuple(event for event in events if event.kind not in (PLANNED, KIT_CHOSEN, *day.KINDS))
        ev.fold(plan, told)
        return Found(plan, kit, told, days)
    except (HubError, KeyError, TypeError) as fault:
        raise HubError(
            f"The batch {batch_id} in {store.path} cannot be taken up again ({fault}): look after its meat "
            "by hand, and begin a new batch, or run the version of fiftyover that wrote it."
        ) from fault
