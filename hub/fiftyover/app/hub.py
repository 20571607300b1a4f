"""The running hub: messages in, decisions out, marks in between. One thread decides, one writes, pages only ask.

Heat comes from one place: a fresh decision on a live frame, through `heater.follow`. When frames stop, decisions stop,
and the kit's permit runs out by itself.
"""

from __future__ import annotations

import logging
import queue
import threading
from typing import Any

from fiftyover_kit.contract import limits, messages, topics

from ..batch import decide as batch
from ..batch import events as ev
from ..batch.plan import Plan
from ..batch.state import BatchState, Decision
from ..broker.notes import Link, Message
from ..errors import HubError
from ..heater import follow
from ..ingest import KitNote, Refused
from ..store import DatedFrame
from .history import Curves
from .kit_watch import KitWatch
from .parts import PLANNED, Parts, reading_of
from .picture import picture
from .record import resumable, start_events

LOG = logging.getLogger("fiftyover.hub")
COMMIT_S = 1.0
PICTURE_S = 0.25
WAIT_S = 0.1
TARGET_KELVIN = 0.1
RESUME_FROM_S = 1200.0  # frames read again after a restart


class Hub:
    """One hub with at most one batch that is cooked. Public methods may be called from any thread."""

    def __init__(self, parts: Parts, inbox: queue.Queue[Message | Link]) -> None:
        self.parts = parts
        self.watch = KitWatch(parts.kit)
        self.state: BatchState | None = None
        self.last_frame: DatedFrame | None = None
        self.faults = 0
        self.expiries = 0  # permits that ran out on the kit while its link stood
        self.troubles: dict[str, str] = {}
        self._inbox = inbox
        self._curves = Curves(parts.store)
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._pictured_s = 0.0
        self._noted_degC: float | None = None
        self._threads = [
            threading.Thread(target=self._decide_for_ever, name="hub", daemon=True),
            threading.Thread(target=self._write_for_ever, name="hub-writer", daemon=True),
        ]

    # -- starting and ending

    def start(self) -> None:
        """Take up the batch that was going on, if there is one, and begin to work."""
        found = resumable(self.parts.store)
        if found is not None:
            self._resume(found.plan, found.kit)
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End: heat is withdrawn with a stop, and what is known is on the disk."""
        self._stop.set()
        for thread in self._threads:
            thread.join(10.0)
        with self._lock:
            kit, frame = self.watch.kit, self.last_frame
            if kit and frame is not None:
                self.parts.heater.stop(kit, frame.boot, self.parts.clock.monotonic_s())
        self.parts.store.commit()

    def start_batch(self, plan: Plan) -> None:
        """Begin a batch and hang its chubs now. HubError if one is going on."""
        with self._lock:
            if self.state is not None and not self.state.book.finished:
                raise HubError(f"Batch {self.state.plan.name!r} is still in the smoker: finish it first.")
            now_s, utc_ms = self.parts.clock.monotonic_s(), self.parts.clock.utc_ms()
            for event in start_events(plan, self.watch.kit, now_s, utc_ms):
                self.parts.store.add_event(plan.batch_id, event)
            decision = batch.on_mark(batch.new_state(plan), ev.HUNG, {}, now_s, utc_ms)
            self._take(decision)
            self._curves.begin(utc_ms)
            self._set_process_cap(plan)
        self.parts.store.commit()

    def _resume(self, plan: Plan, kit: str) -> None:
        store, clock = self.parts.store, self.parts.clock
        events = [event for event in store.events(plan.batch_id) if event.kind != PLANNED]
        now_ms = clock.utc_ms()
        frames = store.frames(kit, now_ms - int(RESUME_FROM_S * 1000), now_ms + 1000) if kit else []
        self.watch.choose(kit)
        self.state = batch.rebuild(plan, events, [reading_of(frame) for frame in frames])
        self._curves.resume(kit, min((event.utc_ms for event in events), default=now_ms))
        self._set_process_cap(plan)
        LOG.info("batch %s goes on with %d chubs in the smoker", plan.name, len(self.state.book.hanging))

    def _set_process_cap(self, plan: Plan) -> None:
        if self.watch.kit:
            self.parts.heater.set_caps(self.watch.kit, process_cap_degC=plan.cap_degC)

    # -- the page's side

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """Take a person's mark; (done, one sentence). A stop is on the disk before it is confirmed."""
        with self._lock:
            now_s = self.parts.clock.monotonic_s()
            told = self._stop_now(now_s) if kind == ev.STOP_HEAT else None
            if self.state is None:
                return kind == ev.STOP_HEAT, told or "No batch is running; the kit was told to stop."
            try:
                decision = batch.on_mark(self.state, kind, {**data, "who": who}, now_s, self.parts.clock.utc_ms())
            except HubError as fault:
                return False, str(fault)
            self._take(decision)
            self._show(now_s)
        self.parts.store.commit()
        problem = self.parts.store.problem
        if problem is not None:
            return True, f"Done, but it is not saved yet: {problem}"
        return True, told or _DONE.get(kind, "Noted.")

    def history(self, points: int) -> dict[str, Any]:
        """Curves of the running batch for the chart."""
        with self._lock:
            state, kit = self.state, self.watch.kit
        return self._curves.history(state, kit, points, self.parts.clock.utc_ms())

    def _stop_now(self, now_s: float) -> str:
        kit = self.watch.kit
        if not kit:
            return "No kit was heard yet, so nothing can be heating by this hub."
        boot = self.last_frame.boot if self.last_frame else ""
        told = self.parts.heater.stop(kit, boot, now_s)
        return told[0].upper() + told[1:] + "." if told else "Stopped. The element stays off until a cook resumes it."

    # -- the deciding thread

    def _decide_for_ever(self) -> None:
        while not self._stop.is_set():
            try:
                item: Message | Link | None = self._inbox.get(timeout=WAIT_S)
            except queue.Empty:
                item = None
            try:
                self.step(item)
            except Exception:
                self.faults += 1
                LOG.exception("a message or a decision failed; the kit's permit runs out if this goes on")

    def step(self, item: Message | Link | None) -> None:
        """Take one message (None: only time has passed) and show what follows."""
        with self._lock:
            if isinstance(item, Link):
                self._link(item)
            elif item is not None:
                parts = self.parts
                for result in parts.inbox.handle(item.topic, item.payload, item.retained, item.arrived_s):
                    self._result(result)
            now_s = self.parts.clock.monotonic_s()
            kit = self.watch.kit
            if kit and self.parts.heater.stopped(kit):
                self.parts.heater.stop_again(kit, now_s)
            self._show(now_s, at_most_every_s=PICTURE_S)

    def _link(self, link: Link) -> None:
        LOG.info("%s", link.why)
        self.troubles.pop("broker", None)
        if not link.up:
            self.troubles["broker"] = f"The hub's link is down, so nothing is heated: {link.why}"

    def _result(self, result: DatedFrame | KitNote | Refused) -> None:
        if isinstance(result, Refused):
            LOG.warning("%s", result.sentence)
            self.troubles["refused"] = result.sentence
        elif isinstance(result, KitNote):
            self._note(result)
        elif result.live and self.watch.hear(result):
            self._frame(result)

    def _note(self, note: KitNote) -> None:
        self.watch.note(note)
        cap_degC = self.watch.cap_degC
        if cap_degC is not None and note.kit == self.watch.kit:
            self.parts.heater.set_caps(note.kit, kit_cap_degC=cap_degC)

    def _frame(self, frame: DatedFrame) -> None:
        if frame.why == "expired" and (self.last_frame is None or self.last_frame.why != "expired"):
            self.expiries += 1
        self.last_frame = frame
        if self.state is None:
            self.parts.heater.hear(frame, self.parts.clock.monotonic_s())
            return
        decision = batch.decide(self.state, reading_of(frame))
        self._take(decision)
        self._curves.add(frame)
        self._note_target(frame, decision)
        self._set_process_cap(decision.state.plan)
        if self.parts.simulated_only and not self.watch.simulated:
            self.troubles["heat"] = "No heat: this hub runs faster than life and serves a simulated kit only."
            return
        trouble = follow(self.parts.heater, frame, decision, self.parts.clock.monotonic_s())
        if trouble is not None:
            self.troubles["heat"] = f"No heat: {trouble}."
        elif decision.fresh:
            self.troubles.pop("heat", None)

    def _note_target(self, frame: DatedFrame, decision: Decision) -> None:
        """The target goes into the record when it moved by what a chart could show, or heat came or went."""
        target_degC, noted_degC = decision.target_degC if decision.heat else None, self._noted_degC
        both = target_degC is not None and noted_degC is not None
        if (abs(target_degC - noted_degC) >= TARGET_KELVIN) if both else (target_degC is not noted_degC):  # type: ignore[operator]
            self.parts.store.add_target(frame.kit, frame.utc_ms, target_degC)
            self._noted_degC = target_degC

    def _take(self, decision: Decision) -> None:
        self.state = decision.state
        for event in decision.events:
            self.parts.store.add_event(decision.state.plan.batch_id, event)

    def _show(self, now_s: float, at_most_every_s: float = 0.0) -> None:
        if 0.0 <= now_s - self._pictured_s < at_most_every_s * getattr(self.parts.clock, "speed", 1.0):
            return
        self._pictured_s = now_s
        age_s = self.parts.inbox.freshness.age_s(self.watch.kit, now_s) if self.watch.kit else None
        self.parts.live.publish(
            picture(
                self.state,
                self.last_frame,
                kit=self.watch.described(age_s),
                alarms=self._alarms(age_s),
                warmup_s=self._curves.warmup_s(),
                title="fiftyover",
            )
        )

    def _alarms(self, age_s: float | None) -> list[str]:
        told = [*self.troubles.values(), *self.watch.alerts.values()]
        if self.state is not None and self.state.book.hanging and age_s is not None and age_s > limits.TTL_S:
            told.insert(0, "The kit is not heard, so its element is off by itself. Go to the smoker: the clock runs.")
        if self.parts.client.taken_over:
            told.insert(0, "Another hub took this one's place at the broker. Heat is withdrawn until a person looks.")
        if self.parts.store.problem is not None:
            told.append(str(self.parts.store.problem))
        if self.faults:
            told.append(f"The hub had {self.faults} faults of its own; see its log.")
        return told

    # -- the writing thread

    def _write_for_ever(self) -> None:
        while not self._stop.wait(COMMIT_S):
            try:
                self.write()
            except Exception:
                self.faults += 1
                LOG.exception("saving failed; nothing is acknowledged, so the kit keeps its readings")

    def write(self) -> None:
        """Commit, then acknowledge what is on the disk, and tell what the store has to say."""
        self.parts.store.commit()
        for kit, ack in self.parts.inbox.acks_due():
            self.parts.client.publish(topics.ack_set(kit), messages.encode_ack(ack), 0)
        for sentence in self.parts.store.take_notices():
            LOG.warning("%s", sentence)
            with self._lock:
                self.troubles["store"] = sentence


_DONE = {
    ev.PULLED: "Pulled. Into the ice bath with it.",
    ev.HAND_READING: "Reading noted.",
    ev.RESUME_HEAT: "Heat may go on.",
    ev.DOOR: "Door noted.",
    ev.UNDO: "Undone.",
}
