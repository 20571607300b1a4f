"""The cooling clock live: no alarm for what goes as the plan says, an alarm in time for what does not."""

import math

import numpy as np
import pytest

from fiftyover.batch import chill
from fiftyover.process import cooling
from fiftyover_kit.contract.units import degC_from_degF

WAYS = ("1.5h+5h", "120-55")


def newton(pieces: list[tuple[float, float, float]], start_degC: float = 68.0) -> tuple[np.ndarray, np.ndarray]:
    """Core by Newton's law of cooling: pieces of (minutes, surroundings degC, time constant min), a sample a minute."""
    times, core, t = [0.0], [start_degC], 0.0
    for minutes, around, tau in pieces:
        for _ in range(int(minutes)):
            t += 60.0
            times.append(t)
            core.append(around + (core[-1] - around) * math.exp(-1.0 / tau))
    return np.array(times), np.array(core)


def alarms_over(times: np.ndarray, core: np.ndarray, places: list[tuple[int, str]], mm: float) -> list[tuple[int, str]]:
    found = []
    for minute in range(1, times.size):
        place = [name for since, name in places if minute >= since][-1]
        for alarm in chill.look(1, mm, times[: minute + 1], core[: minute + 1], WAYS, place).alarms:
            found.append((minute, alarm))
    return found


@pytest.mark.parametrize(("mm", "tau"), [(45.0, 14.0), (64.0, 30.0)])
def test_good_batches_in_ice_then_bloomed_raise_no_alarm(mm: float, tau: float) -> None:
    minutes = round(3.5 * tau)
    times, core = newton([(10, 24.0, 240.0), (minutes, 1.0, tau), (90, 24.0, 240.0), (240, 3.0, 150.0)])
    places = [(0, "room"), (10, "ice"), (10 + minutes, "room"), (100 + minutes, "refrigerator")]
    assert alarms_over(times, core, places, mm) == []
    assert cooling.judge(times, core, "1.5h+5h")[0] or cooling.judge(times, core, "120-55")[0]


def test_a_chub_left_to_bloom_for_hours_alarms_while_ice_can_still_mend_it() -> None:
    # in a room of 24 °C it never comes to 55 °F: the 6 h from 120 °F run out
    times, core = newton([(600, 24.0, 60.0)])
    found = alarms_over(times, core, [(0, "room")], 64.0)
    first, sentence = found[0]
    assert "ice water now" in sentence
    deadline = next(m for m in range(times.size) if not _open(times[: m + 1], core[: m + 1]))
    assert first < deadline
    # put into ice at the first alarm, with a time constant half as slow again as reckoned, it still gets there
    mended = newton([(first, 24.0, 60.0), (400, 1.0, 45.0)])
    assert cooling.judge(*mended, "120-55")[0]


def _open(times: np.ndarray, core: np.ndarray) -> bool:
    return any(cooling.judge(times, core, way)[1]["state"] != "failed" for way in WAYS)


def test_a_slow_chill_that_is_on_course_raises_no_alarm() -> None:
    # refrigerator, time constant 225 min: 120 to 55 °F in 225 x ln(45.9 / 9.8) = 347 min, of 360; 130 to 80 is missed
    times, core = newton([(480, 3.0, 225.0)])
    assert alarms_over(times, core, [(0, "refrigerator")], 64.0) == []
    assert cooling.judge(times, core, "120-55")[0]
    assert not cooling.judge(times, core, "1.5h+5h")[0]


def test_when_every_way_is_lost_it_says_so() -> None:
    times, core = newton([(900, 24.0, 200.0)])
    assert chill.look(3, 64.0, times, core, WAYS).alarms == ("Chub 3 cooled too slowly for every published way.",)


def test_latest_into_the_refrigerator_moves_out_as_the_core_falls() -> None:
    times, core = newton([(40, 24.0, 60.0)])
    soon = chill.look(1, 45.0, times[:30], core[:30], WAYS).refrigerator_by_s
    later = chill.look(1, 45.0, times, core, WAYS).refrigerator_by_s
    assert soon is not None
    assert later is not None
    assert soon < later < 6.0 * 3600 + times[-1]


def test_rewarming_is_told() -> None:
    times, core = newton([(60, 1.0, 14.0), (30, 24.0, 60.0)])
    assert chill.look(1, 45.0, times, core, WAYS).rewarmed_kelvin > 5.0
    assert degC_from_degF(40.0) > core.min()


def test_nothing_is_said_without_readings() -> None:
    assert chill.look(1, 45.0, np.empty(0), np.empty(0), WAYS) == chill.Chill((), None, (), 0.0)
