"""The measures of a rehearsal on traces short enough to work out by hand."""

import numpy as np
import pytest

from fiftyover.rehearse import measure
from fiftyover.rehearse.measure import Trace


def trace(times_s, air_degC, cores, pulled_s=None, doors_s=(), switchings=0):
    made = Trace(pulled_s=pulled_s or [None] * len(cores[0]), doors_s=list(doors_s), switchings=switchings)
    for row in zip(times_s, air_degC, cores, strict=True):
        made.add(*row)
    return made


def test_wanted_air_is_the_lowest_hanging_core_plus_lift_between_floor_and_ceiling():
    made = trace([0, 1, 2, 3], [0.0] * 4, [[10.0, 20.0], [30.0, 31.0], [50.0, 60.0], [90.0, 62.0]])
    wanted = measure.wanted_degC(made, lift_kelvin=27.0, floor_degC=54.0, ceiling_degC=81.0)
    assert wanted.tolist() == [54.0, 57.0, 77.0, 81.0]
    free = measure.wanted_degC(made, lift_kelvin=27.0, floor_degC=None, ceiling_degC=81.0)
    assert free[0] == 37.0


def test_pulled_chub_no_longer_counts_and_nothing_counts_when_none_hangs():
    made = trace([0, 1, 2, 3], [0.0] * 4, [[10.0, 20.0]] * 4, pulled_s=[1.0, 3.0])
    wanted = measure.wanted_degC(made, lift_kelvin=5.0, floor_degC=None, ceiling_degC=99.0)
    assert wanted[:3].tolist() == [15.0, 25.0, 25.0]
    assert np.isnan(wanted[3])


def test_error_counts_after_twenty_minutes_and_outside_twenty_minutes_of_a_door():
    times = [1200, 1201, 1202, 3000, 4200, 4201]
    air = [99.0, 3.0, -4.0, 99.0, 99.0, 0.0]
    made = trace(times, air, [[0.0]] * 6, doors_s=[3000.0])
    rms, most = measure.hold_error(made, np.zeros(6))
    # Left: +3, -4, 0. By hand: sqrt(25 / 3) = 2.88675.
    assert rms == pytest.approx(2.88675, abs=1e-5)
    assert most == 4.0


def test_error_of_a_rehearsal_that_ends_early_is_no_number():
    assert measure.hold_error(trace([0, 1], [1.0, 1.0], [[0.0]] * 2), np.zeros(2)) == (None, None)


def test_minutes_above_the_cap_begin_half_a_degree_fahrenheit_over_it():
    # 0.5 degF is 0.27778 K: 80.2 does not count, 80.3 does, for the 30 s and the 60 s until the next row.
    made = trace([0, 60, 90, 150, 210], [80.2, 80.3, 81.5, 79.0, 79.0], [[0.0]] * 5)
    minutes, worst = measure.above_cap(made, 80.0)
    assert minutes == pytest.approx(1.5)
    assert worst == pytest.approx(1.5)


def test_air_that_stays_under_the_cap_is_not_above_it():
    assert measure.above_cap(trace([0, 60], [70.0, 71.0], [[0.0]] * 2), 80.0) == (0.0, 0.0)


def test_switchings_are_per_hour_of_the_whole_rehearsal():
    assert measure.switchings_per_h(trace([0, 7200], [0.0] * 2, [[0.0]] * 2, switchings=90)) == 45.0


def test_peak_is_the_highest_true_core_and_skips_what_has_no_number():
    made = trace([0, 1, 2], [0.0] * 3, [[66.0, 60.0], [67.5, 61.0], [float("nan"), 60.0]])
    assert measure.peaks_degC(made.cores()) == [67.5, 61.0]


def test_warm_up_clock_and_row_of_a_core_on_straight_lines():
    # 50 degF is 10 degC and 130 degF is 54.444 degC. From 4.444 degC at 10 K/h: 10 degC after 0.5556 h,
    # 54.444 degC after 5 h: 4.4444 h. Then an hour at 60.1 degC (140 degF is 60 degC): the 140 row needs 12 min.
    times = np.array([0.0, 18000.0, 18060.0, 21660.0])
    core = np.array([4.4444, 54.4444, 60.1, 60.1])
    fine = np.arange(0.0, 21661.0, 10.0)
    values = np.interp(fine, times, core)
    # From 130 degF on the clock has stopped; the clock counts up to the highest core, the rise there takes seconds.
    assert measure.comeup_h(fine, values) == pytest.approx(4.444, abs=0.005)
    assert measure.lethality_row_degF(fine, values) == 140
    assert measure.lethality_row_degF(fine[:100], values[:100]) is None
