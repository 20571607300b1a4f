import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import conduction
from references.process.reading import half_digit, rows

MEAT = {"diffusivity": 0.42 / (1050.0 * 3300.0), "density": 1050.0, "heat_capacity": 3300.0}


@pytest.mark.parametrize("row", rows("cengel_table_4_2.csv"), ids=lambda row: f"Bi={row['biot']}")
def test_first_term_agrees_with_the_table(row):
    zeta1, c1 = conduction.cylinder_first_term(float(row["biot"]))
    assert zeta1 == pytest.approx(float(row["zeta1"]), rel=0, abs=float(row["zeta1_tolerance"]) + 1e-12)
    assert c1 == pytest.approx(float(row["c1"]), rel=0, abs=float(row["c1_tolerance"]) + 1e-12)


@pytest.mark.parametrize("row", rows("nellis_klein_cylinder.csv"), ids=lambda row: row["source"])
def test_series_agrees_with_the_published_point(row):
    theta = conduction.cylinder_theta(float(row["r_over_R"]), float(row["fourier"]), float(row["biot"]))
    assert theta == pytest.approx(float(row["theta"]), rel=0, abs=half_digit(row["theta"]))


@pytest.mark.parametrize("biot", [0.01, 0.36, 1.0, 1.5, 10.0, 100.0])
def test_first_root_is_near_yovanovichs_expression(biot):
    # M. M. Yovanovich (University of Waterloo): one expression for all Bi, within about 0.4 %
    expected = 2.4048255 / (1.0 + (2.4048255 / math.sqrt(2.0 * biot)) ** 2.238) ** (1.0 / 2.238)
    assert conduction.cylinder_first_term(biot)[0] == pytest.approx(expected, rel=4e-3)


@settings(deadline=None)
@given(st.floats(1e-6, 1e4))
def test_tiny_and_huge_biot_have_their_limits(biot):
    zeta1, c1 = conduction.cylinder_first_term(biot)
    assert 0.0 < zeta1 < 2.404826  # first zero of J0, Abramowitz & Stegun table 9.5
    assert 1.0 < c1 < 1.602  # 2 / (2.404826 J1(2.404826)) = 1.6020
    assert zeta1**2 < 2.0 * biot  # lumped: zeta^2 -> 2 Bi from below


def test_a_thin_or_well_conducting_cylinder_cools_as_one_lump():
    biot = 1e-5
    assert conduction.cylinder_theta(0.0, 3e4, biot) == pytest.approx(math.exp(-2.0 * biot * 3e4), rel=1e-4)


@settings(deadline=None)
@given(st.floats(0.05, 50.0), st.floats(0.003, 3.0))
def test_flow_into_the_surface_fits_the_film(biot, fourier):
    # -d theta / d(r/R) = Bi theta at the surface
    step = 1e-4
    outer, inner, deeper = (
        conduction.cylinder_theta(1.0, fourier, biot),
        conduction.cylinder_theta(1.0 - step, fourier, biot),
        conduction.cylinder_theta(1.0 - 2.0 * step, fourier, biot),
    )
    slope = (3.0 * outer - 4.0 * inner + deeper) / (2.0 * step)
    assert -slope == pytest.approx(biot * outer, rel=2e-3, abs=1e-6)


@settings(deadline=None)
@given(st.floats(0.05, 20.0))
def test_time_at_the_axis_sums_to_the_quasi_steady_lag(biot):
    # A ramp is a row of small steps (Duhamel): its lag at the axis is the integral of theta over Fo,
    # which must be the 1/4 + 1/(2 Bi) of the quasi-steady rate. Integrated numerically here.
    fourier = np.concatenate(([0.0], np.geomspace(1e-3, 60.0 * (0.25 + 0.5 / biot), 4000)))
    lag = float(np.trapezoid(conduction.cylinder_theta(0.0, fourier, biot), fourier))
    rate = conduction.quasi_steady_rate(1.0, 1.0, 1.0, 100.0 * biot, 1.0, 100.0)  # k = 100, so h = 100 Bi
    assert 1.0 / rate == pytest.approx(lag, rel=1e-4)


@settings(deadline=None)
@given(st.floats(0.05, 20.0), st.floats(1e-3, 1.0))
def test_theta_falls_with_time_and_outward(biot, fourier):
    places = np.linspace(0.0, 1.0, 9)
    now = conduction.cylinder_theta(places, fourier, biot)
    later = conduction.cylinder_theta(places, 1.5 * fourier, biot)
    assert np.all(np.diff(now) <= 1e-12)
    assert np.all(later <= now + 1e-12)
    assert np.all((now <= 1.0 + 1e-9) & (later >= 0.0))


def test_theta_is_one_at_the_start_and_keeps_the_shape_asked_for():
    theta = conduction.cylinder_theta(np.array([[0.0], [0.5], [1.0]]), np.array([0.0, 0.2]), 1.0)
    assert theta.shape == (3, 2)
    assert np.all(theta[:, 0] == 1.0)
    assert isinstance(conduction.cylinder_theta(0.0, 0.2, 1.0), float)


def test_theta_shortly_after_the_start_is_that_of_a_flat_wall():
    # Semi-infinite body with a film (Cengel, section 4-3): 1 - theta = erfc(0) - exp(Bi^2 Fo) erfc(Bi sqrt(Fo)) at
    # the surface; the curvature changes it by order sqrt(Fo).
    biot, fourier = 1.0, 1e-4
    x = biot * math.sqrt(fourier)
    expected = math.exp(x * x) * math.erfc(x)
    assert conduction.cylinder_theta(1.0, fourier, biot) == pytest.approx(expected, abs=1e-4)
    assert conduction.cylinder_theta(1.0, 1e-7, biot) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(
    "row", rows("quasi_steady_rates.csv"), ids=lambda row: f"{row['diameter_mm']}mm-h{row['film']}"
)
def test_quasi_steady_rate_agrees_with_the_study(row):
    radius_m = float(row["diameter_mm"]) / 2000.0
    rate = conduction.quasi_steady_rate(27.78, radius_m, film=float(row["film"]), **MEAT)
    printed = row["kelvin_per_h"]
    assert rate * 3600.0 == pytest.approx(float(printed), rel=0, abs=half_digit(printed))


@pytest.mark.parametrize(
    "row", rows("constant_delta_T_heating.csv"), ids=lambda row: f"{row['diameter_in']}in-h{row['film']}"
)
def test_quasi_steady_rate_agrees_with_the_constant_lift_table(row):
    summer22 = next(r for r in rows("choi_okos_check_values.csv") if r["name"] == "summer22" and r["degC"] == "40")
    lift_kelvin = float(row["lift_degF"]) / 1.8
    rate = conduction.quasi_steady_rate(
        lift_kelvin,
        float(row["diameter_in"]) * 0.0127,
        float(summer22["alpha"]),
        float(row["film"]),
        float(summer22["rho"]),
        1000.0 * float(summer22["cp_kJ"]),
    )
    assert lift_kelvin / rate == pytest.approx(float(row["tau_s"]), rel=0, abs=float(row["tau_tolerance"]))
    assert rate * 1.8 * 3600.0 == pytest.approx(float(row["rate_degF_per_h"]), rel=0, abs=float(row["rate_tolerance"]))


@settings(deadline=None)
@given(st.floats(0.1, 10.0))
def test_rate_is_in_proportion_to_the_lift(factor):
    once = conduction.quasi_steady_rate(20.0, 0.03, film=12.0, **MEAT)
    assert conduction.quasi_steady_rate(20.0 * factor, 0.03, film=12.0, **MEAT) == pytest.approx(factor * once)


@pytest.mark.parametrize("biot", [0.0, -1.0, math.nan, math.inf])
def test_senseless_biot_is_refused(biot):
    with pytest.raises(ProcessError, match="Biot"):
        conduction.cylinder_first_term(biot)
    with pytest.raises(ProcessError, match="Biot"):
        conduction.cylinder_theta(0.0, 0.1, biot)


@pytest.mark.parametrize(
    ("place", "fourier", "said"),
    [
        (1.01, 0.1, "r/R"),
        (-0.1, 0.1, "r/R"),
        (math.nan, 0.1, "r/R"),
        (0.0, -1e-9, "Fourier"),
        (0.0, math.nan, "Fourier"),
    ],
)
def test_senseless_place_or_time_is_refused(place, fourier, said):
    with pytest.raises(ProcessError, match=said):
        conduction.cylinder_theta(place, fourier, 1.0)


def test_heat_capacity_in_kilojoules_is_refused():
    with pytest.raises(ProcessError, match="kJ typed for J"):
        conduction.quasi_steady_rate(27.8, 0.03, 1.2e-7, 12.0, 1050.0, 3.3)


@pytest.mark.parametrize("place", range(1, 6))
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan])
def test_senseless_property_is_refused(place, value):
    arguments = [27.8, 0.03, 1.2e-7, 12.0, 1050.0, 3300.0]
    arguments[place] = value
    with pytest.raises(ProcessError):
        conduction.quasi_steady_rate(*arguments)
