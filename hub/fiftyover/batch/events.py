"""What happened to a batch, append-only, and what it adds up to.

An event is never changed: a mistake is undone by another event. ``fold`` turns the events into a ``Book``; the same
events always give the same book. Person's marks may be undone, what the tool saw may not.

| kind | who | data |
|---|---|---|
| hung | person | chubs |
| called, called-again | tool | chub, core_degC, predicted_degC, response_s |
| check-asked, check-again | tool | chub, core_degC |
| hand-reading | person | chub, core_degC |
| pulled | person | chub, core_degC or null, probe: "stays", "away" or the number of the chub it moves to |
| probe-out, probe-back | tool | probe, chub, why, from_s (what lies after it is struck out) |
| lead-asked | tool | chub, behind_kelvin |
| follow-next | person | chub |
| door | person or tool | open |
| stop-heat, resume-heat | person | |
| outage | tool | gap_s, asked |
| hold-started, hold-ended, late, late-ended, chamber-fault, chamber-back, finished, swapped | tool | |
| preheat | person | the empty chamber is heated from now |
| stage | tool | stage: number of the row that begins, name, ended: "time" or "core", what ended the one before |
| next-stage | person | stage: number of the row that ends |
| notice | tool | chubs, minutes: they are expected to be called in about so long |
| smoke-low | tool | low: wood on the element cannot smoulder, or can again |
| tuned | tool | gain, integral_s, ... of the controller, measured on this smoker; or failed: why not |
| switched | tool | count: how often the element went on since the last such event |
| alarm-test | tool | state: "sent", "nobody" (there is nobody to send it to) or "heard" (answered from the phone) |
| here | person | somebody stays with the smoker for now |
| start-checked | tool | rise_kelvin, on_s: the chamber probe, and only it, answered the first heat |
| alarm, alarm-over | tool | name, says, stops: heat waits for a person (`resume-heat`) |
| undo | person | event: number of the event in the batch, from 0 |
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fiftyover.batch.plan import Plan

HUNG = "hung"
CALLED = "called"
CALLED_AGAIN = "called-again"
CHECK_ASKED = "check-asked"
CHECK_AGAIN = "check-again"
HAND_READING = "hand-reading"
PULLED = "pulled"
PROBE_OUT = "probe-out"
PROBE_BACK = "probe-back"
LEAD_ASKED = "lead-asked"
FOLLOW_NEXT = "follow-next"
DOOR = "door"
STOP_HEAT = "stop-heat"
RESUME_HEAT = "resume-heat"
OUTAGE = "outage"
HOLD_STARTED = "hold-started"
HOLD_ENDED = "hold-ended"
LATE = "late"
LATE_ENDED = "late-ended"
CHAMBER_FAULT = "chamber-fault"
CHAMBER_BACK = "chamber-back"
SWAPPED = "swapped"
START_CHECKED = "start-checked"
ALARM = "alarm"
ALARM_OVER = "alarm-over"
PREHEAT = "preheat"
STAGE = "stage"
NEXT_STAGE = "next-stage"
NOTICE = "notice"
SMOKE_LOW = "smoke-low"
TUNED = "tuned"
SWITCHED = "switched"
FINISHED = "finished"
ALARM_TEST = "alarm-test"
HERE = "here"
UNDO = "undo"

TEST_SENT, TEST_NOBODY, TEST_HEARD = "sent", "nobody", "heard"
MARKS = (PREHEAT, HUNG, PULLED, HAND_READING, DOOR, STOP_HEAT, RESUME_HEAT, FOLLOW_NEXT, NEXT_STAGE, HERE, UNDO)
UNDOABLE = (HUNG, PULLED, HAND_READING, STOP_HEAT, FOLLOW_NEXT, NEXT_STAGE)
STRIKE_S = 300.0  # what lies this long before an exclusion, a pull or a move of a probe is not believed
CALL_AGAIN = 2  # unanswered this often, a call counts as not heard


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened: its kind, steady seconds, UTC milliseconds and JSON-able data."""

    kind: str
    at_s: float
    utc_ms: int
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Call:
    """An open call: when, and how often it was repeated since."""

    at_s: float
    again: int = 0
    last_s: float = 0.0


@dataclass(frozen=True, slots=True)
class HandReading:
    """The newest hand reading of a chub: when, core, and how many there were."""

    at_s: float
    core_degC: float
    count: int = 1


@dataclass(frozen=True, slots=True)
class Book:
    """What a batch's events add up to. Mappings are never changed in place."""

    plan: Plan
    log: tuple[Event, ...] = ()
    void: frozenset[int] = frozenset()
    hung_s: Mapping[int, float] = field(default_factory=dict)
    pulled_s: Mapping[int, float] = field(default_factory=dict)
    chub_of: Mapping[int, int] = field(default_factory=dict)
    placed_s: Mapping[int, float] = field(default_factory=dict)
    calls: Mapping[int, Call] = field(default_factory=dict)
    checks: Mapping[int, Call] = field(default_factory=dict)
    hands: Mapping[int, HandReading] = field(default_factory=dict)
    out: Mapping[int, str] = field(default_factory=dict)
    strikes: tuple[tuple[int, float, float], ...] = ()
    asked_lead: frozenset[int] = frozenset()
    passed_over: frozenset[int] = frozenset()
    stopped: str | None = None
    hold_s: float | None = None
    late_s: float | None = None
    door_open: bool = False
    chamber_fault: bool = False
    start_checked: bool = False
    alarms: Mapping[str, str] = field(default_factory=dict)  # name -> sentence, of those that stand
    finished: bool = False
    preheat_s: float | None = None
    stage: int = 0  # the row of the plan's table, and since when
    stage_s: float | None = None
    noticed: frozenset[tuple[int, int]] = frozenset()  # chub and minutes
    smoke_low: bool = False
    tuned: Mapping[str, Any] = field(default_factory=dict)
    switched: int = 0
    phone: str = ""  # of the alarm test: sent, nobody, heard; "" where none belongs to this batch

    @property
    def hanging(self) -> tuple[int, ...]:
        """Numbers of the chubs in the smoker, in the plan's order."""
        return tuple(c.number for c in self.plan.chubs if c.number in self.hung_s and c.number not in self.pulled_s)

    @property
    def probe_of(self) -> dict[int, int]:
        """Channel of the probe in each probed chub."""
        return {chub: channel for channel, chub in self.chub_of.items()}


def _without(mapping: Mapping[int, Any], key: int) -> dict[int, Any]:
    return {k: v for k, v in mapping.items() if k != key}


def _hung(book: Book, event: Event) -> Book:
    numbers = event.data["chubs"]
    probes = {c.probe: c.number for c in book.plan.chubs if c.probe is not None and c.number in numbers}
    stage, stage_s = book.stage, book.stage_s
    if not book.hung_s:  # the preheat, if there was one, is over
        stage, stage_s = int(book.plan.stages[0].empty), event.at_s
    return replace(
        book,
        stage=stage,
        stage_s=stage_s,
        hung_s={**book.hung_s, **dict.fromkeys(numbers, event.at_s)},
        chub_of={**book.chub_of, **probes},
        placed_s={**book.placed_s, **dict.fromkeys(probes, event.at_s)},
    )


def _pulled(book: Book, event: Event) -> Book:
    number, probe = event.data["chub"], event.data.get("probe", "stays")
    channel = book.probe_of.get(number)
    chub_of, placed_s, strikes, out = dict(book.chub_of), dict(book.placed_s), book.strikes, book.out
    if channel is not None:
        strikes = (*strikes, (channel, event.at_s - STRIKE_S, event.at_s))
        del chub_of[channel]
        out = _without(out, channel)
        if isinstance(probe, int):
            chub_of[channel] = probe
            placed_s[channel] = event.at_s
    return replace(
        book,
        pulled_s={**book.pulled_s, number: event.at_s},
        calls=_without(book.calls, number),
        checks=_without(book.checks, number),
        chub_of=chub_of,
        placed_s=placed_s,
        strikes=strikes,
        out=out,
    )


def _called(book: Book, event: Event) -> Book:
    return replace(book, calls={**book.calls, event.data["chub"]: Call(event.at_s, 0, event.at_s)})


def _called_again(book: Book, event: Event) -> Book:
    call = book.calls[event.data["chub"]]
    return replace(book, calls={**book.calls, event.data["chub"]: Call(call.at_s, call.again + 1, event.at_s)})


def _check_asked(book: Book, event: Event) -> Book:
    return replace(book, checks={**book.checks, event.data["chub"]: Call(event.at_s, 0, event.at_s)})


def _check_again(book: Book, event: Event) -> Book:
    check = book.checks[event.data["chub"]]
    return replace(book, checks={**book.checks, event.data["chub"]: Call(check.at_s, check.again + 1, event.at_s)})


def _hand_reading(book: Book, event: Event) -> Book:
    number = event.data["chub"]
    before = book.hands.get(number)
    reading = HandReading(event.at_s, event.data["core_degC"], 1 if before is None else before.count + 1)
    return replace(book, hands={**book.hands, number: reading}, checks=_without(book.checks, number))


def _probe_out(book: Book, event: Event) -> Book:
    channel = event.data["probe"]
    strikes = (*book.strikes, (channel, event.data["from_s"], event.at_s))
    return replace(book, out={**book.out, channel: event.data["why"]}, strikes=strikes)


def _probe_back(book: Book, event: Event) -> Book:
    return replace(book, out=_without(book.out, event.data["probe"]))


def _outage(book: Book, event: Event) -> Book:
    return replace(book, stopped="outage") if event.data["asked"] and book.stopped is None else book


def _resumed(book: Book, event: Event) -> Book:
    calls = {number: replace(call, again=0, last_s=event.at_s) for number, call in book.calls.items()}
    return replace(book, stopped=None, late_s=None, calls=calls, alarms={})


def _alarm(book: Book, event: Event) -> Book:
    name = event.data["name"]
    stopped = name if event.data["stops"] and book.stopped is None else book.stopped
    return replace(book, alarms={**book.alarms, name: event.data["says"]}, stopped=stopped)


def _alarm_over(book: Book, event: Event) -> Book:
    return replace(book, alarms={name: says for name, says in book.alarms.items() if name != event.data["name"]})


def _stage(book: Book, event: Event) -> Book:
    """A row begins, but for one that an undo has made the wrong one."""
    if event.data["stage"] != book.stage + 1:
        return book
    return replace(book, stage=event.data["stage"], stage_s=event.at_s)


def _notice(book: Book, event: Event) -> Book:
    minutes = event.data["minutes"]
    return replace(book, noticed=book.noticed | {(number, minutes) for number in event.data["chubs"]})


_APPLY: dict[str, Callable[[Book, Event], Book]] = {
    HUNG: _hung,
    PULLED: _pulled,
    CALLED: _called,
    CALLED_AGAIN: _called_again,
    CHECK_ASKED: _check_asked,
    CHECK_AGAIN: _check_again,
    HAND_READING: _hand_reading,
    PROBE_OUT: _probe_out,
    PROBE_BACK: _probe_back,
    LEAD_ASKED: lambda b, e: replace(b, asked_lead=b.asked_lead | {e.data["chub"]}),
    FOLLOW_NEXT: lambda b, e: replace(b, passed_over=b.passed_over | {e.data["chub"]}),
    DOOR: lambda b, e: replace(b, door_open=e.data["open"]),
    STOP_HEAT: lambda b, _: replace(b, stopped="person"),
    RESUME_HEAT: _resumed,
    OUTAGE: _outage,
    SWAPPED: lambda b, _: replace(b, stopped="swapped") if b.stopped is None else b,
    START_CHECKED: lambda b, _: replace(b, start_checked=True),
    ALARM: _alarm,
    ALARM_OVER: _alarm_over,
    HOLD_STARTED: lambda b, e: replace(b, hold_s=e.at_s),
    HOLD_ENDED: lambda b, _: replace(b, hold_s=None),
    LATE: lambda b, e: replace(b, late_s=e.at_s),
    LATE_ENDED: lambda b, _: replace(b, late_s=None),
    CHAMBER_FAULT: lambda b, _: replace(b, chamber_fault=True),
    CHAMBER_BACK: lambda b, _: replace(b, chamber_fault=False),
    PREHEAT: lambda b, e: replace(b, preheat_s=e.at_s, stage_s=e.at_s),
    STAGE: _stage,
    NEXT_STAGE: lambda b, e: _stage(b, replace(e, data={"stage": e.data["stage"] + 1})),
    NOTICE: _notice,
    SMOKE_LOW: lambda b, e: replace(b, smoke_low=e.data["low"]),
    TUNED: lambda b, e: replace(b, tuned=e.data),
    SWITCHED: lambda b, e: replace(b, switched=b.switched + e.data["count"]),
    ALARM_TEST: lambda b, e: replace(b, phone=e.data["state"]),
    HERE: lambda b, _: b,
    FINISHED: lambda b, _: replace(b, finished=True),
}
KINDS = (*_APPLY, UNDO)


def apply(book: Book, event: Event) -> Book:
    """Add one event; an undo folds the log again without the event that it names."""
    log = (*book.log, event)
    if event.kind == UNDO:
        return _refold(book.plan, log, book.void | {event.data["event"]})
    return replace(_APPLY[event.kind](book, event), log=log)


def _refold(plan: Plan, log: tuple[Event, ...], void: frozenset[int]) -> Book:
    book = Book(plan)
    for number, event in enumerate(log):
        if number not in void and event.kind != UNDO and not (event.kind == FINISHED and void):
            book = _safely(book, event)
    return replace(book, log=log, void=void)


def _safely(book: Book, event: Event) -> Book:
    """Apply an event that may speak of something since undone (a repeat of a call that no longer is): it falls away."""
    try:
        return _APPLY[event.kind](book, event)
    except KeyError:
        return book


def fold(plan: Plan, events: Iterable[Event]) -> Book:
    """Add up a batch's events, oldest first: as `apply` one after the other, though at the cost of one run."""
    log = tuple(events)
    undone = [number for number, event in enumerate(log) if event.kind == UNDO]
    after = undone[-1] + 1 if undone else 0
    book = _refold(plan, log[:after], frozenset(log[number].data["event"] for number in undone))
    for event in log[after:]:
        book = _APPLY[event.kind](book, event)
    return replace(book, log=log)
