"""Marks of the days around the cook: what fits is taken, what does not is refused, undo takes back, order is kept."""

from typing import Any

import pytest

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.batch.events import Book, Event
from fiftyover.batch.plan import Chub, Plan
from fiftyover.errors import PlanError

PLAN = Plan("b1", "Test", tuple(Chub(n, "slim", 45.0, f"p{n}", n if n < 3 else None) for n in (1, 2, 3)), 85.0)


def book(*pulled: int, hung: bool = True) -> Book:
    log = [Event(ev.HUNG, 0.0, 0, {"chubs": [1, 2, 3]})] if hung else []
    log += [Event(ev.PULLED, 100.0 + n, 0, {"chub": n, "probe": "stays"}) for n in pulled]
    return ev.fold(PLAN, log)


def marked(*marks: tuple[str, dict[str, Any]], cook: Book | None = None) -> day.Day:
    log: list[Event] = []
    for at_s, (kind, data) in enumerate(marks):
        log.append(day.on_mark(day.fold(log), cook, kind, data, float(at_s), 0))
    return day.fold(log)


def test_marks_before_the_cook_start_clock_and_hold() -> None:
    found = marked((day.MIXED, {}), (day.STUFFED, {"core_degC": 9.0}), (day.COLD, {}))
    assert (found.mixed_s, found.stuffed_s, found.stuffed_degC, found.held_s) == (0.0, 1.0, 9.0, 2.0)


def test_ice_takes_all_that_came_out_and_are_not_in_it_yet() -> None:
    found = marked((day.INTO_ICE, {}), cook=book(1, 2))
    assert set(found.iced_s) == {1, 2}
    log = list(found.log)
    log.append(day.on_mark(found, book(1, 2, 3), day.INTO_ICE, {}, 5.0, 0))
    assert log[-1].data["chubs"] == [3]


def test_undo_takes_back_the_newest_mark_and_then_the_one_before() -> None:
    found = marked((day.MIXED, {}), (day.STUFFED, {}), (day.UNDO_MARK, {}))
    assert (found.mixed_s, found.stuffed_s) == (0.0, None)
    found = marked((day.MIXED, {}), (day.STUFFED, {}), (day.UNDO_MARK, {}), (day.UNDO_MARK, {}))
    assert (found.mixed_s, found.stuffed_s) == (None, None)
    assert len(found.log) == 4, "append-only: nothing is taken out"


def test_closing_needs_all_pulled_and_a_second_thermometer() -> None:
    with pytest.raises(PlanError, match="still hang"):
        marked((day.CLOSED, {}), cook=book(1))
    with pytest.raises(PlanError, match="second thermometer"):
        marked((day.CLOSED, {}), cook=book(1, 2, 3))
    found = marked(
        (day.SECOND, {"chub": 1, "core_degC": 67.0, "second_degC": 67.5}), (day.CLOSED, {}), cook=book(1, 2, 3)
    )
    assert found.closed_s == 1.0
    with pytest.raises(PlanError, match="closed"):
        day.on_mark(found, book(1, 2, 3), day.WEIGHED, {"what": "raw", "kg": 4.0}, 9.0, 0)


@pytest.mark.parametrize(("second_degC", "check"), [(68.1, False), (68.2, True), (65.8, True)])
def test_two_thermometers_more_than_2_degF_apart_say_check_the_probe(second_degC: float, check: bool) -> None:
    # 2 °F are 1.111 K; 67.0 + 1.111 = 68.111
    found = marked((day.SECOND, {"chub": 1, "core_degC": 67.0, "second_degC": second_degC}), cook=book(1, 2, 3))
    assert found.second is not None
    assert found.second.check_probe is check
    assert (found.second.core_degC, found.second.second_degC) == (67.0, second_degC)


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        ("eaten", {}, "not known"),
        (day.INTO_ICE, {"chubs": [3]}, "Chub 3 did not come out"),
        (day.OUT_OF_ICE, {}, "in the ice"),
        (day.TURNED, {"chubs": [1, 2]}, "Chub 1 does not hang"),
        (day.TURNED, {"chubs": [2]}, "which two"),
        (day.WEIGHED, {"what": "dry", "kg": 4}, "raw"),
        (day.WEIGHED, {"what": "raw"}, "a number in kg is missing"),
        (day.WEIGHED, {"what": "raw", "kg": -4}, "-4 kg"),
        (day.WEIGHED, {"what": "raw", "kg": float("nan")}, "number"),
        (day.CORE, {"core_degC": 60.0}, "which chub"),
        (day.CORE, {"chub": 9, "core_degC": 60.0}, "no chub 9"),
        (day.CORE, {"chub": 1, "core_degC": 152.0}, "152 °C is not the core"),
        (day.SECOND, {"chub": 1}, "a number in °C is missing"),
        (day.UNDO_MARK, {}, "nothing to undo"),
        (day.UNDO_MARK, {"event": 7}, "no mark 7"),
    ],
)
def test_marks_that_do_not_fit_are_refused(kind: str, data: dict[str, Any], words: str) -> None:
    with pytest.raises(PlanError, match=words):
        marked((kind, data), cook=book(1))


def test_nothing_can_be_packed_before_it_came_out() -> None:
    with pytest.raises(PlanError, match="Nothing came out"):
        marked((day.PACKED, {}), cook=book())


def test_events_of_the_cook_are_passed_over() -> None:
    assert day.fold([Event(ev.HUNG, 0.0, 0, {"chubs": [1]})]).log == ()
