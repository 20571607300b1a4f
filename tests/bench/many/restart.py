"""How long a hub takes up many batches after a restart: python tests/bench/many/restart.py KITS SECONDS

A record of so many kits, each so many seconds into its cook (eight chubs, seven probed); then what `Yard` does at a
start.
"""

from __future__ import annotations

import queue
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fiftyover.app.parts import Parts
from fiftyover.app.record import planned
from fiftyover.app.yard import Yard
from fiftyover.batch import decide
from fiftyover.batch import events as ev
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker.notes import Counters
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import DatedFrame, Store
from fiftyover.web.live import Live

BEGAN_S = 5000.0


class NoBroker:
    """Takes everything, sends nothing."""

    taken_over = False

    def __init__(self) -> None:
        self.counters = Counters()

    def publish(self, *_: Any) -> bool:
        return True


def fill(store: Store, number: int, seconds: int) -> str:
    """A kit's batch and readings on the disk; the kit's name."""
    kit, zero_ms = f"kit-{number:03d}", store.clock.utc_zero_ms() + int(BEGAN_S * 1000)
    hung = tuple(Chub(n, "slim", 45.0, f"hook {n}", n if n < 8 else None) for n in range(1, 9))
    plan = Plan(f"b{number:07d}", "Pork with mace", hung, 82.2, relay="solid-state", element_watts=800.0)
    begun = decide.on_mark(decide.new_state(plan), ev.HUNG, {}, BEGAN_S, zero_ms)
    for event in (planned(plan, kit, BEGAN_S, zero_ms), *begun.events):
        store.add_event(plan.batch_id, event)
    store.add_frames(frames(kit, zero_ms, seconds))
    store.commit()
    return kit


def frames(kit: str, zero_ms: int, seconds: int) -> Iterator[DatedFrame]:
    """A chamber and cores that rise evenly."""
    for s in range(1, seconds):
        cores = [min(60.0, 5.0 + s / 500.0 + core / 10.0) for core in range(7)]
        yield DatedFrame(
            kit, "9f3c1a02b7e4", s, s * 1000, zero_ms + s * 1000, BEGAN_S + s, [min(75.0, 30.0 + s / 60.0), *cores],
            ["ok"] * 8, s // 10 % 2, 0.5, "on", True,
        )  # fmt: skip


def main(kits: int, seconds: int) -> None:
    with tempfile.TemporaryDirectory(prefix="fiftyover-many-") as folder:
        clock = VirtualClock(at_s=BEGAN_S)
        store = Store(Path(folder) / "record.sqlite", clock, 0, waiting_max=2 * seconds)
        names = [fill(store, number, seconds) for number in range(kits)]
        clock.advance(float(seconds))
        broker: Any = NoBroker()
        heater = Heater(store.hub_id, store.run_number, broker.publish)
        parts = Parts(clock, store, Inbox(store, clock, set(names)), broker, heater, Live())
        yard = Yard(parts, names, queue.Queue())
        began_s = time.monotonic()
        for kit in names:
            yard.take_up(kit)
        gone_s = time.monotonic() - began_s
        cooking = sum(hub.cooking and len(hub.state.book.hanging) == 8 for hub in yard.smokers.values() if hub.state)
        print(f"{cooking} of {kits} go on; {gone_s:.1f} s, {1000.0 * gone_s / kits:.0f} ms a kit")
        store.close()


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
