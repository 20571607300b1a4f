"""What is said of a core: rows by readings and by hand, clocks kept or missed, nothing claimed with poultry."""

import numpy as np
import pytest

from fiftyover.batch import judge
from fiftyover.batch.curves import Curve
from fiftyover.batch.day import Day, HandRead
from fiftyover_kit.contract.units import degC_from_degF


def line(*points: tuple[float, float]) -> Curve:
    """A curve through (hours, degF), a sample every 10 s."""
    times = np.arange(points[0][0] * 3600.0, points[-1][0] * 3600.0 + 1.0, 10.0)
    hours, degF = zip(*points, strict=True)
    return Curve(times, (np.interp(times / 3600.0, hours, degF) - 32.0) / 1.8)


GOOD = line((0.0, 40.0), (4.0, 152.0), (4.2, 154.0), (5.0, 75.0), (7.0, 38.0))


def judged(
    curve: Curve | None, day: Day | None = None, hands: tuple[HandRead, ...] = (), pulled_h: float = 4.2, **more: float
):
    return judge.judge_chub(curve, hands, day or Day(), 0.0, pulled_h * 3600.0, **more)


def test_rows_add_the_thermometers_error() -> None:
    # the core is at or above 153 °F from 4.1 h to 4.21 h: 396 s; above 154 only for an instant
    found = judged(GOOD, error_kelvin=0.0)
    assert found["highest_row_degF"] == 153
    # with 1 °F of error row 152 needs 153 °F for 43 s, row 153 needs 154 °F for 34 s
    assert judged(GOOD)["highest_row_degF"] == 152


def test_a_good_batch_keeps_both_clocks() -> None:
    found = judged(GOOD)
    # 40 to 152 °F in 4 h: 28 °F/h; 50 to 130 °F takes 80 / 28 = 2.857 h
    assert found["warm_up"]["hours"] == pytest.approx(2.857, abs=0.01)
    assert found["warm_up"]["kept"] is True
    assert found["cooling"]["met_by"] == "1.5h+5h"
    told = judge.sentences(1, found, Day())
    assert told == [
        "Meets the 152 °F row in chub 1.",
        "Chub 1 cooled within the limits: 130 to 80 °F in 1.5 h, then 80 to 40 °F in 5 h.",
    ]


def test_either_way_to_cool_suffices_and_it_says_which() -> None:
    # 154 to 90 °F takes 2.2 h (130 to 80 in over 1.5 h: missed), 120 to 55 °F within 6 h
    slow = line((0.0, 40.0), (4.0, 154.0), (6.2, 90.0), (8.5, 50.0), (11.0, 38.0))
    found = judged(slow, pulled_h=4.0)
    assert found["cooling"]["met_by"] == "120-55"
    assert "1.5h+5h" in found["cooling"]["ways"]


def test_a_missed_cooling_has_its_ending_and_never_turns_green() -> None:
    slow = line((0.0, 40.0), (4.0, 154.0), (12.0, 70.0), (20.0, 38.0))
    found = judged(slow, pulled_h=4.0)
    assert found["cooling"] | {"ways": None} == found["cooling"] | {"missed": True, "met_by": None, "ways": None}
    told = " ".join(judge.sentences(2, found, Day()))
    assert "Do not taste to decide; ask your extension office; if in doubt throw it out." in told


@pytest.mark.parametrize(
    ("recipe", "allowed"),
    [
        ({"nitrite_ppm": 156.0, "erythorbate_ppm": 547.0}, True),
        ({"nitrite_ppm": 156.0, "erythorbate_ppm": 249.0}, False),
        ({"nitrite_ppm": 99.0, "erythorbate_ppm": 547.0}, False),
        ({}, False),
    ],
)
def test_the_slow_way_needs_nitrite_and_erythorbate(recipe: dict[str, float], allowed: bool) -> None:
    # 130 to 80 in 4 h, 80 to 45 in 8 h: only the cured way (5 h + 10 h) keeps it
    slow = line((0.0, 40.0), (4.0, 150.0), (5.6, 130.0), (9.6, 80.0), (17.6, 45.0), (18.5, 38.0))
    found = judged(slow, Day(recipe=recipe), pulled_h=4.0, error_kelvin=0.0)
    assert (found["cooling"]["met_by"] == "cured") is allowed
    assert found["cooling"]["missed"] is not allowed


def test_a_warm_up_of_more_than_six_hours_is_missed_while_it_runs() -> None:
    found = judged(line((0.0, 45.0), (8.0, 125.0)))
    assert found["warm_up"]["hours"] == pytest.approx(7.5, abs=0.01)  # 10 °F/h from 50 °F on
    assert found["warm_up"]["kept"] is False
    assert "The published rule no longer covers this batch." in judge.sentences(1, found, Day())[1]


def test_time_since_stuffing_counts_where_the_meat_was_warm() -> None:
    late = line((3.0, 60.0), (6.0, 135.0))  # first read at 60 °F, three hours after hanging
    clock = judged(late, pulled_h=6.0)["warm_up"]
    assert clock["before_h"] == pytest.approx(3.0)
    assert clock["hours"] == pytest.approx(3.0 + 70.0 / 25.0, abs=0.01)  # 60 to 130 °F at 25 °F/h
    stuffed = Day(stuffed_s=-3600.0, stuffed_degC=14.0)
    assert judged(late, stuffed, pulled_h=6.0)["warm_up"]["before_h"] == pytest.approx(4.0)
    cooled = Day(
        stuffed_s=-90_000.0, stuffed_degC=14.0, held_s=-86_400.0
    )  # an hour on the table, then the refrigerator
    cold = line((0.0, 40.0), (6.0, 135.0))
    assert judged(cold, cooled, pulled_h=6.0)["warm_up"]["before_h"] == pytest.approx(1.0)
    assert judged(cold, Day(stuffed_s=-90_000.0, stuffed_degC=8.0), pulled_h=6.0)["warm_up"]["before_h"] == 0.0


def test_a_hand_reading_counts_for_the_time_it_was_seen_to_hold() -> None:
    at = degC_from_degF(153.5)
    assert judged(None, hands=(HandRead(1, 100.0, at, 0.0),))["highest_row_degF"] is None
    # 153.5 - 1 °F: row 152 needs 43 s, row 151 54 s
    assert judged(None, hands=(HandRead(1, 100.0, at, 45.0),))["rows_by_hand_degF"] == [152]
    assert judged(None, hands=(HandRead(1, 100.0, at, 60.0),))["rows_by_hand_degF"] == [151, 152]


def test_with_poultry_nothing_is_claimed() -> None:
    day = Day(recipe={"poultry": True})
    found = judged(GOOD, day)
    assert found["rows_degF"] == []
    assert found["log10_advisory"] is None
    assert judge.sentences(1, found, day)[0] == "Chub 1: no row is claimed, poultry is in the mix."


def test_the_coldest_chub_stands_for_the_batch() -> None:
    assert judge.coldest({1: {"peak_degC": 68.0}, 2: {"peak_degC": 66.9}, 3: {"peak_degC": None}}) == 2
    assert judge.coldest({}) is None
