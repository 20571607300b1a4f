import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import comeup
from references.process.reading import rows


def hours(*points):
    return comeup.hours([h * 3600.0 for h, _ in points], [(f - 32.0) * 5.0 / 9.0 for _, f in points])


def test_the_limit_is_the_published_one():
    (row,) = rows("fsis_come_up.csv")
    assert (
        int(row["from_degF"]),
        int(row["to_degF"]),
        float(row["max_h"]),
    ) == (comeup.FROM_DEGF, comeup.TO_DEGF, comeup.LIMIT_H)


def test_a_straight_rise_is_counted_between_its_two_crossings():
    assert hours((0, 40), (12, 160)) == pytest.approx(8.0)  # 10 degF an hour: from 1 h to 9 h


def test_so_far_if_130_is_never_reached():
    assert hours((0, 40), (2, 60), (5, 120)) == pytest.approx(4.0)
    assert hours((0, 60), (5, 120), (9, 70)) == pytest.approx(9.0)  # cooling off without a cook still counts


def test_a_record_that_starts_warm_counts_from_its_first_sample():
    assert hours((0, 70), (3, 130), (4, 150)) == pytest.approx(3.0)


def test_cooling_after_the_cook_is_not_warm_up():
    assert hours((0, 50), (4, 130), (5, 152), (6, 130), (9, 40)) == pytest.approx(4.0)


def test_the_first_sample_after_the_highest_is_cooling_already():
    assert hours((0, 50), (4, 130), (5, 152), (6, 50)) == pytest.approx(4.0)
    assert hours((0, 50), (4, 130), (8, 50)) == pytest.approx(4.0)  # 130 itself is "reached"


def test_a_sag_after_130_still_counts():
    # 50..130 in 4 h; 135..115..135 in 4 h is between 50 and 130 for 3 of them
    assert hours((0, 50), (4, 130), (4.5, 135), (6.5, 115), (8.5, 135), (9, 152)) == pytest.approx(4.0 + 3.0)


def test_back_in_the_refrigerator_the_clock_stands():
    assert hours((0, 50), (1, 60), (2, 50), (3, 40), (4, 50), (5, 60)) == pytest.approx(3.0)


def test_cold_or_empty_or_single_records_have_no_warm_up():
    assert hours((0, 38), (10, 45)) == 0.0
    assert hours() == 0.0
    assert hours((0, 80)) == 0.0


@settings(deadline=None)
@given(st.lists(st.floats(35.0, 160.0), min_size=2, max_size=40), st.floats(0.01, 2.0))
def test_it_never_exceeds_the_record_and_stretches_with_it(core_degF, step_h):
    points = [(n * step_h, f) for n, f in enumerate(core_degF)]
    once = hours(*points)
    assert 0.0 <= once <= points[-1][0] * (1 + 1e-9)
    assert hours(*[(3.0 * h, f) for h, f in points]) == pytest.approx(3.0 * once, abs=1e-9)


@settings(deadline=None)
@given(st.floats(0.5, 4.0))
def test_an_exponential_approach_has_its_closed_form_time(tau_h):
    # T = 180 - 140 exp(-t/tau): from 50 (130/140) to 130 (50/140)
    t = np.linspace(0.0, 3.0 * tau_h, 6000)
    core = (180.0 - 140.0 * np.exp(-t / tau_h) - 32.0) / 1.8
    assert comeup.hours(t * 3600.0, core) == pytest.approx(tau_h * math.log(130 / 50), rel=1e-4)


def test_a_record_that_is_none_is_refused():
    with pytest.raises(ProcessError, match="not after"):
        comeup.hours([0, 0], [10, 20])
    with pytest.raises(ProcessError, match="degF typed for degC"):
        comeup.hours([0, 1], [50, 130])
