"""What the person does next, what else can be marked, and what can be undone. Words and marks only; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..batch import attend, course
from ..batch import events as ev
from ..batch.state import BatchState

Mark = dict[str, Any]
Span = tuple[int, int]  # UTC ms, from and to
UNDO_S = 1800.0  # a mark older than this was meant: nobody takes the hanging back in mid-cook


def errands(state: BatchState, finishes: Mapping[int, Span]) -> dict[str, Any]:
    """For the page: the next thing as a sentence, when it is (UTC ms or None), its mark, the others, the undo."""
    text, at, mark = _next(state, finishes)
    return {"next": text, "next_at": at, "mark": mark, "others": _others(state, mark), "undo": _undo(state)}


def offer(kind: str, label: str, ask: tuple[str, ...] = (), **data: Any) -> Mark:
    """A mark to offer: what its button says, what goes with it, what the page must still ask (chub, core, probe)."""
    return {"kind": kind, "label": label, "data": data, "ask": list(ask)}


def _next(state: BatchState, finishes: Mapping[int, Span]) -> tuple[str, Span | None, Mark | None]:
    book = state.book
    if book.calls:
        numbers = sorted(book.calls)
        names = ", ".join(map(str, numbers))
        text = f"Pull chub {names} now." if len(numbers) == 1 else f"Pull chubs {names} now."
        return text, None, offer(ev.PULLED, f"Chub {numbers[0]} is out", ("probe",), chub=numbers[0])
    if book.checks:
        numbers = sorted(book.checks)
        names = ", ".join(map(str, numbers))
        mark = offer(ev.HAND_READING, f"Type in chub {numbers[0]}", ("core",), chub=numbers[0])
        return f"Check by hand and type in: chub {names}.", None, mark
    if book.finished:
        return "All chubs are out. Into the ice bath with them.", None, None
    if not book.hung_s and book.stopped is None:
        warm = course.preheating(book)
        text = "The empty smoker is preheated. Hang the chubs when it is warm." if warm else "Hang the chubs."
        return text, None, offer(ev.HUNG, "The chubs hang")
    if book.stopped is not None:
        return _stopped(book.stopped), None, offer(ev.RESUME_HEAT, "Heat again")
    if book.door_open:
        return "The door is open: no heat until it is shut.", None, _door(book.door_open)
    if state.why == "unattended":
        return "Answer the alarm test from the phone, or stay with the smoker.", None, _here()
    stage = state.plan.stages[book.stage]
    if stage.mark and book.stage < len(state.plan.stages) - 1:
        text = f"Look now and then: are they {stage.mark}? Then the next stage begins."
        return text, None, offer(ev.NEXT_STAGE, f"Yes, {stage.mark}", stage=book.stage)
    at, text = _coming(state, finishes)
    return text, at, _door(book.door_open)


def _stopped(why: str) -> str:
    return {
        "person": "The heat is stopped. Look after the meat.",
        "outage": "The power was away. Look at the cores and the clock, then say whether to go on.",
        "swapped": "Look whether two probes are swapped, then say whether to go on.",
    }.get(why, "The heat is stopped. Look after the meat.")


def _coming(state: BatchState, finishes: Mapping[int, Span]) -> tuple[Span | None, str]:
    """The chub that is expected first, if any can be told."""
    expected = {number: span for number, span in finishes.items() if number in state.book.hanging}
    if not expected:
        return None, "Nothing to do: the smoker follows the meat."
    number = min(expected, key=lambda one: sum(expected[one]))
    return expected[number], f"Nothing to do yet. Next, pull chub {number}"


def _door(is_open: bool) -> Mark:
    label = "The door is shut" if is_open else "I am opening the door"
    return offer(ev.DOOR, label, open=not is_open)


def _here() -> Mark:
    return offer(ev.HERE, "I stay with the smoker")


def _others(state: BatchState, first: Mark | None) -> list[Mark]:
    book = state.book
    if not book.hung_s or book.finished:
        return []
    found = [
        _door(book.door_open),
        offer(ev.PULLED, "A chub is out", ("chub", "probe")),
        offer(ev.HAND_READING, "Type in a hand reading", ("chub", "core")),
    ]
    asked = [n for n in book.asked_lead if n not in book.passed_over and n in book.hanging]
    found += [offer(ev.FOLLOW_NEXT, f"Do not follow chub {n}, follow the next", chub=n) for n in sorted(asked)]
    if book.hanging and book.stage < len(state.plan.stages) - 1:
        label = f"End the stage “{state.plan.stages[book.stage].name}” now"
        found.append(offer(ev.NEXT_STAGE, label, stage=book.stage))
    if attend.unheard(book) and book.hanging:
        found.append(_here())
    if book.late_s is not None and book.stopped is None:
        found.insert(0, offer(ev.RESUME_HEAT, "Back up: I am here"))
    return [one for one in found if first is None or (one["kind"], one["data"]) != (first["kind"], first["data"])]


def _undo(state: BatchState) -> Mark | None:
    """The newest mark that can be taken back."""
    book = state.book
    now_s = state.last.at_s if state.last is not None else float("-inf")
    for number in range(len(book.log) - 1, -1, -1):  # from the newest: a long batch has thousands of events
        event = book.log[number]
        if now_s - event.at_s > UNDO_S:
            return None
        if event.kind in _UNDO and number not in book.void:
            break
    else:
        return None
    what = _UNDO[event.kind].format(chub=event.data.get("chub", ""))
    return offer(ev.UNDO, f"Undo: {what}", event=number)


# A stop is not among them: its way back is "Heat again", said as such.
_UNDO = {
    ev.HUNG: "the chubs hang",
    ev.PULLED: "chub {chub} is out",
    ev.HAND_READING: "the reading of chub {chub}",
    ev.NEXT_STAGE: "the stage is over",
    ev.FOLLOW_NEXT: "do not follow chub {chub}",
}

# What a mark is answered with; others with "Noted."
DONE = {
    ev.PULLED: "Pulled. Into the ice bath with it.",
    ev.HAND_READING: "Reading noted.",
    ev.RESUME_HEAT: "Heat may go on.",
    ev.DOOR: "Door noted.",
    ev.UNDO: "Undone.",
    ev.HERE: "Good: for half an hour the smoker counts on you.",
}
