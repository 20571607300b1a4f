import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import meat
from references.process.reading import half_digit, rows

BATTER = {"water": 0.58, "protein": 0.16, "fat": 0.22, "carbohydrate": 0.01, "ash": 0.03}
PLACE = {"k": 0, "rho": 1, "cp": 2}


def mixture(row):
    return {name: float(row[name]) for name in ("water", "protein", "fat", "carbohydrate", "ash")}


@pytest.mark.parametrize("row", rows("choi_okos_check_values.csv"), ids=lambda row: f"{row['name']}-{row['degC']}")
def test_mixture_agrees_with_the_check_values(row):
    k, rho, cp = meat.properties(mixture(row), float(row["degC"]))
    for name, value in (("k", k), ("rho", rho), ("cp", cp / 1000.0), ("alpha", meat.diffusivity(k, rho, cp))):
        printed = row["cp_kJ" if name == "cp" else name]
        assert value == pytest.approx(float(printed), rel=0, abs=1.001 * float(row[f"{name}_tolerance"])), name


@pytest.mark.parametrize("row", rows("choi_okos.csv"), ids=lambda row: f"{row['property']}-{row['component']}")
def test_pure_component_agrees_with_the_printed_values(row):
    for degC in (20, 60):
        value = meat.properties({row["component"]: 1.0}, degC)[PLACE[row["property"]]]
        value /= 1000.0 if row["property"] == "cp" else 1.0
        digits = 5  # the columns have five significant digits
        expected = float(row[f"at_{degC}_degC"])
        assert value == pytest.approx(
            expected, rel=0, abs=0.5001 * 10.0 ** (math.floor(math.log10(expected)) + 1 - digits)
        )


def test_fat_does_not_conduct_like_the_misprinted_exponent():
    # one scan prints e-3 for the slope of fat: 0.042 W/(m K) at 50 degC, impossible
    assert meat.properties({"fat": 1.0}, 50.0).k == pytest.approx(0.166, abs=0.0005)


def test_water_has_not_the_heat_capacity_of_the_flipped_signs():
    # steam tables: liquid water has 4.18..4.19 kJ/(kg K) at 60 degC; the misprinted library gives 4.115
    assert meat.properties({"water": 1.0}, 60.0).cp == pytest.approx(4185.0, rel=3e-3)


def test_fats_heat_capacity_slope_is_e_minus_3_not_e_minus_4():
    # FROM MEMORY in the source file: 1.4733e-3, which is 3 % at 50 degC against e-4
    fat = meat.properties({"fat": 1.0}, 50.0).cp
    assert fat / (1984.2 + 0.14733 * 50.0 - 4.8008e-3 * 2500.0) == pytest.approx(1.03, abs=0.01)


@pytest.mark.parametrize("name", ["k", "rho", "cp"])
def test_a_usual_batter_lies_in_the_measured_range(name):
    measured = next(row for row in rows("measured_meat.csv") if row["property"] == name)
    for degC in (20.0, 40.0, 60.0, 70.0):
        value = getattr(meat.properties(BATTER, degC), name)
        assert float(measured["low"]) <= value <= float(measured["high"])


@settings(deadline=None)
@given(st.lists(st.floats(0.01, 1.0), min_size=6, max_size=6), st.floats(0.0, 150.0))
def test_a_mixture_lies_between_its_components(parts, degC):
    x = {name: part / sum(parts) for name, part in zip(meat.COMPONENTS, parts, strict=True)}
    mixed = meat.properties(x, degC)
    for place, value in enumerate(mixed):
        pure = [meat.properties({name: 1.0}, degC)[place] for name in x]
        assert min(pure) * (1 - 1e-9) <= value <= max(pure) * (1 + 1e-9)


@settings(deadline=None)
@given(st.floats(0.0, 1.0))
def test_volumes_of_two_parts_add_up(share):
    fat, water = meat.properties({"fat": 1.0}, 20.0).rho, meat.properties({"water": 1.0}, 20.0).rho
    rho = meat.properties({"fat": share, "water": 1.0 - share}, 20.0).rho
    assert 1.0 / rho == pytest.approx(share / fat + (1.0 - share) / water, rel=1e-12)


def test_fractions_that_miss_one_by_rounding_are_scaled():
    off = {name: share * 1.004 for name, share in BATTER.items()}
    assert meat.properties(off, 40.0) == pytest.approx(meat.properties(BATTER, 40.0))


@pytest.mark.parametrize(
    ("composition", "said"),
    [
        ({"water": 58.0, "fat": 42.0}, "percent typed for fraction"),
        ({"water": 0.58, "fat": 0.22}, "add up"),
        ({}, "add up"),
        ({"water": 0.9, "carbs": 0.1}, "no component carbs"),
        ({"water": 1.1, "fat": -0.1}, "Fraction of"),
        ({"water": math.nan, "fat": 0.5}, "finite"),
    ],
)
def test_senseless_composition_is_refused(composition, said):
    with pytest.raises(ProcessError, match=said):
        meat.properties(composition, 20.0)


@pytest.mark.parametrize("degC", [-0.1, 150.1, math.nan])
def test_temperature_outside_the_equations_is_refused(degC):
    with pytest.raises(ProcessError):
        meat.properties(BATTER, degC)


def test_half_digit_reads_the_printed_digits():
    assert half_digit("0.8034") == pytest.approx(0.00005)
    assert half_digit("14") == pytest.approx(0.5)


@pytest.mark.parametrize("arguments", [(0.0, 1040.0, 3300.0), (0.45, -1.0, 3300.0), (0.45, 1040.0, math.nan)])
def test_senseless_diffusivity_is_refused(arguments):
    with pytest.raises(ProcessError):
        meat.diffusivity(*arguments)
