"""Looking ahead, leading, calling together, and chubs that only a hand can check."""

import math

import pytest

from fiftyover.batch import estimate
from fiftyover.batch.ahead import Warming, carry_kelvin, core_after, drying_kPa, pace, settle_s, vapour_kPa
from fiftyover.batch.believe import Row
from fiftyover.batch.calls import slope_of
from fiftyover.batch.lead import Kept, Lead, choose, keep
from fiftyover.batch.learn import Fit, mean
from fiftyover.batch.state import Block
from fiftyover.batch.trips import Outlook, aim_degC, whom
from hub.batch.simple_smoker import plan

BAND = (66.67, 68.33)


# Water in equilibrium, IAPWS-IF97 as printed in steam tables (from memory): kPa at °C.
@pytest.mark.parametrize(("degC", "kPa"), [(20.0, 2.339), (40.0, 7.384), (60.0, 19.946), (80.0, 47.414)])
def test_vapour_pressure_is_that_of_the_steam_tables(degC: float, kPa: float) -> None:
    assert vapour_kPa(degC) == pytest.approx(kPa, rel=0.006)


@pytest.mark.parametrize(("mm", "kelvin_per_h"), [(38.0, 28.67), (45.0, 23.30), (51.0, 19.91), (64.0, 14.86)])
def test_pace_is_the_quasi_steady_rate_of_our_study(mm: float, kelvin_per_h: float) -> None:
    """Held 27.78 K above the core, surface coefficient 12; worked from the formula by our own study."""
    assert pace(mm) * 27.78 * 3600.0 == pytest.approx(kelvin_per_h, rel=0.002)


def test_core_without_evaporation_goes_to_the_air_exponentially() -> None:
    model = Warming(2.0e-4, 0.0, 0.0, 1000.0)
    exact = 80.0 - 30.0 * math.exp(-2.0e-4 * 1800.0)
    assert core_after(model, 50.0, 1800.0, 80.0, 0.0, 80.0) == pytest.approx(exact, abs=0.06)


def slope_by_hand(k: float, wet: float, core: float, air: float, mm: float) -> float:
    """Quasi-steady slope with drying at the surface, by bisection, with steam-table-like pressures."""
    low, high = -0.01, 0.02
    for _ in range(60):
        slope = (low + high) / 2
        surface = core + max(0.0, slope) * settle_s(mm)
        low, high = (slope, high) if k * (air - core - wet * drying_kPa(surface)) > slope else (low, slope)
    return slope


def test_pace_and_drying_are_learned_from_the_slopes_of_a_cook() -> None:
    """A chub 8 % faster than its geometry, drying a third less than the prior says."""
    k, wet, fit = 1.08 * pace(45.0), 0.33, Fit(45.0)
    for n in range(300):
        core = 20.0 + 0.14 * n
        air = min(core + 27.78, 86.0)
        fit = fit.seen(core, slope_by_hand(k, wet, core, air, 45.0), air)
    learned = fit.warming()
    assert learned.per_kelvin == pytest.approx(k, rel=0.01)
    assert learned.wet == pytest.approx(wet, abs=0.03)


def test_before_anything_is_learned_the_geometry_and_the_prior_hold() -> None:
    model = Fit(64.0).warming()
    assert model.per_kelvin == pytest.approx(pace(64.0))
    assert model.wet == pytest.approx(0.5)


def test_model_of_now_meets_the_measured_slope_and_then_flattens() -> None:
    slope = 0.0025
    model = Fit(45.0).now(62.0, slope, 82.0)
    assert model.rate(62.0, 82.0) == pytest.approx(slope, rel=0.02)
    ahead = core_after(model, 62.0, 1200.0, 82.0, 0.0, 82.0)
    assert 62.0 + 0.6 * slope * 1200.0 < ahead < 62.0 + 0.95 * slope * 1200.0
    assert model.rate(66.0, 82.0) < slope


def test_a_place_is_never_made_more_than_eight_kelvin_hotter_or_cooler() -> None:
    assert Fit(45.0).now(60.0, 0.05, 80.0).place_kelvin == 8.0
    assert Fit(45.0).now(60.0, -0.05, 80.0).place_kelvin == -8.0


def test_mean_of_models_is_taken_number_by_number() -> None:
    assert mean([Warming(1e-4, 0.2, 1.0, 900.0), Warming(3e-4, 0.6, -2.0, 1100.0)]) == Warming(
        pytest.approx(2e-4), pytest.approx(0.4), pytest.approx(-0.5), pytest.approx(1000.0)
    )


def test_rising_air_stops_at_its_top() -> None:
    model = Warming(2.0e-4, 0.0, 0.0, 1000.0)
    low = core_after(model, 50.0, 1800.0, 80.0, 0.0, 84.0)
    rising = core_after(model, 50.0, 1800.0, 80.0, 0.01, 84.0)
    assert low < rising < core_after(model, 50.0, 1800.0, 84.0, 0.0, 84.0)


# Own simulation study (control notes, section 2b), into 20 °C air: diameter, slope °F/h, carry-over °F.
@pytest.mark.parametrize(
    ("mm", "degF_per_h", "degF_difference"), [(51.0, 22.0, 1.8), (64.0, 16.0, 2.0), (51.0, 9.0, 0.6)]
)
def test_carry_over_is_that_of_our_study(mm: float, degF_per_h: float, degF_difference: float) -> None:
    assert carry_kelvin(mm, degF_per_h / 1.8 / 3600.0) * 1.8 == pytest.approx(degF_difference, abs=0.3)
    assert settle_s(mm) == pytest.approx((mm / 2000) ** 2 / (4 * 1.21e-7))


def test_aim_lies_in_the_band_with_the_carry_over_still_to_come() -> None:
    for carry in (0.0, 0.5, 1.1, 3.0):
        aim = aim_degC(BAND, carry)
        assert BAND[0] + 0.2 < aim < BAND[1]
        assert aim + min(carry, 1.1) < BAND[1]
    assert aim_degC(BAND, 1.0) < aim_degC(BAND, 0.0)


def test_stout_chub_pulled_half_a_minute_late_under_a_high_limit_ends_in_its_band() -> None:
    """2.3 °F carried over and 0.15 °F late, as a rehearsed cook under 200 °F had it; 3 °F is all the band there is."""
    carry, late = 2.3 / 1.8, 0.15 / 1.8
    aim = aim_degC(BAND, carry)
    assert aim > BAND[0]
    assert aim + late + carry < BAND[1]


def test_nobody_is_called_until_one_is_due_and_then_all_that_are_far_enough() -> None:
    assert whom(BAND, [Outlook(1, 66.9, 0.3), Outlook(2, 67.0, 0.3)]) == []
    assert whom(BAND, [Outlook(1, 67.4, 0.3), Outlook(2, 67.2, 0.3), Outlook(3, 66.9, 0.3)]) == [1, 2]
    assert whom(BAND, [Outlook(1, 67.4, 0.3), Outlook(2, 67.2, 0.3, measured=False)]) == [1]


def test_a_chub_in_its_band_that_hardly_warms_any_more_is_called_though_it_may_never_come_to_its_aim() -> None:
    assert whom(BAND, [Outlook(1, 67.1, 0.1, later_degC=67.2)]) == [1]
    assert whom(BAND, [Outlook(1, 67.1, 0.1, later_degC=67.9)]) == []  # it gets to its aim: a fuller trip, later
    assert whom(BAND, [Outlook(1, 66.7, 0.1, later_degC=66.8)]) == []  # below the foot it is not done


def test_the_lowest_core_leads_and_equal_ones_are_decided_by_the_slower_place() -> None:
    made = plan(3, 3, place_pace=(("hook 2", 0.9),))
    lead = choose(made, {1: 50.0, 2: 50.2, 3: 61.5}, frozenset())
    assert lead == Lead(2, 50.0, pytest.approx(0.0))
    assert choose(made, {1: 50.0, 3: 61.5}, frozenset()) == Lead(1, 50.0, 11.5)
    assert choose(made, {1: 50.0, 3: 61.5}, frozenset({1})) == Lead(3, 61.5, None)
    assert choose(made, {1: 50.0}, frozenset({1})) == Lead(1, 50.0, None)
    assert choose(made, {}, frozenset()) is None


def test_target_is_kept_while_a_colder_core_that_joined_catches_up() -> None:
    kept, target = keep(Kept(), Lead(1, 50.0, None), frozenset({1}), 77.8, None)
    assert target == 77.8
    kept, target = keep(kept, Lead(2, 45.0, 5.0), frozenset({1, 2}), 72.8, 77.8)
    assert target == 77.8
    kept, target = keep(kept, Lead(2, 49.0, 2.0), frozenset({1, 2}), 76.8, 77.8)
    assert target == 77.8
    kept, target = keep(kept, Lead(2, 50.5, 1.0), frozenset({1, 2}), 78.3, 77.8)
    assert (kept.target_degC, target) == (None, 78.3)


def test_target_may_fall_when_the_leader_itself_cools() -> None:
    kept, _ = keep(Kept(), Lead(1, 50.0, None), frozenset({1}), 77.8, None)
    assert keep(kept, Lead(1, 48.0, None), frozenset({1}), 75.8, 77.8)[1] == 75.8


def test_slope_is_the_least_squares_line_of_the_means_inside_the_window() -> None:
    blocks = tuple(Block(30.0 * n + 15.0, 80.0, (None, 40.0 + 0.06 * n)) for n in range(20))
    found = slope_of(blocks, 1, 0.0, 600.0)
    assert found is not None
    assert found.slope == pytest.approx(0.002)
    assert found.core_degC == pytest.approx(40.0 + 0.06 * 9.5)
    assert (found.middle_s, found.length_s, found.air_degC) == (300.0, 600.0, 80.0)
    part = slope_of(blocks, 1, 300.0, 480.0)
    assert part is not None
    assert part.middle_s == 390.0
    assert slope_of(blocks, 1, 0.0, 70.0) is None


def test_a_hand_reading_moves_the_guess_and_corrects_its_place() -> None:
    model = Warming(2.0e-4, 0.0, 0.0, 1000.0)
    guess = estimate.begin(5, 10.0, 0.0)
    truth = guess.core_degC
    for _ in range(200):
        guess = estimate.advance(guess, model, 70.0, 30.0)
        truth += model.rate(truth, 67.0) * 30.0  # its place is 3 K cooler
    before = guess.spread_kelvin(66.67, 6000.0)
    read = estimate.read(guess, truth, 6000.0)
    assert read.core_degC == truth
    assert read.source == "hand"
    assert read.spread_kelvin(66.67, 6000.0) < before
    assert read.spread_kelvin(66.67, 9600.0) > read.spread_kelvin(66.67, 6000.0)  # it grows old
    assert -3.0 < read.air_kelvin < -0.5
    assert 0.9 < read.gain < 1.0
    for _ in range(60):
        guess, read = estimate.advance(guess, model, 80.0, 30.0), estimate.advance(read, model, 80.0, 30.0)
        truth += model.rate(truth, 77.0) * 30.0
    assert abs(read.core_degC - truth) < 0.4 * abs(guess.core_degC - truth)


def test_rows_and_blocks_have_no_reading_as_none() -> None:
    blocks = tuple(Block(30.0 * n + 15.0, 80.0, (None, None if n == 3 else 40.0)) for n in range(5))
    found = slope_of(blocks, 1, 0.0, 200.0)
    assert found is not None
    assert found.slope == 0.0
    assert Row(0.0, 80.0, (None, None)).probe_degC[1] is None
