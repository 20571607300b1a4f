import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import casing
from references.process.reading import half_digit, rows

LB_G, INCH_MM, LB_PER_FT = 453.59237, 25.4, 0.3048 / 0.45359237
TABLE = rows("casing_capacity.csv")
DIAMETERS = st.floats(20.0, 120.0)
LENGTHS = st.floats(100.0, 2000.0)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['diameter_in']}x{row['length_in']}")
def test_geometry_agrees_with_the_table(row):
    diameter_mm, length_mm = float(row["diameter_in"]) * INCH_MM, float(row["length_in"]) * INCH_MM
    per_m = casing.kg_per_m(diameter_mm)
    full_lb = casing.capacity_g(diameter_mm, length_mm, 1.0) / LB_G
    assert per_m == pytest.approx(float(row["kg_per_m"]), rel=0, abs=half_digit(row["kg_per_m"]))
    assert per_m * LB_PER_FT == pytest.approx(float(row["lb_per_ft"]), rel=0, abs=half_digit(row["lb_per_ft"]))
    assert full_lb == pytest.approx(float(row["full_lb"]), rel=0, abs=half_digit(row["full_lb"]))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['diameter_in']}x{row['length_in']}")
def test_published_weight_is_held_against_the_full_casing(row):
    meat_g = float(row["published_lb"]) * LB_G
    size = (float(row["diameter_in"]) * INCH_MM, float(row["length_in"]) * INCH_MM)
    printed = row["published_over_full"]
    if float(printed) > 1.0:  # a nominal or flat size: it cannot hold that
        with pytest.raises(ProcessError, match="does not go into"):
            casing.fill_fraction(meat_g, *size)
    else:
        assert casing.fill_fraction(meat_g, *size) == pytest.approx(float(printed), rel=0, abs=half_digit(printed))


@pytest.mark.parametrize(
    "row", rows("casing_density.csv"), ids=lambda row: f"{row['diameter_in']}in-{row['density_kg_per_m3']}"
)
def test_density_counts(row):
    per_m = casing.kg_per_m(float(row["diameter_in"]) * INCH_MM, float(row["density_kg_per_m3"]))
    assert per_m * LB_PER_FT == pytest.approx(float(row["lb_per_ft"]), rel=0, abs=half_digit(row["lb_per_ft"]))


def test_a_pound_does_not_go_into_a_casing_of_one_and_a_half_by_twelve_inches():
    with pytest.raises(ProcessError, match=r"it holds 361 g at most, or must be 42\.\d mm"):  # 0.797 lb; 1.68 in = 42.7
        casing.fill_fraction(LB_G, 1.5 * INCH_MM, 12.0 * INCH_MM)
    assert casing.diameter_for_mm(LB_G, 12.0 * INCH_MM) == pytest.approx(1.68 * INCH_MM, abs=0.005 * INCH_MM)


def test_the_usual_fill_is_that_of_three_pounds_in_two_and_a_half_by_twenty_inches():
    assert casing.capacity_g(63.5, 508.0) / LB_G == pytest.approx(3.0, abs=0.02)
    assert pytest.approx(0.81) == casing.FILL_FRACTION


def test_casings_are_counted_whole():
    each_g = casing.capacity_g(45.0, 450.0)
    assert casing.casings_needed(3.0 * each_g, 45.0, 450.0) == 3
    assert casing.casings_needed(3.01 * each_g, 45.0, 450.0) == 4
    assert casing.casings_needed(1.0, 45.0, 450.0) == 1


@settings(deadline=None)
@given(DIAMETERS, LENGTHS, st.floats(0.3, 1.0))
def test_diameter_weight_and_fill_are_each_others_inverse(diameter_mm, length_mm, fill):
    meat_g = casing.capacity_g(diameter_mm, length_mm, fill)
    assert casing.diameter_for_mm(meat_g, length_mm, fill) == pytest.approx(diameter_mm)
    assert casing.fill_fraction(meat_g, diameter_mm, length_mm) == pytest.approx(fill)


@settings(deadline=None)
@given(DIAMETERS, LENGTHS, st.floats(100.0, 50_000.0))
def test_the_casings_counted_hold_the_meat_and_one_fewer_does_not(diameter_mm, length_mm, meat_g):
    count, each_g = casing.casings_needed(meat_g, diameter_mm, length_mm), casing.capacity_g(diameter_mm, length_mm)
    assert count * each_g >= meat_g * (1 - 1e-6)
    assert (count - 1) * each_g < meat_g


@settings(deadline=None)
@given(st.floats(10.0, 125.0))
def test_twice_as_thick_holds_four_times_as_much(diameter_mm):
    assert casing.kg_per_m(2.0 * diameter_mm) == pytest.approx(4.0 * casing.kg_per_m(diameter_mm))


@pytest.mark.parametrize("diameter_mm", [2.5, 0.0, -45.0, 2500.0, math.nan])
def test_senseless_diameter_is_refused(diameter_mm):
    with pytest.raises(ProcessError, match="Diameter"):
        casing.kg_per_m(diameter_mm)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((45.0, 20.0), "Length"),
        ((45.0, 100_001.0), "Length"),
        ((45.0, 450.0, 81.0), "Fill fraction"),
        ((45.0, 450.0, 0.0), "Fill fraction"),
    ],
)
def test_senseless_length_or_fill_is_refused(arguments, said):
    with pytest.raises(ProcessError, match=said):
        casing.capacity_g(*arguments)


@pytest.mark.parametrize("meat_g", [0.0, -1.0, math.inf])
def test_senseless_meat_is_refused(meat_g):
    for function in (casing.casings_needed, casing.fill_fraction):
        with pytest.raises(ProcessError, match="Meat"):
            function(meat_g, 45.0, 450.0)
    with pytest.raises(ProcessError, match="Meat"):
        casing.diameter_for_mm(meat_g, 450.0)
    with pytest.raises(ProcessError, match="Fill fraction"):
        casing.diameter_for_mm(500.0, 450.0, 1.001)


@pytest.mark.parametrize("density", [799.0, 1201.0, 1.04, math.nan])
def test_senseless_density_is_refused(density):
    with pytest.raises(ProcessError, match="Density"):
        casing.kg_per_m(45.0, density)
