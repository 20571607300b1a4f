"""Many smokers in one program: each is a `Hub` of its own kit, and they share the inbox, the record and four threads.

One thread takes message after message and decides for the kit that sent it; one commits and acknowledges for all; one
makes the forecasts, a smoker at a time; one takes up, after a restart, batch after batch while the others go on. What
fails for one smoker is counted and told there, and the next one has its turn.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace

from ..broker.notes import Link, Message
from ..heater import Heater
from ..ingest import KitNote, Refused
from ..store import DatedFrame
from ..web.live import Live
from .hub import COMMIT_S, DAYS_S, PICTURE_S, Hub
from .parts import Parts
from .run_numbers import RunNumbers
from .troubles import Troubles
from .turning import Turning
from .writing import saved

LOG = logging.getLogger("fiftyover.hub")
UNSEEN_PICTURE_S = 1.0  # how old the picture of a smoker may be at which no page looks: phones are told from it
TURN_S = 0.5  # each smoker gets a turn so often
TURNS_AT_ONCE = 4  # after a message, so that the next one does not wait
KEPT_MAX = 2000  # messages' meanings kept for a smoker whose batch is still to be taken up
ROUND_S = 2.0  # for a look at every smoker whether its forecast is due
NOT_YET = "This smoker's batch is being taken up again after a start: try again in a moment."

Result = DatedFrame | KitNote | Refused


class Yard:
    """The smokers by the name of their kit, in the order of the settings. Public methods: from any thread."""

    def __init__(
        self,
        parts: Parts,
        kits: Sequence[str],
        inbox: queue.Queue[Message | Link],
        heater: Callable[[], Heater] | None = None,
    ) -> None:
        """`parts`: what all share. `heater` makes one for each kit: a count of permits is used up in four days then,
        however many smokers there are."""
        make = heater or (lambda: Heater(parts.store.hub_id, parts.store.run_number, parts.client.publish))
        self.parts = parts
        self.troubles = Troubles()
        self.faults = 0
        self.smokers = {
            kit: Hub(replace(parts, kit=kit, record_of=kit, live=Live(), heater=make()), inbox) for kit in kits
        }
        for hub in self.smokers.values():
            hub.gate.shut(NOT_YET)
        self._kept: dict[str, list[Result]] = {kit: [] for kit in kits}  # of those not taken up yet
        self._keeping = threading.Lock()
        self._turns = deque((0.0, kit) for kit in kits)  # due (s), soonest first
        self._days = deque(kits)
        self._days_each = -(-len(kits) // int(DAYS_S / COMMIT_S))  # looked at in one commit's time
        heaters = [hub.parts.heater for hub in self.smokers.values()]
        self._runs = RunNumbers(parts.store, heaters, lambda told: self.tell("run", told))
        self._ended = threading.Event()
        self._turning = Turning(inbox, self.step, self.write, self._note_fault)
        self._threads = [
            threading.Thread(target=self._take_up_all, name="take-up", daemon=True),
            threading.Thread(target=self._forecast_for_ever, name="foresight", daemon=True),
        ]

    # -- starting and ending

    def start(self) -> None:
        """Begin to work; batches that were going on are taken up one after the other."""
        self._turning.start(COMMIT_S)
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End: heat is withdrawn everywhere with a stop, and what is known is on the disk."""
        self._ended.set()
        self._turning.stop()
        for thread in self._threads:
            if thread.ident is not None:
                thread.join(10.0)
        for hub in self.smokers.values():
            hub.withdraw()
        self.parts.store.commit()

    @property
    def taken_up(self) -> int:
        """How many smokers go on where they were."""
        return len(self.smokers) - len(self._kept)

    def _take_up_all(self) -> None:
        for kit in list(self.smokers):
            if self._ended.is_set():
                return
            self.take_up(kit)

    def take_up(self, kit: str) -> None:
        """Go on with the batch that the record says is going on at this smoker, then with what it said meanwhile."""
        hub = self.smokers[kit]
        try:
            hub.take_up()
        except Exception as fault:  # one that cannot go on must not keep the others from it
            hub.gate.open()
            hub.note_fault()
            hub.tell("batch", f"This smoker's batch could not be taken up ({fault}): look after its meat by hand.")
            LOG.exception("the batch of %s could not be taken up", kit)
        with self._keeping:  # the deciding thread waits, so that nothing newer overtakes what was kept
            self._hear(hub, self._kept.pop(kit, []))

    # -- telling all

    def tell(self, name: str, sentence: str | None) -> None:
        """Let a sentence stand on every page under its name; None: it is over."""
        self.troubles.put(name, sentence, self.parts.clock.monotonic_s())
        for hub in self.smokers.values():
            hub.tell(name, sentence)

    def _note_fault(self) -> None:
        self.faults += 1

    # -- the deciding thread

    def step(self, item: Message | Link | None) -> None:
        """Take one message (None: only time has passed), then give the smokers whose turn it is theirs."""
        now_s = self.parts.clock.monotonic_s()
        self._runs.look(now_s)
        if isinstance(item, Link):
            for hub in self.smokers.values():
                hub.link(item)
        elif item is not None:
            results = self.parts.inbox.handle(item.topic, item.payload, item.retained, item.arrived_s)
            if results:
                self._route(results)
        self._turn(now_s, len(self._turns) if item is None else TURNS_AT_ONCE)

    def _route(self, results: list[Result]) -> None:
        """All that one message meant is of one kit."""
        hub = self.smokers.get(results[0].kit)
        if hub is None:
            for one in results:
                if isinstance(one, Refused):
                    self.troubles.news(one.sentence, self.parts.clock.monotonic_s())
            return
        with self._keeping:
            kept = self._kept.get(hub.parts.kit)
            if kept is not None:
                kept += results[: max(0, KEPT_MAX - len(kept))]
                return
        self._hear(hub, results)

    def _hear(self, hub: Hub, results: list[Result]) -> None:
        try:
            hub.take(results)
        except Exception:
            hub.note_fault()
            LOG.exception("a message or a decision of %s failed; its permit runs out if this goes on", hub.parts.kit)

    def _turn(self, now_s: float, most: int) -> None:
        """Give the smokers that are due their turn, at most so many."""
        for _ in range(most):
            due_s, kit = self._turns[0]
            if due_s > now_s:
                return
            self._turns.rotate(-1)
            self._turns[-1] = (now_s + TURN_S, kit)
            hub = self.smokers[kit]
            if kit in self._kept:
                continue
            try:
                hub.pass_time(PICTURE_S if hub.parts.live.watched else UNSEEN_PICTURE_S)
            except Exception:
                hub.note_fault()
                LOG.exception("showing %s failed", kit)

    # -- the writing thread

    def write(self) -> None:
        """Commit and acknowledge for all, then look at the days' clocks of the next few smokers."""
        for sentence in saved(self.parts):
            self.troubles.news(sentence, self.parts.clock.monotonic_s())
            for hub in self.smokers.values():
                hub.news(sentence)
        for _ in range(self._days_each):
            kit = self._days[0]
            self._days.rotate(-1)
            if kit not in self._kept:
                self.smokers[kit].watch_days()

    # -- the forecasting thread

    def _forecast_for_ever(self) -> None:
        while True:
            for hub in self.smokers.values():
                if self._ended.wait(self._forecast(hub)):
                    return

    def _forecast(self, hub: Hub) -> float:
        """Make a smoker's forecast if one is due; how long to pause then (s): never more than half a core is taken."""
        began_s = time.monotonic()
        try:
            made = hub.foresight.look()
        except Exception:  # a forecast that fails is none; nothing else may suffer
            made = True
            LOG.exception("no forecast for %s this time", hub.parts.kit)
        return time.monotonic() - began_s if made else ROUND_S / len(self.smokers)
