"""Units against published values; a difference is never an absolute temperature."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fiftyover_kit.contract import units

# °F, °C: NIST SP 811 (2008), B.8 formula on round figures; -40 is where the scales meet; 98.6/37 is the usual check.
ABSOLUTE = [(32, 0), (212, 100), (-40, -40), (98.6, 37), (152, 66.6667), (155, 68.3333), (225, 107.2222), (50, 10)]


@pytest.mark.parametrize(("degF", "degC"), ABSOLUTE)
def test_absolute_temperatures_convert_both_ways(degF, degC) -> None:
    assert units.degC_from_degF(degF) == pytest.approx(degC, abs=5e-5)
    assert units.degF_from_degC(degC) == pytest.approx(degF, abs=1e-4)


def test_a_lift_of_50_degF_is_27_78_kelvin_and_not_10() -> None:
    assert units.kelvin_from_degF_difference(50) == pytest.approx(27.78, abs=0.005)
    assert units.degF_difference_from_kelvin(27.7778) == pytest.approx(50, abs=1e-4)
    assert units.degC_from_degF(50) == pytest.approx(10)


def test_zero_celsius_is_273_15_kelvin() -> None:
    assert units.kelvin_from_degC(0) == 273.15
    assert units.degC_from_kelvin(273.16) == pytest.approx(0.01)  # triple point of water, SI brochure


@pytest.mark.parametrize(
    ("convert", "value", "wanted"),
    [  # NIST SP 811 (2008), B.8: 1 lb, 1 oz, 1 in in SI units; ten digits as printed there
        (units.kg_from_lb, 1, 0.45359237),
        (units.g_from_oz, 1, 28.349523125),
        (units.m_from_inch, 1, 0.0254),
        (units.kg_from_lb, 25, 11.33980925),  # the 25 lb of many recipes
        (units.g_from_oz, 16, 453.59237),  # sixteen ounces are a pound
        (units.lb_from_kg, 0.45359237, 1),
        (units.oz_from_g, 28.349523125, 1),
        (units.inch_from_m, 0.0254, 1),
    ],
)
def test_masses_and_lengths_use_the_exact_constants(convert, value, wanted) -> None:
    assert convert(value) == pytest.approx(wanted, rel=1e-12)


@given(st.floats(-400, 1000))
def test_there_and_back_is_the_same(value) -> None:
    for there, back in (
        (units.degC_from_degF, units.degF_from_degC),
        (units.kelvin_from_degC, units.degC_from_kelvin),
        (units.kelvin_from_degF_difference, units.degF_difference_from_kelvin),
        (units.kg_from_lb, units.lb_from_kg),
        (units.g_from_oz, units.oz_from_g),
        (units.m_from_inch, units.inch_from_m),
    ):
        assert back(there(value)) == pytest.approx(value, abs=1e-9)


@given(st.floats(-100, 400), st.floats(-100, 400))
def test_the_difference_of_two_temperatures_converts_as_a_difference(a, b) -> None:
    kelvin = units.degC_from_degF(a) - units.degC_from_degF(b)
    assert units.kelvin_from_degF_difference(a - b) == pytest.approx(kelvin, abs=1e-9)
