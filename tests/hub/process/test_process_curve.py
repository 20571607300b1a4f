import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import curve

TIMES = np.array([0.0, 10.0, 20.0, 30.0, 40.0])
ZIGZAG = np.array([60.0, 20.0, 40.0, 0.0, 0.0])


@pytest.mark.parametrize(
    ("times", "core", "said"),
    [
        ([0, 5, 5], [1, 1, 1], r"Time 2 \(5 s\)"),
        ([0, 5, 4], [1, 1, 1], r"Time 2 \(4 s\)"),
        ([3, 2, 9], [1, 1, 1], r"Time 1 \(2 s\)"),
        ([0, math.nan], [1, 1], "times_s has no number at place 1"),
        ([0, 1], [math.inf, 1], "core_degC has no number at place 0"),
        ([0, 1], [1, "x"], "core_degC holds something"),
        ([[0.0]], [[1.0]], "2 dimensions"),
        ([0, 1], [1], "2 times but 1"),
        ([0, 1], [1, 120.1], r"Core temperature 1 is 120\.1"),
        ([0, 1], [-40.1, 1], r"Core temperature 0 is -40\.1"),
    ],
)
def test_what_is_no_record_is_refused_with_its_place(times, core, said):
    with pytest.raises(ProcessError, match=said):
        curve.checked(times, core)


def test_the_coldest_and_hottest_core_are_still_taken():
    times, core = curve.checked([0, 1], [-40, 120])
    assert (times.tolist(), core.tolist()) == ([0.0, 1.0], [-40.0, 120.0])
    assert curve.checked([], [])[0].shape == (0,)


@pytest.mark.parametrize(
    ("holds", "expected"),
    [("....", 0.0), ("x...", 10.0), ("x.xx", 20.0), ("xxxx", 40.0), ("...x", 10.0), ("xx.x", 20.0)],
)
def test_the_longest_run_is_found(holds, expected):
    assert curve.longest_s(TIMES, np.array([mark == "x" for mark in holds])) == expected


def test_an_empty_record_has_no_run():
    assert curve.longest_s(np.zeros(1), np.zeros(0, dtype=bool)) == 0.0
    assert curve.within_s(np.zeros(1), np.zeros(1), -1.0, 1.0) == 0.0


def test_time_within_a_band_is_counted_between_its_crossings():
    # 60 to 20: 2.5 s per 10 K within 30..50 is 5 s; 20 to 40: 10 K of 20 is 5 s; 40 to 0: 10 K of 40 is 2.5 s
    assert curve.within_s(TIMES, ZIGZAG, 30.0, 50.0) == pytest.approx(12.5)


@pytest.mark.parametrize(("level", "expected"), [(30.0, 0.0), (30.1, 40.0), (49.9, 40.0), (50.0, 0.0), (60.0, 0.0)])
def test_a_level_record_is_within_only_strictly_inside(level, expected):
    assert curve.within_s(TIMES, np.full(5, level), 30.0, 50.0) == expected


@settings(deadline=None)
@given(st.lists(st.floats(0.0, 100.0), min_size=2, max_size=20), st.floats(1.0, 99.0))
def test_the_parts_of_a_band_add_up(core, cut):
    times, values = np.arange(float(len(core))), np.array(core)
    at_cut = float(np.sum((values[1:] == cut) & (values[:-1] == cut)))
    parts = curve.within_s(times, values, -1.0, cut) + curve.within_s(times, values, cut, 101.0)
    assert parts + at_cut == pytest.approx(times[-1], abs=1e-6)


@pytest.mark.parametrize(
    ("level", "first", "last"),
    [(30.0, 7.5, 22.5), (50.0, 2.5, 2.5), (40.0, 5.0, 5.0), (0.0, 30.0, 30.0), (60.0, 0.0, 0.0), (-1.0, None, None)],
)
def test_first_and_last_fall_through_a_level(level, first, last):
    assert curve.first_fall_s(TIMES, ZIGZAG, level) == (None if first is None else pytest.approx(first))
    assert curve.last_fall_s(TIMES, ZIGZAG, level) == (None if last is None else pytest.approx(last))


def test_a_record_that_ends_above_has_not_fallen_for_good():
    rising = np.array([60.0, 20.0, 40.0, 30.0, 50.0])
    assert curve.first_fall_s(TIMES, rising, 45.0) == pytest.approx(3.75)
    assert curve.last_fall_s(TIMES, rising, 45.0) is None
    assert curve.last_fall_s(np.zeros(0), np.zeros(0), 45.0) is None
    assert curve.first_fall_s(np.zeros(0), np.zeros(0), 45.0) is None
