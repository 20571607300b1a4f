"""From what `watch` finds to events: an alarm that stops heat stays until a person resumes, another ends by itself."""

from __future__ import annotations

from collections.abc import Callable

from fiftyover.batch import attend
from fiftyover.batch import events as ev
from fiftyover.batch import watch as rules
from fiftyover.batch.believe import Row
from fiftyover.batch.course import preheating
from fiftyover.batch.events import Book
from fiftyover.batch.state import BatchState
from fiftyover.control import door

Add = Callable[..., None]


def watch(state: BatchState, row: Row, on: float, add: Add) -> BatchState:
    """Look at the newest five seconds, ``on`` the share of them (0..1) in which the element was on."""
    book = state.book
    if not book.hanging and not preheating(book):
        return _empty(state, row, on, add) if book.finished else state
    cores = {c: v for c, v in enumerate(row.probe_degC) if c in book.chub_of and c not in book.out and v is not None}
    point = rules.Point(row.at_s, row.chamber_degC, on, min(cores.values(), default=None))
    disturbed = door.holding(state.door, row.at_s) or door.hands_in(state.door, row.at_s)
    target = state.target_degC if state.heat else None
    memory, wrong = rules.look(state.watch, point, disturbed, state.plan.element_watts, target)
    _tell(book, wrong | alone(book, row.at_s), add)
    return _start(state._replace(watch=memory), point, cores, add)


def _empty(state: BatchState, row: Row, on: float, add: Add) -> BatchState:
    """All is pulled: nothing may heat any more, and a relay that closed for good must not go unseen."""
    disturbed = door.holding(state.door, row.at_s) or door.hands_in(state.door, row.at_s)
    if disturbed:
        return state._replace(watch=rules.Watch(disturbed_s=row.at_s))
    memory, wrong = rules.look_empty(state.watch, rules.Point(row.at_s, row.chamber_degC, on))
    for name in sorted(wrong - set(state.book.alarms)):
        add(ev.ALARM, name=name, says=rules.SAYS[name], stops=True)
    return state._replace(watch=memory)


def _tell(book: Book, wrong: frozenset[str], add: Add) -> None:
    for name in sorted(wrong - set(book.alarms)):
        if name not in rules.STOPS or book.stopped is None:  # a stop that a person gave needs no other
            add(ev.ALARM, name=name, says=rules.SAYS[name], stops=name in rules.STOPS)
    for name in sorted(set(book.alarms) - wrong):
        if name not in rules.STOPS:
            add(ev.ALARM_OVER, name=name)


def alone(book: Book, at_s: float) -> frozenset[str]:
    """Names of the alarms for a batch that no person has touched for long."""
    last_s = attend.touched_s(book)
    alone_s = 0.0 if last_s is None else at_s - last_s
    if alone_s >= rules.ALONE_OFF_S:
        return frozenset({rules.ALONE, rules.LEFT_ALONE})
    return frozenset({rules.ALONE}) if alone_s >= rules.ALONE_ASK_S else frozenset()


def checking(state: BatchState) -> bool:
    """Whether the start check still goes on."""
    here = bool(state.book.hanging) or preheating(state.book)
    return here and not state.book.start_checked and state.book.stopped is None


def _start(state: BatchState, point: rules.Point, cores: dict[int, float], add: Add) -> BatchState:
    if not checking(state):
        return state if state.start == rules.Start() else state._replace(start=rules.Start())
    start, found = rules.check_start(state.start, point, cores)
    if found == rules.PASSED:
        add(ev.START_CHECKED, rise_kelvin=round(point.chamber_degC - start.chamber_degC, 2), on_s=round(start.on_s, 1))
    elif isinstance(found, int):
        add(ev.SWAPPED, probe=found, chub=state.book.chub_of[found])
    elif found == rules.START_NO_ANSWER:
        add(ev.ALARM, name=found, says=rules.SAYS[found], stops=True)
    return state._replace(start=start)
