"""The state of a batch made again after a restart, from its events and its frames since it was hung. Pure.

The frames go through the very decisions that they led to, so that a hub that was killed decides as if it had not been:
half-minute means, slopes and guesses are the same, whatever moment it died at. What stands in the record is kept as it
stands; what the last frames led to and a kill kept from being written is told anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from fiftyover.batch import events as ev
from fiftyover.batch import marks
from fiftyover.batch.decide import decide
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Plan
from fiftyover.batch.state import GAP_S, BatchState, Reading, new_state
from fiftyover.control import controller

SAME_S = 10.0  # a frame may be dated better when it is saved than when it was decided on
UNSAVED_S = 30.0  # what is older than this before the last frame was saved, or never happened


class Again(NamedTuple):
    """The state, and events of the tool that it holds but the record does not: they are to be written."""

    state: BatchState
    unsaved: tuple[Event, ...]


def rebuild(plan: Plan, events: Iterable[Event], readings: Iterable[Reading]) -> Again:
    """Make the state again from the batch's events and its frames, both oldest first.

    With frames since the hanging it is exactly what it was. With fewer (thinned, or the newest alone) it is near, and
    the controller goes on at the duty of the last frame.
    """
    frames = list(readings)
    waiting = list(events)
    begins = [event.at_s for event in waiting if event.kind in (ev.PREHEAT, ev.HUNG)]
    whole = bool(frames and begins) and frames[0].at_s - begins[0] <= GAP_S
    state, unsaved = new_state(plan), []
    for reading in frames:
        while waiting and waiting[0].at_s < reading.at_s:
            state = _told(state, waiting.pop(0))
        recent = frames[-1].at_s - reading.at_s <= UNSAVED_S
        state, more = _decided(state, reading, waiting, recent)
        unsaved += more
    for event in waiting:
        state = _told(state, event)
    return Again(state if whole else _taken_over(state), tuple(unsaved))


def _told(state: BatchState, event: Event) -> BatchState:
    """Put a recorded event in; what a person said acts at once, as it did then."""
    state = marks.replay(state, event)
    return marks.off_at_once(state) if event.kind in ev.MARKS else state


def _decided(state: BatchState, reading: Reading, waiting: list[Event], recent: bool) -> tuple[BatchState, list[Event]]:
    """Decide on a frame anew; its events are taken out of ``waiting``. Returns those that the record lacks."""
    decision = decide(state, reading)
    if not decision.events:
        return decision.state, []
    book, unsaved = state.book, []
    for event in decision.events:
        place = _place(event, waiting)
        if place is not None:
            book = ev.apply(book, waiting.pop(place))
        elif recent and not waiting:
            book = ev.apply(book, event)
            unsaved.append(event)
    return decision.state._replace(book=book), unsaved


def _place(event: Event, waiting: list[Event]) -> int | None:
    """Where the same event stands among those that are still to come."""
    for place, one in enumerate(waiting):
        if one.at_s - event.at_s > SAME_S:
            return None
        if one.kind == event.kind and one.data == event.data:
            return place
    return None


def _taken_over(state: BatchState) -> BatchState:
    last = state.last
    if last is None or last.chamber_degC is None or state.target_degC is None:
        return state
    control = controller.hand_over(
        state.tuning, state.control, last.at_s, last.chamber_degC, state.target_degC, last.duty
    )
    return state._replace(control=control)
