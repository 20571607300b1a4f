"""The controller: tuning against published examples, then its manners (saturation, hand-over, gaps, holds)."""

import csv
import math
from dataclasses import replace
from pathlib import Path

import control as ct
import numpy as np
import pytest

from fiftyover.control.controller import (
    PERIOD_S,
    SLOPE_PER_WATT,
    Controller,
    ControllerState,
    half_rule,
    settings_for,
    simc_first_order,
    simc_pi,
    step,
)

REFERENCES = Path(__file__).parents[2] / "references" / "control"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCES / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def numbers(text: str) -> list[float]:
    return [float(word) for word in text.split()]


@pytest.mark.parametrize("row", rows("simc_examples.csv"), ids=lambda row: row["name"])
def test_half_rule_and_tuning_give_the_published_examples(row: dict[str, str]) -> None:
    kept, theta = half_rule(numbers(row["lags"]), numbers(row["inverse"]), int(row["keep"]))
    assert kept == pytest.approx(numbers(row["kept"]))
    assert theta == pytest.approx(float(row["theta"]))
    gain, integral = simc_first_order(1.0, kept[0], theta)
    assert gain == pytest.approx(float(row["Kc"]), rel=0.003)
    assert integral == pytest.approx(float(row["tauI"]))


def loop_of(tau: float) -> tuple[ct.TransferFunction, float]:
    s = ct.tf("s")
    delay = ct.tf(*ct.pade(1.0, 6))
    if math.isinf(tau):
        gain, integral = simc_pi(1.0, 1.0)
        return gain * (1 + 1 / (integral * s)) * delay / s, integral
    gain, integral = simc_first_order(1.0, tau, 1.0)
    return gain * (1 + 1 / (integral * s)) * delay / (tau * s + 1), integral


@pytest.mark.parametrize("row", rows("simc_margins.csv"), ids=lambda row: row["name"])
def test_tuned_loops_have_the_printed_margins_by_python_control(row: dict[str, str]) -> None:
    loop, integral = loop_of(float(row["tau"]))
    gain_margin, phase_margin, _, crossover = ct.margin(loop)
    assert integral == pytest.approx(float(row["tauI"]))
    assert gain_margin == pytest.approx(float(row["gain_margin"]), rel=0.005)
    assert phase_margin == pytest.approx(float(row["phase_margin_deg"]), abs=0.15)
    assert crossover == pytest.approx(float(row["omega_c"]), abs=0.006)
    if row["Ms"]:
        response = loop(1j * np.logspace(-2, 1, 3000))
        assert np.max(np.abs(1 / (1 + response))) == pytest.approx(float(row["Ms"]), abs=0.01)


@pytest.mark.parametrize("relay", sorted(PERIOD_S))
@pytest.mark.parametrize(("delay_s", "lags_s", "least"), [(2.5, (30.0, 12.0), 2.5), (35.0, (), 1.5)])
def test_shipped_tuning_keeps_margins_however_the_35_s_are_made_up(
    relay: str, delay_s: float, lags_s: tuple[float, ...], least: float
) -> None:
    """As lags of probe and air, which they are, or as dead time, which is the worst that they could be."""
    tuning = settings_for(relay, 800.0)
    s = ct.tf("s")
    loop = tuning.gain * (1 + 1 / (tuning.integral_s * s) + tuning.derivative_s * s / (tuning.filter_s * s + 1))
    loop = loop * ct.tf(*ct.pade(delay_s + PERIOD_S[relay] / 2.0, 6)) * SLOPE_PER_WATT * 800.0 / s
    for lag_s in lags_s:
        loop = loop / (lag_s * s + 1)
    gain_margin, phase_margin, _, _ = ct.margin(loop)
    assert gain_margin > least
    assert phase_margin > 45.0


def test_gain_falls_with_the_power_and_with_a_slow_relay() -> None:
    assert settings_for("solid-state", 1600.0).gain == pytest.approx(settings_for("solid-state", 800.0).gain / 2)
    assert settings_for("mechanical", 800.0).gain < settings_for("solid-state", 800.0).gain
    assert settings_for("mechanical", None).gain <= settings_for("mechanical", 1500.0).gain


@pytest.mark.parametrize("bad", [0.0, -5.0, math.nan, math.inf])
def test_impossible_powers_and_delays_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="power"):
        settings_for("mechanical", bad)
    if not math.isinf(bad):
        with pytest.raises(ValueError, match="positive"):
            simc_pi(1.0, bad)
        with pytest.raises(ValueError, match="positive"):
            simc_first_order(1.0, 10.0, bad)


def test_unknown_relay_and_too_few_lags_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="mercury"):
        settings_for("mercury", 800.0)
    with pytest.raises(ValueError, match="1 lags"):
        half_rule([3.0], [], 2)


def test_proportional_integral_and_derivative_parts_are_the_hand_worked_ones() -> None:
    tuning = replace(settings_for("solid-state", 800.0), gain=0.1, integral_s=200.0, derivative_s=20.0, filter_s=5.0)
    state, duty = step(tuning, ControllerState(), 0.0, 60.0, 63.0)
    assert duty == pytest.approx(0.3)  # 0.1 x 3 K, nothing integrated yet
    state, duty = step(tuning, state, 5.0, 60.5, 63.0)
    # raw slope 0.1 K/s, half of it through the filter (5 s in 5+5 s): D = -0.1 x 20 x 0.05
    assert duty == pytest.approx(0.1 * 2.5 - 0.1)
    state, duty = step(tuning, state, 10.0, 60.5, 63.0)
    # integral from the step before: 5 s x 0.1 x 2.5 / 200; the slope halves again
    assert duty == pytest.approx(0.25 - 0.05 + 5 * 0.1 * 2.5 / 200)


def test_derivative_acts_on_the_measurement_so_a_target_step_does_not_kick() -> None:
    controller = Controller(settings_for("solid-state", 800.0))
    for at_s in range(0, 60, 5):
        controller.step(float(at_s), 60.0, 60.0)
    before = controller.state.duty
    gain = controller.settings.gain
    assert controller.step(60.0, 60.0, 61.0) - before == pytest.approx(gain, rel=1e-6)


def simulate(controller: Controller, target: float, seconds: float, limit: float = 1.0) -> list[float]:
    """An integrating chamber with 30 s dead time and a small loss: our own, not the rehearsal's."""
    chamber, trace, waiting = 40.0, [], [0.0] * 6
    for n in range(int(seconds / 5)):
        duty = min(limit, controller.step(5.0 * n, chamber, target))
        waiting.append(duty)
        chamber += 5.0 * (0.134 * waiting.pop(0) - 0.001 * (chamber - 20.0))
        trace.append(chamber)
    return trace


def test_a_long_saturated_rise_does_not_wind_up() -> None:
    trace = simulate(Controller(settings_for("solid-state", 800.0)), 80.0, 7200.0)
    assert max(trace) - 80.0 < 2.5
    assert abs(trace[-1] - 80.0) < 0.05


def test_without_back_calculation_the_same_rise_overshoots() -> None:
    """The check above can fail: with tracking switched off it does."""
    loose = replace(settings_for("solid-state", 800.0), tracking_s=1e12)
    assert max(simulate(Controller(loose), 80.0, 7200.0)) - 80.0 > 5.0


@pytest.mark.parametrize("running", [0.0, 0.37, 1.0])
def test_hand_over_starts_at_the_duty_that_ran(running: float) -> None:
    controller = Controller(settings_for("mechanical", 1200.0))
    controller.hand_over(100.0, 71.3, 75.0, running)
    assert abs(controller.step(105.0, 71.3, 75.0) - running) <= 0.01


@pytest.mark.parametrize("dt_s", [0.0, 0.5, 16.0, 4000.0, -3.0])
def test_an_odd_interval_neither_integrates_nor_differentiates(dt_s: float) -> None:
    tuning = settings_for("solid-state", 800.0)
    state, _ = step(tuning, ControllerState(integral=0.2), 1000.0, 60.0, 62.0)
    state, duty = step(tuning, state, 1000.0 + dt_s, 59.0, 62.0)
    assert state.integral == pytest.approx(0.2)
    assert duty == pytest.approx(min(1.0, tuning.gain * 3.0 + 0.2))


def test_a_ceiling_bounds_the_duty_and_unwinds_the_integral() -> None:
    tuning = settings_for("solid-state", 800.0)
    state, _ = step(tuning, ControllerState(integral=0.5, at_s=-5.0, chamber_degC=83.0), 0.0, 83.0, 82.0)
    after, duty = step(tuning, state, 5.0, 83.0, 82.0, ceiling=0.0)
    wanted = state.integral - tuning.gain * 1.0
    assert duty == 0.0
    change = -5.0 * tuning.gain / tuning.integral_s - 5.0 * wanted / tuning.tracking_s
    assert after.integral - state.integral == pytest.approx(change)


def test_a_hold_freezes_the_integral_and_gives_its_duty() -> None:
    tuning = settings_for("solid-state", 800.0)
    state, _ = step(tuning, ControllerState(integral=0.3), 0.0, 60.0, 60.0)
    for n in range(1, 30):
        state, duty = step(tuning, state, 5.0 * n, 40.0, 60.0, hold_duty=0.31)
        assert duty == 0.31
    assert state.integral == 0.3
