"""When each chub will be done, worked out beside the hub: a thread of its own, so that no grant waits for it.

What this smoker and its casing lines are like is learned from the record: the newest finished batches are looked at
again before a batch begins, so nothing that was learned is kept anywhere else or can grow stale.
"""

from __future__ import annotations

import logging
import threading
from typing import Any

from ..batch import events as ev
from ..batch.events import Book
from ..batch.outlook import Memory, Outlook, Seen, learned, outlook, sentences
from ..batch.state import BatchState
from ..control.forecast import BROAD, Prior
from ..errors import HubError
from ..store import DUTY, Store
from .record import finished

LOG = logging.getLogger("fiftyover.foresight")
EVERY_S = 60.0
LEAST_S = 2.0  # of real time between two forecasts, however fast the demo runs
STALE_S = 600.0
BATCHES = 6
POINTS = 2000
MINUTE_S = 60.0


class Foresight:
    """Forecasts of the running batch. `heed` belongs to the deciding thread, the rest may be called from any."""

    def __init__(self, store: Store, record_of: str = "") -> None:
        self._store = store
        self._of = record_of
        self._memory = Memory()
        self._prior: Prior | None = None
        self._kit = ""
        self._told: Outlook | None = None
        self._state: BatchState | None = None
        self._looked_s = float("-inf")
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="foresight", daemon=True)

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()

    def stop(self) -> None:
        """End; waits for the forecast at hand."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(10.0)

    def begin(self, kit: str) -> None:
        """A new batch."""
        with self._lock:
            self._memory, self._prior, self._told, self._state, self._kit = Memory(), None, None, None, kit

    def resume(self, kit: str, from_ms: int, channels: int) -> None:
        """Take up a batch after a restart: what was seen is in the record."""
        self.begin(kit)
        if kit:
            self._memory.rows = seen(self._store, kit, from_ms, self._store.clock.utc_ms(), channels)

    def heed(self, kit: str, state: BatchState) -> None:
        """Take what is new after a decision (cheap)."""
        with self._lock:
            self._kit = kit
            if self._memory.heed(state):
                self._state = state

    def finishes(self, hanging: tuple[int, ...], now_s: float) -> dict[int, tuple[int, int]]:
        """When each hanging chub is expected, UTC ms from and to; nothing that is old."""
        told, zero_ms = self._told, self._store.clock.utc_zero_ms()
        if told is None or now_s - told.made_s > STALE_S:
            return {}
        return {
            one.chub: (zero_ms + int(one.low_s * 1000.0), zero_ms + int(one.high_s * 1000.0))
            for one in told.prospects
            if one.chub in hanging and one.low_s is not None and one.high_s is not None
        }

    def told(self, state: BatchState, now_s: float) -> list[str]:
        """Sentences about what stands in the way."""
        told = self._told
        if told is None or now_s - told.made_s > STALE_S or state.book.finished:
            return []
        return sentences(told, state.plan)

    def look(self) -> bool:
        """Make a forecast if one is due; whether one was due."""
        with self._lock:
            state, rows, prior, kit = self._state, list(self._memory.rows), self._prior, self._kit
        if state is None or state.book.finished or not rows or 0.0 <= rows[-1].at_s - self._looked_s < EVERY_S:
            return False
        self._looked_s = rows[-1].at_s
        self._forecast(state, rows, prior, kit)
        return True

    def _work(self) -> None:
        while not self._stop.wait(LEAST_S):
            try:
                self.look()
            except Exception:  # a forecast that fails is none; nothing else may suffer
                LOG.exception("no forecast this time")

    def _forecast(self, state: BatchState, rows: list[Seen], prior: Prior | None, kit: str) -> None:
        if prior is None:
            prior = from_record(self._store, kit, state.plan.batch_id, self._of)
        told = outlook(state, rows, prior)
        with self._lock:
            if self._state is not None and self._state.plan.batch_id == state.plan.batch_id:
                self._prior, self._told = prior, told


def from_record(store: Store, kit: str, but: str, of: str = "") -> Prior:
    """Learn from the newest finished batches of a kit, oldest first; what cannot be read is left out.

    `of`: look among the batches of this kit only, where several share the record.
    """
    prior = BROAD
    for line in reversed(store.batches(of)[: BATCHES + 1]):
        if line.batch_id == but:
            continue
        try:
            found = finished(store, line.batch_id)
        except HubError as fault:
            LOG.warning("not learned from: %s", fault)
            continue
        if found is not None and found.kit == kit and found.events:
            prior = _learned(store, prior, ev.fold(found.plan, found.events), kit)
    return prior


def _learned(store: Store, prior: Prior, book: Book, kit: str) -> Prior:
    zero_ms = store.clock.utc_zero_ms()
    from_ms = zero_ms + int(min(book.hung_s.values()) * 1000.0)
    to_ms = zero_ms + int(max(book.pulled_s.values(), default=0.0) * 1000.0)
    return learned(prior, book, seen(store, kit, from_ms, to_ms, book.plan.channels))


def seen(store: Store, kit: str, from_ms: int, to_ms: int, channels: int) -> list[Seen]:
    """Read a batch's means again from the record, a row a minute."""
    zero_ms = store.clock.utc_zero_ms()
    rows: dict[int, dict[int, float]] = {}
    for channel in (DUTY, *range(channels)):
        for bucket in store.series(kit, channel, from_ms, to_ms, POINTS):
            rows.setdefault(bucket.utc_ms, {})[channel] = bucket.mean
    found: list[Seen] = []
    for utc_ms, values in sorted(rows.items()):
        if 0 in values:
            cores: tuple[Any, ...] = (None, *(values.get(channel) for channel in range(1, channels)))
            at_s = (utc_ms - zero_ms) / 1000.0 + MINUTE_S / 2.0
            found.append(Seen(at_s, values[0], cores, values.get(DUTY, 0.0)))
    return found
