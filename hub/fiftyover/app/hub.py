"""One smoker: messages in, decisions out, marks in between. One thread decides, one writes, pages only ask.

Alone in its house it is the whole hub; several share the threads of a `yard.Yard`.

Heat comes from one place: a fresh decision on a live frame, through `heater.follow`. When frames stop, decisions stop,
and the kit's permit runs out by itself.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Sequence
from typing import Any

from fiftyover_kit.contract import limits

from ..batch import again, day
from ..batch import decide as batch
from ..batch import events as ev
from ..batch.plan import Plan
from ..batch.state import BatchState, Decision
from ..broker.notes import Link, Message
from ..errors import HubError
from ..heater import follow
from ..ingest import KitNote, Refused
from ..reports.record import reading_of
from ..store import DatedFrame
from .catch_up import CatchUp
from .client_watch import ClientWatch
from .days import Days
from .errands import DONE
from .foresight import Foresight
from .gate import Gate
from .history import Curves, TargetNotes
from .kit_watch import KitWatch
from .parts import Parts
from .picture import picture
from .record import Found, kit_chosen, planned, resumable
from .run_numbers import RunNumbers
from .troubles import Troubles
from .turning import Turning
from .writing import saved

LOG = logging.getLogger("fiftyover.hub")
COMMIT_S = 1.0
PICTURE_S = 0.25
RESUME_FRAMES = 100_000  # of the batch, read again after a restart: a day and more; 33 microseconds each
DAYS_S = 30.0  # so often the cooling and hold clocks are looked at
FOR_EVER_MS = 1 << 62


class Hub:
    """One hub with at most one batch that is cooked. Public methods may be called from any thread."""

    def __init__(self, parts: Parts, inbox: queue.Queue[Message | Link]) -> None:
        self.parts = parts
        self.watch = KitWatch(parts.kit, parts.refrigerator)
        self.state: BatchState | None = None
        self.last_frame: DatedFrame | None = None
        self.faults = 0
        self.expiries = 0  # permits that ran out on the kit while its link stood
        self.troubles = Troubles()
        self._client_watch = ClientWatch(parts.client, self.troubles)
        self.days = Days(parts.store, parts.clock, parts.refrigerator, parts.record_of)
        self.today = day.Day()  # of the batch in the smoker
        self._days_s = float("-inf")
        self._curves = Curves(parts.store)
        self.foresight = Foresight(parts.store, parts.record_of)
        self._catch_up = CatchUp()
        self._lock = threading.RLock()
        self.gate = Gate()
        self._pictured_s = 0.0
        self._targets = TargetNotes(parts.store)
        self._runs = RunNumbers(parts.store, [parts.heater], lambda told: self.tell("run", told))
        self._turning = Turning(inbox, self.step, self.write, self.note_fault)
        self._threads = self._turning.threads

    # -- starting and ending

    def start(self) -> None:
        """Take up the batch that was going on, if there is one, and begin to work."""
        self.take_up()
        self.foresight.start()
        self._turning.start(COMMIT_S)

    def take_up(self) -> None:
        """Go on with the batch that the record says is going on."""
        with self._lock:
            try:
                found = resumable(self.parts.store, self.parts.record_of)
            except HubError as fault:  # no heat, but the page is there to say so
                self.troubles.put("batch", str(fault), self.parts.clock.monotonic_s())
                found = None
            if found is not None:
                self._resume(found)
        self._look_at_today()
        if (who := self.gate.open()) is not None:
            self.mark(ev.STOP_HEAT, {}, who)

    def stop(self) -> None:
        """End: heat is withdrawn with a stop, and what is known is on the disk."""
        self._turning.stop()
        self.foresight.stop()
        self.withdraw()
        self.parts.store.commit()

    def withdraw(self) -> None:
        """Tell the kit with a stop that no heat comes any more: the program ends."""
        with self._lock:
            kit, frame = self.watch.kit, self.last_frame
            if kit and frame is not None:
                self.parts.heater.stop(kit, frame.boot, self.parts.clock.monotonic_s())

    def start_batch(self, plan: Plan) -> None:
        """Begin a batch: its chubs hang now, or the empty smoker is preheated. HubError if one is going on."""
        with self._lock:
            if self.gate.why:
                raise HubError(self.gate.why)
            if self.state is not None and self.cooking:
                raise HubError(f"Batch {self.state.plan.name!r} is still in the smoker: finish it first.")
            now_s, utc_ms = self.parts.clock.monotonic_s(), self.parts.clock.utc_ms()
            begins = ev.PREHEAT if plan.stages[0].empty else ev.HUNG
            decision = batch.on_mark(batch.new_state(plan), begins, {}, now_s, utc_ms)
            self.parts.store.add_event(plan.batch_id, planned(plan, self.watch.kit, now_s, utc_ms))
            self._take(decision)
            self.troubles.put("batch", None, now_s)
            self._curves.begin(utc_ms)
            self.foresight.begin(self.watch.kit)
        self.parts.store.commit()
        self._look_at_today()
        self._show(now_s)

    def _look_at_today(self) -> None:
        """What the days' marks say of the batch in the smoker: its places and its warm-up clock."""
        if (state := self.state) is None:
            return
        try:
            today = self.days.of(state.plan.batch_id)
        except HubError as fault:
            LOG.warning("%s", fault)
            return
        with self._lock:
            self.today = today
            self._curves.tell(today, min(state.book.hung_s.values(), default=None))

    def _resume(self, found: Found) -> None:
        store, plan = self.parts.store, found.plan
        since_ms = min((event.utc_ms for event in found.events), default=self.parts.clock.utc_ms())
        self.watch.choose(found.kit)
        kit = self.watch.kit
        frames = store.frames(kit, since_ms, FOR_EVER_MS, RESUME_FRAMES) if kit else []
        self.state, unsaved = again.rebuild(plan, found.events, [reading_of(frame) for frame in frames])
        for event in unsaved:
            store.add_event(plan.batch_id, event)
        self._catch_up.begin(frames[-1] if frames else None)
        self._curves.resume(kit, since_ms, plan.channels)
        self.foresight.resume(kit, since_ms, plan.channels)
        LOG.info("batch %s goes on with %d chubs in the smoker", plan.name, len(self.state.book.hanging))

    @property
    def cooking(self) -> bool:
        """True while a batch is going on."""
        return self.state is not None and not self.state.book.finished

    # -- the page's side

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """Take a person's mark; (done, one sentence). A stop is on the disk before it is confirmed.

        A mark of the days around the cook may name its ``batch``; without, it belongs to the one in the smoker.
        """
        if self.gate.why and (kind != ev.STOP_HEAT or self.gate.stop(who)):
            stops = kind == ev.STOP_HEAT
            return stops, self._stop_now(self.parts.clock.monotonic_s()) if stops else self.gate.why
        if kind in day.MARKS:
            batch_id = data.get("batch") or (self.state.plan.batch_id if self.state is not None else "")
            answer = self.days.mark(str(batch_id), kind, {k: v for k, v in data.items() if k != "batch"}, who)
            self._look_at_today()
            return answer
        if kind == ev.HUNG and data.get("batch") not in (None, self.state.plan.batch_id if self.state else None):
            return self._hang(str(data["batch"]))
        with self._lock:
            now_s = self.parts.clock.monotonic_s()
            told = self._stop_now(now_s) if kind == ev.STOP_HEAT else DONE.get(kind, "Noted.")
            if self.state is None:
                return kind == ev.STOP_HEAT, told if kind == ev.STOP_HEAT else "No batch is running."
            given = {"who": who} if kind == ev.STOP_HEAT else {**data, "who": who}  # a stop is never refused
            try:
                self._take(batch.on_mark(self.state, kind, given, now_s, self.parts.clock.utc_ms()))
            except HubError as fault:
                return False, str(fault)
            self._show(now_s)
        self.parts.store.commit()
        problem = self.parts.store.problem
        return True, told if problem is None else f"{told} But it is not saved yet: {problem}"

    def _hang(self, batch_id: str) -> tuple[bool, str]:
        """Begin to cook a batch that was begun in the bowl."""
        try:
            self.start_batch(self.days.plan_to_hang(batch_id))
        except HubError as fault:
            return False, str(fault)
        return True, "Hung. The clock runs; heat begins with the start check."

    def note_test(self, told: str) -> None:
        """Put into the batch's record how its alarm test stands: "sent", "nobody" or "heard"."""
        with self._lock:
            if self.state is None or not self.cooking or self.state.book.phone == told:
                return
            event = ev.Event(ev.ALARM_TEST, self.parts.clock.monotonic_s(), self.parts.clock.utc_ms(), {"state": told})
            self.parts.store.add_event(self.state.plan.batch_id, event)
            self.state = self.state._replace(book=ev.apply(self.state.book, event))
        self.parts.store.commit()

    def tell(self, name: str, sentence: str | None) -> None:
        """Let a sentence stand on the page under its name; None: it is over."""
        with self._lock:
            self.troubles.put(name, sentence, self.parts.clock.monotonic_s())

    def history(self, points: int) -> dict[str, Any]:
        """Curves of the running batch for the chart; none while the record cannot be read."""
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

    def step(self, item: Message | Link | None) -> None:
        """Take one message (None: only time has passed) and show what follows."""
        with self._lock:
            self._runs.look(self.parts.clock.monotonic_s())
            if isinstance(item, Link):
                self._link(item)
            elif item is not None:
                self.take(self.parts.inbox.handle(item.topic, item.payload, item.retained, item.arrived_s))
            self.pass_time(PICTURE_S)

    def take(self, results: Sequence[DatedFrame | KitNote | Refused]) -> None:
        """Take what a message meant, oldest first."""
        with self._lock:
            for result in results:
                self._result(result)

    def pass_time(self, picture_s: float) -> None:
        """Do what is due by the clock alone, and show how things stand at most every `picture_s` (s)."""
        with self._lock:
            now_s = self.parts.clock.monotonic_s()
            self._watch_stop(now_s)
            self._client_watch.look(now_s)
            self._show(now_s, at_most_every_s=picture_s)

    def link(self, link: Link) -> None:
        """The session with the broker came up or went down."""
        with self._lock:
            self._link(link)

    def note_fault(self) -> None:
        """Something of the hub's own failed; the page tells how often."""
        self.faults += 1

    def _watch_stop(self, now_s: float) -> None:
        """Send a stop until a frame shows that it worked; while it does not get through, a person has to go."""
        kit = self.watch.kit
        told = self.parts.heater.stop_again(kit, now_s) if kit and self.parts.heater.stopped(kit) else None
        wanted = self.state is None or self.cooking
        self.troubles.put("stop", f"The stop is {told}." if told and wanted else None, now_s)

    def _link(self, link: Link) -> None:
        if link.up:
            LOG.info("%s", link.why)
        told = f"The hub's link is down, so nothing is heated: {link.why}."
        self.troubles.put("broker", None if link.up else told, self.parts.clock.monotonic_s())

    def _result(self, result: DatedFrame | KitNote | Refused) -> None:
        if isinstance(result, Refused):
            self.troubles.news(result.sentence, self.parts.clock.monotonic_s())
        elif isinstance(result, KitNote):
            self.watch.note(result)
        elif result.live or self._catch_up.waiting:
            if not self.watch.kit and result.kit != self.parts.refrigerator:
                self._choose(result.kit)
            if result.kit == self.watch.kit:
                for frame in self._catch_up.take(result, self.parts.clock.monotonic_s()):
                    self._frame(frame)

    def _choose(self, kit: str) -> None:
        """The first kit that is heard, where none was named, is the one; a running batch remembers it."""
        self.watch.choose(kit)
        if self.state is not None:
            clock = self.parts.clock
            self.parts.store.add_event(self.state.plan.batch_id, kit_chosen(kit, clock.monotonic_s(), clock.utc_ms()))

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
        self.foresight.heed(frame.kit, decision.state)
        self._targets.note(frame, decision)
        if not frame.live:
            return  # caught up with after a restart: nothing is heated on what is past
        self.parts.heater.set_caps(frame.kit, self.watch.cap_degC, decision.state.plan.cap_degC)
        now_s = self.parts.clock.monotonic_s()
        if self.parts.simulated_only and not self.watch.simulated:
            self.troubles.put("heat", "No heat: this hub runs faster than life and serves a simulated kit only.", now_s)
            return
        trouble = follow(self.parts.heater, frame, decision, now_s)
        if trouble is not None and decision.heat:
            self.troubles.put("heat", f"No heat: {trouble}.", now_s)
        elif decision.fresh or not decision.heat:  # what stands against heat is then among the batch's notes
            self.troubles.put("heat", None, now_s)

    def _take(self, decision: Decision) -> None:
        for event in decision.events:  # first: one that cannot be written must not count
            self.parts.store.add_event(decision.state.plan.batch_id, event)
        self.state = decision.state

    def _show(self, now_s: float, at_most_every_s: float = 0.0) -> None:
        speed = getattr(self.parts.clock, "speed", 1.0)
        if 0.0 <= now_s - self._pictured_s < at_most_every_s * speed:
            return
        self._pictured_s = now_s
        age_s = self.parts.inbox.freshness.age_s(self.watch.kit, now_s) if self.watch.kit else None
        age_s = None if age_s is None else age_s / speed  # how fresh the page is, is a matter of real seconds
        self.parts.live.publish(
            picture(
                self.state,
                self.last_frame,
                kit=self.watch.described(age_s),
                alarms=self._alarms(age_s, now_s),
                warmup_s=self._curves.warmup_s(now_s if self.cooking else None),
                today=self.today,
                title="fiftyover",
                finishes=self.foresight.finishes(self.state.book.hanging, now_s) if self.state else None,
            )
        )

    def _alarms(self, age_s: float | None, now_s: float) -> list[str]:
        told = [*self.troubles.told(now_s), *self.watch.alerts.values()]
        if self.state is not None and self.state.book.hanging and age_s is not None and age_s > limits.TTL_S:
            told.insert(0, "The kit is not heard, so its element is off by itself. Go to the smoker: the clock runs.")
        if self.parts.client.taken_over:
            told.insert(0, "Another hub took this one's place at the broker. Heat is withdrawn until a person looks.")
        if self.state is not None:
            told += self.foresight.told(self.state, now_s)
        if self.parts.store.problem is not None:
            told.append(str(self.parts.store.problem))
        if self.faults:
            told.append(f"The hub had {self.faults} faults of its own; see its log.")
        return list(dict.fromkeys(told))

    # -- the writing thread

    def write(self) -> None:
        """Commit, then acknowledge what is on the disk, and tell what the store has to say."""
        for sentence in saved(self.parts):
            self.news(sentence)
        self.watch_days()

    def news(self, sentence: str) -> None:
        """Tell something that happened."""
        with self._lock:
            self.troubles.news(sentence, self.parts.clock.monotonic_s())

    def watch_days(self) -> None:
        """Tell what the cooling and hold clocks of the open batches have to say; on the writing thread."""
        now_s = self.parts.clock.monotonic_s()
        if 0.0 <= now_s - self._days_s < DAYS_S:
            return
        self._days_s = now_s
        self._look_at_today()
        try:
            told = self.days.alarms()
        except HubError as fault:  # the record cannot be read just now, which the store tells itself
            LOG.warning("%s", fault)
            return
        with self._lock:
            self.troubles.put("days", " ".join(told) or None, now_s)
