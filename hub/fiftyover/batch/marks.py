"""What the person says during a cook: hung, pulled, hand reading, door, stop, resume, follow the next, undo. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fiftyover.batch import doubt, estimate, tuning
from fiftyover.batch import events as ev
from fiftyover.batch.ahead import FILM
from fiftyover.batch.believe import DOUBTED
from fiftyover.batch.calls import look_ahead_now
from fiftyover.batch.events import Book, Event
from fiftyover.batch.state import BatchState, Decision, decision
from fiftyover.control import door
from fiftyover.control.controller import ControllerState
from fiftyover.errors import PlanError

HAND_DEGC = (-5.0, 110.0)
LENGTH_M = 0.3  # of a chub; a longer one only leaves more to the controller


def on_mark(state: BatchState, kind: str, data: dict[str, Any], at_s: float, utc_ms: int) -> Decision:
    """Take a mark; PlanError if it does not fit. Heat that has to go off goes off in this very decision."""
    if kind not in ev.MARKS:
        raise PlanError(f"Mark {kind!r} is not known: use one of {', '.join(ev.MARKS)}.")
    event = Event(kind, at_s, utc_ms, _CHECK.get(kind, _as_it_is)(state.book, dict(data)))
    state = replay(state, event)
    new = [event]

    def add(kind: str, **more: object) -> None:
        nonlocal state
        new.append(Event(kind, at_s, utc_ms, dict(more)))
        state = state._replace(book=ev.apply(state.book, new[-1]))

    if kind == ev.HAND_READING:
        look_ahead_now(state, data["chub"], add)
    if not state.book.hanging and state.book.hung_s and not state.book.finished:
        add(ev.FINISHED)
    return decision(off_at_once(state), tuple(new))


def replay(state: BatchState, event: Event) -> BatchState:
    """Put an event into the state: the book, and what the window holds of it."""
    before = state.book
    state = state._replace(book=ev.apply(before, event))
    if event.kind == ev.DOOR and event.data.get("by") != "seen":
        state = state._replace(door=door.told(state.door, event.at_s, event.data["open"]), settled_s=0.0)
    if event.kind == ev.PULLED:
        state = state._replace(control=_less_load(state, event.data["chub"]))
    if event.kind == ev.RESUME_HEAT:
        state = state._replace(settled_s=0.0)
    if event.kind == ev.PROBE_OUT and event.data["why"] == DOUBTED and event.data["probe"] in state.tracks:
        channel = event.data["probe"]
        state = state._replace(tracks={**state.tracks, channel: state.tracks[channel]._replace(out=DOUBTED)})
    if event.kind == ev.SWITCHED:
        state = state._replace(went_on=0)
    if event.kind == ev.TUNED:
        state = state._replace(tuning=tuning.settings_of(event, state.tuning))
    if event.kind == ev.HAND_READING:
        number, core = event.data["chub"], event.data["core_degC"]
        guess = state.guesses.get(number)
        guess = estimate.read(guess or estimate.begin(number, core, event.at_s), core, event.at_s)
        state = _cleared(state, number, core, event.at_s)._replace(guesses={**state.guesses, number: guess})
    return state


def _cleared(state: BatchState, number: int, core_degC: float, at_s: float) -> BatchState:
    """Believe a doubted probe again if a hand reading bears it out, long enough after the doubt for a drift to show."""
    channel = state.book.probe_of.get(number)
    track = state.tracks.get(channel) if channel is not None else None
    if channel is None or track is None or track.out != DOUBTED or state.last is None:
        return state
    since_s = max(
        (e.at_s for e in state.book.log if e.kind == ev.PROBE_OUT and e.data["probe"] == channel), default=at_s
    )
    read = state.last.probe_degC[channel] if channel < len(state.last.probe_degC) else None
    if at_s - since_s < doubt.SHOWS_S or read is None or abs(read - core_degC) > doubt.AGREES_KELVIN:
        return state
    track = track._replace(out=None, good_since_s=state.last.at_s, used_degC=read, used_s=state.last.at_s)
    doubts = {**state.doubts, number: doubt.Doubt(cleared=True)}
    return state._replace(tracks={**state.tracks, channel: track}, doubts=doubts)


def _less_load(state: BatchState, number: int) -> ControllerState:
    """Take the heat that the chub drew from the integral, so that the chamber does not rise without it."""
    watts, last = state.plan.element_watts, state.last
    if watts is None or last is None or last.chamber_degC is None:
        return state.control
    area_m2 = math.pi * state.plan.chub(number).diameter_mm / 1000.0 * LENGTH_M
    drawn_watts = FILM * area_m2 * max(0.0, last.chamber_degC - state.plan.band_degC[1])
    integral = state.control.integral
    return replace(state.control, integral=max(min(0.0, integral), integral - drawn_watts / watts))


def off_at_once(state: BatchState) -> BatchState:
    """Take the heat off where the book says so, without waiting for the next frame."""
    book = state.book
    why = None
    if book.stopped == "person":
        why = "stopped"
    elif book.hung_s and not book.hanging:
        why = "finished"
    elif state.door.told_open:
        why = "door"
    return state if why is None else state._replace(duty=0.0, heat=False, why=why)


def _as_it_is(_: Book, data: dict[str, Any]) -> dict[str, Any]:
    return data


def _hanging(book: Book, data: dict[str, Any]) -> int:
    number = data.get("chub")
    if type(number) is not int:
        raise PlanError("Say which chub: its number is missing.")
    book.plan.chub(number)
    if number not in book.hanging:
        raise PlanError(f"Chub {number} does not hang in the smoker; undo its mark if that is wrong.")
    return number


def _core(value: object, chub: int) -> float:
    # NaN lies nowhere; an integer of many digits is compared as it is, for as a float it does not exist.
    if type(value) not in (int, float) or not HAND_DEGC[0] <= value <= HAND_DEGC[1]:  # type: ignore[operator]
        raise PlanError(f"{value!r:.40} is no core temperature for chub {chub}: read the thermometer again.")
    return float(value)  # type: ignore[arg-type]


def _check_hung(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    numbers = data.get("chubs") or [c.number for c in book.plan.chubs]
    if not isinstance(numbers, list) or not all(type(number) is int for number in numbers):
        raise PlanError("Say which chubs hang: a list of their numbers, or nothing for all.")
    for number in numbers:
        book.plan.chub(number)
        if number in book.hung_s:
            raise PlanError(f"Chub {number} was hung before.")
    return {**data, "chubs": numbers}


def _check_pulled(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    number = _hanging(book, data)
    probe = data.get("probe", "stays")
    if probe not in ("stays", "away"):
        if type(probe) is not int:
            raise PlanError(f"Where does the probe go? {probe!r:.40} is neither 'stays', 'away' nor a chub's number.")
        _hanging(book, {"chub": probe})
        if probe == number or probe in book.chub_of.values():
            raise PlanError(f"The probe cannot go to chub {probe}: it has one, or it is the chub just pulled.")
    core = data.get("core_degC")
    return {**data, "chub": number, "probe": probe, "core_degC": None if core is None else _core(core, number)}


def _check_hand(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    number = _hanging(book, data)
    return {**data, "chub": number, "core_degC": _core(data.get("core_degC"), number)}


def _check_door(_: Book, data: dict[str, Any]) -> dict[str, Any]:
    if not isinstance(data.get("open"), bool):
        raise PlanError("Say whether the door is open: true or false.")
    return {**data, "by": "person"}


def _check_follow(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    return {**data, "chub": _hanging(book, data)}


def _check_preheat(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    if not book.plan.stages[0].empty:
        raise PlanError("This batch has no preheat: hang the chubs.")
    if book.hung_s or book.preheat_s is not None:
        raise PlanError("The preheat began before.")
    return data


def _check_next(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    """The stage that ends is named, so that a second tap does not end the next one."""
    stages, number = book.plan.stages, data.get("stage", book.stage)
    if not book.hanging:
        raise PlanError("No stage can be ended while nothing hangs.")
    if number != book.stage:
        raise PlanError(f"The stage that runs is {stages[book.stage].name!r}: that other one does not.")
    if number == len(stages) - 1:
        raise PlanError(f"{stages[number].name!r} is the last stage: it ends when the chubs are out.")
    return {**data, "stage": number}


def _check_undo(book: Book, data: dict[str, Any]) -> dict[str, Any]:
    number = data.get("event")
    if number is None:
        able = [i for i, e in enumerate(book.log) if e.kind in ev.UNDOABLE and i not in book.void]
        if not able:
            raise PlanError("There is nothing to undo.")
        number = able[-1]
    if type(number) is not int or not 0 <= number < len(book.log):
        raise PlanError(f"There is no event {number!r:.40} to undo.")
    if book.log[number].kind not in ev.UNDOABLE or number in book.void:
        raise PlanError(f"{book.log[number].kind!r} cannot be undone.")
    return {**data, "event": number}


_CHECK: dict[str, Callable[[Book, dict[str, Any]], dict[str, Any]]] = {
    ev.PREHEAT: _check_preheat,
    ev.NEXT_STAGE: _check_next,
    ev.HUNG: _check_hung,
    ev.PULLED: _check_pulled,
    ev.HAND_READING: _check_hand,
    ev.DOOR: _check_door,
    ev.FOLLOW_NEXT: _check_follow,
    ev.UNDO: _check_undo,
}
