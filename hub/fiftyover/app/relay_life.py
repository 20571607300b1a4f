"""How often the relay of a kit has switched on over all recorded batches, against its usual life."""

from __future__ import annotations

from ..batch import events as ev
from ..batch.opening import KIT_CHOSEN, PLANNED
from ..errors import StoreError
from ..store import Store

# Operations of a small mechanical relay at its rated load: the usual figure of data sheets (from memory).
OPERATIONS = 100_000


def switched(store: Store, kit: str) -> int:
    """Count over the batches that were cooked with this kit; 0 while the record cannot be read."""
    total = 0
    try:
        for line in store.batches():
            events = store.events(line.batch_id)
            kits = [event.data.get("kit") for event in events if event.kind in (PLANNED, KIT_CHOSEN)]
            if kits and kits[-1] == kit:
                total += sum(int(event.data["count"]) for event in events if event.kind == ev.SWITCHED)
    except StoreError:
        return 0
    return total


def words(count: int, relay: str) -> str:
    """The count for a person; a solid-state relay does not wear by switching."""
    if relay != "mechanical":
        return str(count)
    return f"{count} ({count / OPERATIONS:.1%} of a small relay's usual life of {OPERATIONS:,})"
