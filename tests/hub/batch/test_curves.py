"""Only believed readings make a curve: slowly, not before a pull, not from a probe in the air."""

import numpy as np
import pytest

from fiftyover.batch import events as ev
from fiftyover.batch.curves import curves, segments
from fiftyover.batch.events import Book, Event
from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.state import Reading

PLAN = Plan("b1", "Test", tuple(Chub(n, "slim", 45.0, f"p{n}", n if n < 3 else None) for n in (1, 2, 3)), 85.0)
HUNG = Event(ev.HUNG, 0.0, 0, {"chubs": [1, 2, 3]})


def book(*log: Event) -> Book:
    return ev.fold(PLAN, [HUNG, *log])


def pulled(chub: int, at_s: float, probe: object = "stays") -> Event:
    return Event(ev.PULLED, at_s, 0, {"chub": chub, "probe": probe})


def readings(end_s: int, step_s: int = 5, status: str = "ok", gap: tuple[int, int] = (0, -1)) -> list[Reading]:
    return [
        Reading(float(s), 0, 70.0, (70.0, 20.0 + s / 300.0, 30.0), ("ok", status, "ok"), 1, 0.5, "on", s, "b")
        for s in range(0, end_s + 1, step_s)
        if not gap[0] <= s <= gap[1]
    ]


def test_a_reading_counts_when_three_minutes_of_believed_ones_followed() -> None:
    assert curves(book(), readings(1000))[1].times_s[-1] == 1000 - 180
    assert 1 not in curves(book(), readings(175))


def test_the_five_minutes_before_a_pull_are_struck_out_and_the_chill_goes_on() -> None:
    times = curves(book(pulled(1, 1000.0)), readings(2000))[1].times_s
    assert not np.any((times >= 700) & (times <= 1000))
    assert 695.0 in times
    assert 1005.0 in times
    assert times[-1] == 1820


def test_a_probe_that_moved_belongs_to_the_other_chub_from_then_on() -> None:
    found = curves(book(pulled(1, 1000.0, 3)), readings(3000))
    assert found[1].times_s[-1] < 700
    assert found[3].times_s[0] > 1000
    assert [(s.chub, s.from_s, s.to_s) for s in segments(book(pulled(1, 1000.0, 3))) if s.channel == 1] == [
        (1, 0.0, 1000.0), (3, 1000.0, float("inf")),
    ]  # fmt: skip


def test_a_probe_put_away_ends_its_curve() -> None:
    assert curves(book(pulled(1, 1000.0, "away")), readings(3000))[1].times_s[-1] < 700


def test_what_lies_before_and_in_an_exclusion_is_left_out() -> None:
    out = Event(ev.PROBE_OUT, 1500.0, 0, {"probe": 1, "chub": 1, "why": "x", "from_s": 1200.0})
    back = Event(ev.PROBE_BACK, 2000.0, 0, {"probe": 1, "chub": 1})
    times = curves(book(out, back), readings(4000))[1].times_s
    assert not np.any((times >= 1200) & (times <= 2000))
    never = curves(book(out), readings(4000))[1].times_s
    assert never[-1] < 1200


@pytest.mark.parametrize("status", ["open", "jump", "stuck", "range"])
def test_a_faulty_status_is_never_believed(status: str) -> None:
    assert 1 not in curves(book(), readings(1000, status=status))


def test_a_silence_ends_the_run_that_three_minutes_are_counted_in() -> None:
    times = curves(book(), readings(2000, gap=(901, 1200)))[1].times_s
    assert not np.any((times > 720) & (times <= 1200))


def test_an_undone_pull_strikes_nothing() -> None:
    undone = book(pulled(1, 1000.0, "away"), Event(ev.UNDO, 1010.0, 0, {"event": 1}))
    assert 995.0 in curves(undone, readings(2000))[1].times_s
