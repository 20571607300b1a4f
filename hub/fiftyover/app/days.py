"""The days around the cook, for every batch that is not closed: marks into the record, clocks and alarms out of it.

Works on the record alone, so that a batch may be in the bowl or in the ice while another hangs in the smoker.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..batch import chill, day, judge, refrigerator, warming_up
from ..batch import events as ev
from ..batch.day import Day
from ..batch.events import Book, Event
from ..batch.opening import PLANNED, Opened, opened
from ..batch.plan import Plan
from ..batch.timeline import hours
from ..batch.written import data_of_plan
from ..clock import AnyClock
from ..errors import HubError, PlanError
from ..process.curve import FloatArray
from ..store import Store
from . import day_errands

NEWEST = 5
KNOWN_MAX = 2 * NEWEST
WATCHED_S = 86_400.0  # so long after the last pull the chill is looked at
WATER_S = 4.0 * 3600.0  # of the refrigerator's water looked at
WATER_POINTS = 240
WATER_CHANNEL = 0  # of the small kit: it has but one
MINUTES = 1500  # points of a chill's curve: minutes of a day
DONE = {
    day.STUFFED: "Stuffed. The warm-up clock counts from here.",
    day.COLD: "Noted: in the refrigerator.",
    day.INTO_ICE: "Noted: in the ice. The cooling clock runs.",
    day.OUT_OF_ICE: "Noted: out of the ice.",
    day.BLOOMED: "Bloomed. Into the refrigerator with it.",
    day.CLOSED: "The batch is closed.",
    day.UNDO_MARK: "Undone.",
}


class Days:
    """Marks and clocks of all open batches. Any thread may call it; `Store` does the locking."""

    def __init__(self, store: Store, clock: AnyClock, refrigerator_kit: str = "", record_of: str = "") -> None:
        self._store = store
        self._of = record_of  # the kit whose batches count, where several share the record
        self._clock = clock
        self._known: dict[str, tuple[tuple[int, int], Opened]] = {}  # as read: a long batch has thousands of events
        self._small_kit = refrigerator_kit  # the one in the refrigerator: its first probe stands in a glass of water

    def of(self, batch_id: str) -> Day:
        """The days' marks of a batch; HubError if it cannot be read."""
        return self._opened(batch_id).day

    def plan_to_hang(self, batch_id: str) -> Plan:
        """The plan of a batch that was begun and does not hang yet; PlanError otherwise."""
        found = self._opened(batch_id)
        if found.book.hung_s:
            raise PlanError(f"{found.plan.name!r} was hung before.")
        return found.plan

    def begin(self, plan: Plan, kit: str, made_of: Mapping[str, Any]) -> None:
        """Put a batch into the record before it is hung: its plan, and what it is made of."""
        at_s, utc_ms = self._clock.monotonic_s(), self._clock.utc_ms()
        self._store.add_event(plan.batch_id, Event(PLANNED, at_s, utc_ms, {"plan": data_of_plan(plan), "kit": kit}))
        self._store.add_event(plan.batch_id, Event(day.RECIPE, at_s, utc_ms, dict(made_of)))
        self._store.commit()

    def tell_recipe(self, batch_id: str, made_of: Mapping[str, Any]) -> None:
        """Put into the record what a batch is made of."""
        event = Event(day.RECIPE, self._clock.monotonic_s(), self._clock.utc_ms(), dict(made_of))
        self._store.add_event(batch_id, event)
        self._store.commit()

    def mark(self, batch_id: str, kind: str, data: Mapping[str, Any], who: str) -> tuple[bool, str]:
        """Take a person's mark; (done, one sentence). It is on the disk before it is confirmed."""
        self._store.commit()  # what the cook has to tell is then in the record
        try:
            found = self._opened(batch_id)
            at_s, utc_ms = self._clock.monotonic_s(), self._clock.utc_ms()
            given = dict(data)
            if kind == day.COLD and given.get("probe") is None and self._small_kit and _book(found) is None:
                given |= {"probe": WATER_CHANNEL, "kit": self._small_kit}
            event = day.on_mark(found.day, _book(found), kind, {**given, "who": who}, at_s, utc_ms)
            self._store.add_event(batch_id, event)
        except HubError as fault:
            return False, str(fault)
        self._store.commit()
        told = DONE.get(kind, "Noted.")
        if kind == day.SECOND and self._opened(batch_id).day.second is not None:
            second = self._opened(batch_id).day.second
            told = "The two are more than 2 °F apart: check the probe." if second and second.check_probe else "Noted."
        problem = self._store.problem
        return True, told if problem is None else f"{told} But it is not saved yet: {problem}"

    def open_batches(self) -> list[str]:
        """Ids of the newest batches that are not closed."""
        found = []
        for line in self._store.batches(self._of)[:NEWEST]:
            try:
                if self._opened(line.batch_id).day.closed_s is None:
                    found.append(line.batch_id)
            except PlanError:
                continue
        return found

    def look(self, batch_id: str) -> dict[str, Any]:
        """Clocks of a batch now (JSON-able): hold and chill by chub in seconds left, and its alarms as sentences."""
        found, now_s = self._opened(batch_id), self._clock.monotonic_s()
        days, book = found.day, _book(found)
        hold_s = float(days.recipe.get("hold_s", 0.0))
        holds = days.held_s is not None and hold_s > 0.0 and book is None
        left_s = refrigerator.hold_left_s(days.held_s or 0.0, hold_s, now_s) if holds else None
        chubs = self._chills(found, days, book) if book is not None and days.closed_s is None else []
        alarms = [alarm for one in chubs for alarm in one["alarms"]]
        water_degC = None
        if holds:
            state, water_degC, heard_s = self._water(found, days, now_s)
            alarms += refrigerator.sentences(state)
            alarms += refrigerator.silent(heard_s, now_s) if days.water_probe is not None else []
        warm_s = None
        if book is None and days.closed_s is None:
            warm_s = warming_up.before_s(days, now_s)
            alarms += warming_up.sentences(days, found.plan.name, now_s)
        if left_s is not None and left_s <= 0.0:
            alarms.append(f"The cure hold of {found.plan.name!r} is over ({hours(hold_s)}): it may be hung.")
        return {
            "batch": batch_id,
            "name": found.plan.name,
            "hold_left_s": left_s,
            "warm_s": warm_s,
            "refrigerator_degC": water_degC,
            "chill": chubs,
            "alarms": alarms,
        }

    def on_their_way(self) -> list[dict[str, Any]]:
        """Open batches that were begun and do not hang yet: clocks, the next mark and the others."""
        told = []
        for batch_id in self.open_batches():
            found = self._opened(batch_id)
            if _book(found) is None and found.days:
                look = self.look(batch_id)
                told.append({**look, **day_errands.before(found.day, batch_id)})
        return told

    def alarms(self) -> list[str]:
        """The alarms of all open batches, each once."""
        told: list[str] = []
        for batch_id in self.open_batches():
            told += self.look(batch_id)["alarms"]
        return list(dict.fromkeys(told))

    def _water(self, found: Opened, days: Day, now_s: float) -> tuple[refrigerator.Refrigerator, float | None, float]:
        """The cure hold's refrigerator by its probe, minute by minute over the last hours; the newest reading [degC];
        when it was last heard."""
        state = refrigerator.loaded(refrigerator.Refrigerator(), days.held_s or now_s)
        kit, heard_s, newest = days.water_kit or found.kit, days.held_s or now_s, None
        if days.water_probe is None or not kit:
            return state, newest, heard_s
        zero_ms = self._clock.utc_zero_ms()
        from_ms = zero_ms + round(max(days.held_s or 0.0, now_s - WATER_S) * 1000)
        for bucket in self._store.series(kit, days.water_probe, from_ms, self._clock.utc_ms(), WATER_POINTS):
            heard_s, newest = (bucket.utc_ms - zero_ms) / 1000.0, bucket.mean
            state = refrigerator.step(state, heard_s, newest)
        return state, newest, heard_s

    def _opened(self, batch_id: str) -> Opened:
        as_of = (self._store.newest_event(batch_id), self._clock.utc_zero_ms())
        known = self._known.get(batch_id)
        if known is not None and known[0] == as_of:
            return known[1]
        found = opened(batch_id, self._store.events(batch_id))
        if len(self._known) >= KNOWN_MAX:
            self._known = {}
        self._known[batch_id] = as_of, found
        return found

    def _chills(self, found: Opened, days: Day, book: Book) -> list[dict[str, Any]]:
        """The chill of every pulled chub whose probe stayed in, or that was read by hand."""
        told: list[dict[str, Any]] = []
        now_s = self._clock.monotonic_s()
        if now_s - max(book.pulled_s.values(), default=now_s) > WATCHED_S:
            return told
        until_ms = self._until_ms(found)
        for number, pulled_s in book.pulled_s.items():
            times, core = self._curve(found, days, number, pulled_s, until_ms)
            if not times.size or core[-1] <= judge.COOLED_DEGC or days.bloomed_s is not None and number in days.cold_s:
                continue
            chub = found.plan.chub(number)
            ways = judge.ways_to_cool(days.recipe)
            now = chill.look(number, chub.diameter_mm, times, core, ways, chill.where(days, number))
            by_s = now.refrigerator_by_s
            told.append(
                {
                    "chub": number,
                    "core_degC": round(float(core[-1]), 1),
                    "where": chill.where(days, number),
                    "left_s": max((leg.left_s for leg in now.legs), default=None),
                    "refrigerator_in_s": None if by_s is None else by_s - now_s,
                    "rewarmed_kelvin": now.rewarmed_kelvin,
                    "alarms": list(now.alarms),
                }
            )
        return told

    def _until_ms(self, found: Opened) -> int:
        """Now, or when another batch took the probes."""
        began_ms = max((event.utc_ms for event in found.cook if event.kind == ev.HUNG), default=0)
        until_ms = self._clock.utc_ms()
        for line in self._store.batches(self._of)[:NEWEST]:
            if line.batch_id != found.plan.batch_id and line.last_utc_ms > began_ms:
                hung = [
                    e.utc_ms for e in self._store.events(line.batch_id) if e.kind == ev.HUNG and e.utc_ms > began_ms
                ]
                until_ms = min([until_ms, *hung])
        return until_ms

    def _curve(
        self, found: Opened, days: Day, number: int, pulled_s: float, until_ms: int
    ) -> tuple[FloatArray, FloatArray]:
        """Minutes of the chub's core since a while before the pull: by its own probe if that stayed, else by hand."""
        hands = {read.at_s: read.core_degC for read in days.hands if read.chub == number}
        channel = found.plan.chub(number).probe
        stayed = any(
            e.kind == ev.PULLED and e.data["chub"] == number and e.data.get("probe") == "stays" for e in found.cook
        )
        if channel is not None and stayed and found.kit:
            zero_ms = self._clock.utc_zero_ms()
            from_ms = zero_ms + round((pulled_s - 600.0) * 1000)
            buckets = self._store.series(found.kit, channel, from_ms, until_ms, MINUTES)
            hands |= {(bucket.utc_ms - zero_ms) / 1000.0: bucket.mean for bucket in buckets}
        order = sorted(hands)
        return np.array(order, dtype=np.float64), np.array([hands[at_s] for at_s in order], dtype=np.float64)


def _book(found: Opened) -> Book | None:
    book = found.book
    return book if book.hung_s else None
