import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import cooling
from references.process.reading import rows

H = 3600.0
LIMITS = rows("fsis_appendix_b.csv")
OPTIONS = ("1.5h+5h", "120-55", "cured")


def degC(degF):
    return (degF - 32.0) * 5.0 / 9.0


def curve(*points):
    """Straight lines through (hours, degF)."""
    return [hours * H for hours, _ in points], [degC(degF) for _, degF in points]


def judge(option, *points, **more):
    return cooling.judge(*curve(*points), option, **more)


def leg(detail, name):
    return next(leg for leg in detail["legs"] if leg["name"] == name)


def along(option, hours_by_leg):
    """A curve from 152 degF which takes the given hours for each deciding leg of the option."""
    points, at = [(0.0, 152.0), (0.25, None)], 0.25
    limits = [row for row in LIMITS if row["option"] == option and row["kind"] == "decides"]
    points[1] = (at, float(limits[0]["from_degF"]))
    for row, hours in zip(limits, hours_by_leg, strict=True):
        at += hours
        points.append((at, float(row["to_degF"])))
    return points


def test_the_options_have_the_published_limits_and_no_other():
    ours = {
        (name, "advised" if limit.advised else "decides", limit.from_degF, limit.to_degF, limit.max_s / H)
        for name, option in cooling.OPTIONS.items()
        for limit in option.limits
    }
    assert ours == {
        (row["option"], row["kind"], int(row["from_degF"]), int(row["to_degF"]), float(row["max_h"])) for row in LIMITS
    }


@pytest.mark.parametrize("option", OPTIONS)
def test_a_curve_on_the_very_limit_meets_it(option):
    limits = [float(row["max_h"]) for row in LIMITS if row["option"] == option and row["kind"] == "decides"]
    met, detail = judge(option, *along(option, limits))
    assert met
    assert detail["state"] == "met"
    assert detail["failed"] == []
    took = [leg["took_s"] for leg in detail["legs"] if not leg["advised"]]
    assert took == pytest.approx([hours * H for hours in limits])


@pytest.mark.parametrize("option", OPTIONS)
def test_a_minute_over_any_leg_fails_and_names_that_leg_alone(option):
    deciding = [row for row in LIMITS if row["option"] == option and row["kind"] == "decides"]
    for late, row in enumerate(deciding):
        hours = [float(r["max_h"]) + (1.0 / 60.0 if place == late else 0.0) for place, r in enumerate(deciding)]
        met, detail = judge(option, *along(option, hours))
        assert not met
        assert detail["state"] == "failed"
        assert detail["failed"] == [f"{row['from_degF']}-{row['to_degF']}"]


def test_each_leg_tells_its_start_end_and_latest_end():
    _, detail = judge("1.5h+5h", (0, 152), (1, 130), (2, 80), (4, 40), (5, 38))
    first, second = detail["legs"]
    assert (first["start_s"], first["end_s"], first["took_s"]) == pytest.approx((1 * H, 2 * H, 1 * H))
    assert first["latest_s"] == pytest.approx(2.5 * H)
    assert (second["start_s"], second["end_s"], second["took_s"]) == pytest.approx((2 * H, 4 * H, 2 * H))
    assert second["latest_s"] == pytest.approx(7 * H)


def test_the_heating_before_the_highest_core_does_not_count():
    warm_up = [(0, 40), (5, 130), (6, 152)]
    met, detail = judge("1.5h+5h", *warm_up, (6.5, 130), (7.5, 80), (11, 40))
    assert met
    assert leg(detail, "130-80")["start_s"] == pytest.approx(6.5 * H)


def test_advice_is_reported_but_does_not_decide():
    met, detail = judge("120-55", (0, 150), (0.5, 120), (2.5, 80), (5, 55))
    assert met
    advised = leg(detail, "120-80")
    assert (advised["advised"], advised["state"]) == (True, "failed")
    assert advised["took_s"] == pytest.approx(2 * H)


def test_either_of_two_ways_may_suffice():
    slow_start = [(0, 150), (0.3, 130), (0.6, 120), (2.2, 80), (6.4, 55), (7.0, 40)]
    assert not judge("1.5h+5h", *slow_start)[0]
    assert judge("120-55", *slow_start)[0]


def test_a_record_that_begins_too_cold_shows_nothing():
    met, detail = judge("1.5h+5h", (0, 125), (0.5, 80), (2, 40))
    assert not met
    assert detail["state"] == "start missing"
    assert leg(detail, "130-80")["state"] == "start missing"
    assert judge("120-55", (0, 125), (0.5, 80), (2, 40))[0]


def test_a_record_that_begins_too_cold_and_takes_too_long_failed_all_the_same():
    _, detail = judge("1.5h+5h", (0, 125), (2, 80), (3, 40))
    assert (detail["state"], detail["failed"]) == ("failed", ["130-80"])


def test_a_record_printed_to_a_tenth_of_a_degree_begins_at_the_limit():
    times, core = curve((0, 130), (1, 80), (4, 40))
    assert cooling.judge(times, [54.4, *core[1:]], "1.5h+5h")[0]  # 54.44 degC
    assert not cooling.judge(times, [54.3, *core[1:]], "1.5h+5h")[0]


@pytest.mark.parametrize("option", OPTIONS)
def test_a_core_still_hot_has_not_started_its_clock(option):
    met, detail = judge(option, (0, 100), (1, 152), (2, 140))
    assert (met, detail["state"], detail["failed"]) == (False, "not started", [])
    assert detail["legs"][0]["latest_s"] is None


@pytest.mark.parametrize("option", OPTIONS)
def test_an_empty_record_has_not_started(option):
    met, detail = cooling.judge([], [], option)
    assert (met, detail["state"]) == (False, "not started")


def test_a_clock_that_runs_is_neither_met_nor_failed():
    met, detail = judge("1.5h+5h", (0, 140), (1, 130), (2, 90))
    assert (met, detail["state"], detail["failed"]) == (False, "running", [])
    assert [leg["state"] for leg in detail["legs"]] == ["running", "waiting"]
    assert leg(detail, "130-80")["took_s"] == pytest.approx(1 * H)


def test_a_core_that_never_gets_there_fails_once_its_time_is_over():
    first_leg = judge("1.5h+5h", (0, 140), (1, 130), (2.6, 81))[1]
    assert (first_leg["state"], first_leg["failed"]) == ("failed", ["130-80"])
    assert leg(first_leg, "130-80")["end_s"] is None
    second_leg = judge("1.5h+5h", (0, 140), (1, 130), (2, 80), (7.1, 41))[1]
    assert (second_leg["state"], second_leg["failed"]) == ("failed", ["80-40"])


def test_a_core_that_rewarms_through_80_had_not_passed_it():
    met, detail = judge("1.5h+5h", (0, 140), (1, 130), (2, 75), (3, 90), (4, 70), (5, 40))
    assert not met
    assert detail["failed"] == ["130-80"]
    assert leg(detail, "130-80")["took_s"] == pytest.approx(2.5 * H)  # 90 to 70 crosses 80 at 3.5 h
    assert leg(detail, "80-40")["start_s"] == pytest.approx((1 + 50 / 55) * H)  # the first fall through 80
    assert detail["rewarmed_kelvin"] == pytest.approx(15 / 1.8)


def test_a_dip_below_130_started_the_clock_though_it_rose_again():
    _, detail = judge("1.5h+5h", (0, 152), (1, 128), (2, 135), (3, 128), (3.5, 80), (5, 40))
    assert detail["failed"] == ["130-80"]
    assert leg(detail, "130-80")["start_s"] == pytest.approx(22 / 24 * H)


def test_bloom_after_ice_is_reported_and_does_not_spoil():
    met, detail = judge("1.5h+5h", (0, 152), (0.2, 130), (0.5, 80), (1.2, 39), (3.2, 65), (5.5, 39))
    assert met
    assert detail["rewarmed_kelvin"] == pytest.approx(26 / 1.8)


def test_bloom_before_the_foot_runs_inside_the_clock():
    in_time = [(0, 152), (0.2, 130), (0.5, 80), (1, 60), (3, 68), (5.4, 40)]
    assert judge("1.5h+5h", *in_time)[0]
    assert judge("1.5h+5h", *in_time[:-1], (5.6, 40))[1]["failed"] == ["80-40"]


@pytest.mark.parametrize("after", [[(2, 85), (3, 39)], [(3, 60), (9, 60), (10, 39)]])
def test_warm_again_or_warm_for_long_after_the_foot_spoils(after):
    met, detail = judge("1.5h+5h", (0, 152), (0.2, 130), (0.5, 80), (1.2, 39), *after)
    assert (met, detail["state"], detail["failed"]) == (False, "failed", ["re-warmed"])


def test_a_refrigerators_swing_does_not_spoil():
    swings = [(2 + n, 38 if n % 2 else 43) for n in range(48)]
    assert judge("1.5h+5h", (0, 152), (0.2, 130), (0.5, 80), (1.2, 39), *swings)[0]


@pytest.mark.parametrize(("degF", "spoils"), [(44.9, False), (45.1, True)])
def test_over_45_for_longer_than_the_last_leg_is_no_swing(degF, spoils):
    ends = [(0, 152), (0.2, 130), (0.5, 80), (1, 40)]
    met, detail = judge("1.5h+5h", *ends, (1.5, degF), (7, degF), (8, 39))
    assert met != spoils
    assert detail["failed"] == (["re-warmed"] if spoils else [])
    assert judge("1.5h+5h", *ends, (1.5, 39), (1.6, degF), (6.0, degF), (8, 39))[0]  # 4.4 h between the two warm ends


def test_a_rewarming_is_read_with_the_thermometers_error():
    points = [(0, 152), (0.2, 130), (0.5, 80), (1, 35), (2, 79.5), (3, 35)]
    assert judge("1.5h+5h", *points)[0]
    assert judge("1.5h+5h", *points, error_kelvin=1.0)[1]["failed"] == ["re-warmed"]


def test_no_rewarming_is_known_before_the_clock_starts():
    assert judge("1.5h+5h", (0, 152), (1, 140))[1]["rewarmed_kelvin"] == 0.0


def test_the_thermometers_error_starts_clocks_warmer_and_stops_them_colder():
    points = [(0, 152), (1, 130), (2.5, 80), (7.5, 40), (8, 38)]
    assert judge("1.5h+5h", *points)[0]
    _, detail = judge("1.5h+5h", *points, error_kelvin=1.0)
    assert detail["failed"] == ["130-80", "80-40"]
    assert leg(detail, "130-80")["start_s"] < 1 * H
    assert leg(detail, "130-80")["end_s"] > 2.5 * H


def test_what_a_curve_cannot_show_is_said():
    asked = judge("cured", (0, 150))[1]["not_judged"]
    assert any("100 ppm" in text for text in asked)
    assert any("250 ppm" in text and "from memory" in text for text in asked)
    assert any("90 min" in text for text in judge("120-55", (0, 150))[1]["not_judged"])


@settings(deadline=None)
@given(st.floats(0.05, 5.0), st.sampled_from(OPTIONS))
def test_slower_cooling_is_never_better(factor, option):
    hours = np.linspace(0.0, 12.0, 200)
    times, core = hours * H, degC(34.0 + 118.0 * np.exp(-hours / 1.2))
    met, detail = cooling.judge(times * factor, core, option)
    slower, slower_detail = cooling.judge(times * factor * 1.2, core, option)
    assert met or not slower
    for quick, slow in zip(detail["legs"], slower_detail["legs"], strict=True):
        assert slow["took_s"] == pytest.approx(1.2 * quick["took_s"])


@settings(deadline=None)
@given(st.floats(-1e6, 1e6))
def test_the_zero_of_time_does_not_matter(shift_s):
    times, core = curve((0, 152), (1, 130), (2, 80), (4, 40))
    met, detail = cooling.judge([time + shift_s for time in times], core, "1.5h+5h")
    assert met
    assert detail["legs"][0]["took_s"] == pytest.approx(1 * H, rel=1e-6)


def test_an_exponential_fall_has_its_closed_form_times():
    # T = 34 + 118 exp(-t/tau): t(T) = tau ln(118 / (T - 34))
    tau_s = 1.1 * H
    times = np.linspace(0.0, 8 * H, 5000)
    _, detail = cooling.judge(times, degC(34.0 + 118.0 * np.exp(-times / tau_s)), "1.5h+5h")
    assert leg(detail, "130-80")["took_s"] == pytest.approx(tau_s * math.log(96 / 46), abs=1.0)
    assert leg(detail, "80-40")["took_s"] == pytest.approx(tau_s * math.log(46 / 6), abs=1.0)


@pytest.mark.parametrize(
    ("times", "core", "option", "said"),
    [
        ([0, 1], [60, 50], "b1", "1.5h"),
        ([0, 1], [60, math.nan], "cured", "no number"),
        ([1, 1], [60, 50], "cured", "not after"),
        ([0, 1], [152, 130], "cured", "degF typed for degC"),
    ],
)
def test_senseless_input_is_refused(times, core, option, said):
    with pytest.raises(ProcessError, match=said):
        cooling.judge(times, core, option)
