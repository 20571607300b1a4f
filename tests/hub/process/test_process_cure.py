import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import additives, cure, salt
from references.process.reading import half_digit, rows

GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}  # NIST SP 811, appendix B
TEN_LB_G = 10.0 * GRAMS["lb"]
FRACTIONS = st.floats(0.002, 0.2)
MEATS = st.floats(500.0, 50_000.0)


def number(printed):
    top, _, bottom = printed.partition("/")
    return float(top) / float(bottom or 1)


@pytest.mark.parametrize("row", rows("nitrite_worked_examples.csv"), ids=lambda row: row["case"])
def test_worked_example_comes_out(row):
    cure_g = float(row["cure"]) * GRAMS[row["cure_unit"]]
    meat_g = float(row["meat"]) * GRAMS[row["meat_unit"]]
    tolerance = max(float(row["tolerance"].split()[0]), 1e-9)
    assert cure.nitrite_ppm(cure_g, number(row["nitrite_fraction"]), meat_g) == pytest.approx(
        float(row["ppm"]), rel=0, abs=tolerance * 1.0001
    )


@pytest.mark.parametrize("row", rows("cure_doses.csv"), ids=lambda row: f"{row['target_ppm']}ppm-{row['meat_unit']}")
def test_dose_table_comes_out(row):
    meat_g = float(row["meat"]) * GRAMS[row["meat_unit"]]
    assert cure.cure_g(float(row["target_ppm"]), 0.0625, meat_g) == pytest.approx(
        float(row["cure_g"]), rel=0, abs=half_digit(row["cure_g"])
    )


@pytest.mark.parametrize("row", rows("cfr_9_424_21.csv"), ids=lambda row: row["additive"])
def test_ceiling_is_that_of_the_rule(row):
    ceiling = additives.CEILINGS[row["additive"]]
    assert ceiling.oz_per_100lb == float(row["oz_per_100lb"])
    assert ceiling.ppm == float(row["ppm"])
    assert ceiling.ppm == pytest.approx(1e6 * ceiling.oz_per_100lb * GRAMS["oz"] / (100.0 * GRAMS["lb"]))
    assert additives.checked_ppm(row["additive"], ceiling.ppm) == ceiling.ppm
    with pytest.raises(ProcessError, match=f"use {ceiling.ppm:g} ppm or less"):
        additives.checked_ppm(row["additive"], ceiling.ppm + 0.01)


def test_no_ceiling_is_left_unchecked():
    assert set(additives.CEILINGS) == {row["additive"] for row in rows("cfr_9_424_21.csv")}


@pytest.mark.parametrize("row", rows("nitrite_levels.csv"), ids=lambda row: row["name"])
def test_level_is_the_named_one(row):
    assert getattr(additives, row["name"]) == float(row["ppm"])


def test_common_practice_of_the_trade_is_a_quarter_ounce_per_hundredweight():
    (row,) = (row for row in rows("common_practice.csv") if row["item"].startswith("No. 1 cure"))
    ppm = cure.nitrite_ppm(float(row["value"]) * GRAMS[row["unit"]], cure.MIX_FRACTION, TEN_LB_G)
    assert ppm == pytest.approx(156.25, abs=1e-9)
    assert additives.checked_ppm("nitrite", ppm) == ppm  # 0.25 over a strict 156, and allowed all the same


def test_erythorbate_is_held_against_seven_eighths_of_an_ounce():
    assert additives.additive_ppm(0.875 * GRAMS["oz"], 100.0 * GRAMS["lb"]) == pytest.approx(546.875)
    with pytest.raises(ProcessError, match="wrong way round"):
        additives.additive_ppm(5000.0, 50.0)
    with pytest.raises(ProcessError, match="No ceiling"):
        additives.checked_ppm("saltpetre", 1.0)


@pytest.mark.parametrize("typed", [6.25, 0.625, 0.6, 5.88, 100.0, 1.0001])
def test_percent_typed_for_fraction_is_refused(typed):
    with pytest.raises(ProcessError, match="percent typed for fraction"):
        cure.nitrite_ppm(11.3, typed, 4536.0)
    with pytest.raises(ProcessError, match="percent typed for fraction"):
        cure.cure_g(156.0, typed, 4536.0)


@pytest.mark.parametrize("taken", [0.0625, 1 / 17, 0.06, 0.004, 0.5, 1.0])
def test_fraction_of_a_mix_or_of_the_pure_salt_is_taken(taken):
    assert cure.nitrite_ppm(1.0, taken, 1000.0) == pytest.approx(1000.0 * taken)


@pytest.mark.parametrize("fraction", [0.4, 1.0, 0.000625])
def test_a_batch_is_not_dosed_with_what_is_no_cure_mix(fraction):
    with pytest.raises(ProcessError, match="label"):
        cure.dose(156.0, fraction, 5000.0, 0.1)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((-1.0, 0.0625, 5000.0), "Cure"),
        ((1.0, 0.0, 5000.0), "does not cure"),
        ((1.0, -0.0625, 5000.0), "Nitrite fraction"),
        ((1.0, 0.0625, 0.0), "Meat"),
        ((1.0, 0.0625, -5.0), "Meat"),
        ((math.nan, 0.0625, 5000.0), "Cure"),
        ((1.0, math.nan, 5000.0), "Nitrite fraction"),
        ((1.0, 0.0625, math.inf), "Meat"),
        (("some", 0.0625, 5000.0), "Cure"),
        ((5000.0, 0.0625, 11.3), "wrong way round"),
    ],
)
def test_nonsense_is_refused_by_name(arguments, said):
    with pytest.raises(ProcessError, match=said):
        cure.nitrite_ppm(*arguments)


@pytest.mark.parametrize("target", [-1.0, 0.000156, 156e3, math.nan])
def test_senseless_target_is_refused(target):
    with pytest.raises(ProcessError, match=r"[Tt]arget"):
        cure.cure_g(target, 0.0625, 5000.0)


def test_the_refusal_says_what_was_probably_meant():
    with pytest.raises(ProcessError, match=r"6\.25 % is 0\.0625"):
        cure.nitrite_ppm(11.3, 6.25, 4536.0)
    with pytest.raises(ProcessError, match=r"0\.6 % is 0\.006"):
        cure.nitrite_ppm(11.3, 0.6, 4536.0)


@pytest.mark.parametrize(
    ("additive_g", "meat_g", "said"),
    [(-1.0, 5000.0, "Additive"), (1.0, 0.0, "Meat"), (1.0, -5.0, "Meat"), (math.nan, 5000.0, "Additive")],
)
def test_senseless_additive_is_refused(additive_g, meat_g, said):
    with pytest.raises(ProcessError, match=said):
        additives.additive_ppm(additive_g, meat_g)


def test_a_negative_figure_keeps_no_ceiling():
    with pytest.raises(ProcessError, match="Erythorbate"):
        additives.checked_ppm("erythorbate", -1.0)


def test_no_nitrite_needs_no_cure():
    assert cure.cure_g(0.0, 0.0625, 5000.0) == 0.0


def test_the_batch_in_place_of_the_meat_would_show_less_than_the_meat_gets():
    right = cure.nitrite_ppm(0.4 * GRAMS["oz"], 0.0625, TEN_LB_G)
    wrong = cure.nitrite_ppm(0.4 * GRAMS["oz"], 0.0625, 11.3 * GRAMS["lb"])
    assert right - wrong == pytest.approx(156.25 - 138.27, abs=0.006)
    with pytest.raises(ProcessError, match="wrong way round"):
        cure.dose(156.0, 0.0625, 11.3 * GRAMS["lb"], 0.1, batch_g=TEN_LB_G)
    assert cure.dose(156.0, 0.0625, TEN_LB_G, 0.1, batch_g=11.3 * GRAMS["lb"]).notices == ()


def test_the_dose_is_rounded_down_to_the_scale():
    # 5 kg at 150 ppm: 12.0 g; at 156 ppm: 12.48 g
    assert cure.dose(150.0, 0.0625, 5000.0, 0.1).cure_g == pytest.approx(12.0)  # 12.0 / 0.1 is 119.99.. in binary
    dose = cure.dose(156.0, 0.0625, 5000.0, 0.1)
    assert dose.cure_g == pytest.approx(12.4)
    assert dose.unrounded_g == pytest.approx(12.48)
    assert dose.nitrite_ppm == pytest.approx(155.0)
    assert dose.salt_g == pytest.approx(12.4 * 0.9375)
    assert dose.notices == ()


def test_a_one_gram_scale_is_warned_of():
    dose = cure.dose(156.0, 0.0625, TEN_LB_G, 1.0)
    assert dose.cure_g == 11.0  # of 11.32
    (notice,) = dose.notices
    assert notice.code == "coarse-scale"
    assert "14 ppm" in notice.text


def test_a_coarse_step_in_little_meat_is_warned_of():
    assert [n.code for n in cure.dose(156.0, 0.0625, 1000.0, 0.1).notices] == ["coarse-scale"]  # 6.25 ppm a step
    assert cure.dose(156.0, 0.0625, 2000.0, 0.1).notices == ()


def test_a_batch_of_nothing_but_meat_is_a_batch():
    assert cure.dose(156.0, 0.0625, 5000.0, 0.1, batch_g=5000.0).cure_g == pytest.approx(12.4)


@pytest.mark.parametrize(
    ("step_g", "meat_g", "is_coarse"),
    [(1.0, 40_000.0, True), (0.99, 40_000.0, False), (0.1, 1250.0, True), (0.1, 1251.0, False)],  # 0.1 g in 1250: 5 ppm
)
def test_a_scale_is_coarse_from_a_gram_or_from_five_ppm_a_step(step_g, meat_g, is_coarse):
    assert [n.code for n in cure.dose(150.0, 0.0625, meat_g, step_g).notices] == (["coarse-scale"] if is_coarse else [])


@pytest.mark.parametrize(
    ("target", "codes"), [(120.0, []), (119.9, ["below-120"]), (40.0, ["below-120"]), (39.0, ["below-40"])]
)
def test_little_nitrite_is_warned_of(target, codes):
    assert [n.code for n in cure.dose(target, 0.0625, 10_000.0, 0.001).notices] == codes


def test_over_the_ceiling_is_refused_with_the_nearest_possible():
    assert cure.dose(156.25, 0.0625, TEN_LB_G, 0.01).nitrite_ppm <= 156.25
    with pytest.raises(ProcessError, match=r"156\.26 ppm.*use 156\.25 ppm or less"):
        cure.dose(156.26, 0.0625, TEN_LB_G, 0.01)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((156.0, 0.0625, 4.5, 0.1), "typed for grams"),
        ((156.0, 0.0625, 500_001.0, 0.1), "typed for grams"),
        ((156.0, 0.201, 5000.0, 0.1), "label"),
        ((156.0, 6.25, 5000.0, 0.1), "percent typed"),
        ((156.0, 0.0625, 5000.0, 0.0), "Scale step"),
        ((156.0, 0.0625, 5000.0, 20.0), "less than one step"),
        ((0.0, 0.0625, 5000.0, 0.1), "Target"),
    ],
)
def test_a_dose_that_makes_no_sense_is_refused(arguments, said):
    with pytest.raises(ProcessError, match=said):
        cure.dose(*arguments)


@settings(deadline=None)
@given(st.floats(1.0, 156.25), FRACTIONS, MEATS)
def test_cure_and_ppm_are_each_others_inverse(target, fraction, meat_g):
    assert cure.nitrite_ppm(cure.cure_g(target, fraction, meat_g), fraction, meat_g) == pytest.approx(target)


@settings(deadline=None)
@given(st.floats(0.0, 100.0), FRACTIONS, MEATS, st.floats(0.1, 100.0))
def test_ppm_does_not_change_with_the_size_of_the_batch(cure_g, fraction, meat_g, scale):
    assert cure.nitrite_ppm(scale * cure_g, fraction, scale * meat_g) == pytest.approx(
        cure.nitrite_ppm(cure_g, fraction, meat_g)
    )


@settings(deadline=None)
@given(st.floats(20.0, 156.25), FRACTIONS, MEATS, st.sampled_from([0.01, 0.1, 0.5, 1.0]))
def test_a_rounded_dose_is_whole_steps_and_less_than_one_step_short(target, fraction, meat_g, step_g):
    unrounded = cure.cure_g(target, fraction, meat_g)
    if unrounded < step_g:
        with pytest.raises(ProcessError, match="less than one step"):
            cure.dose(target, fraction, meat_g, step_g)
        return
    dose = cure.dose(target, fraction, meat_g, step_g)
    assert dose.cure_g <= unrounded < dose.cure_g + step_g * (1.0 + 1e-6)
    assert dose.cure_g / step_g == pytest.approx(round(dose.cure_g / step_g), abs=1e-6)
    assert dose.nitrite_ppm <= target * (1 + 1e-12)
    assert dose.salt_g + dose.nitrite_ppm * meat_g / 1e6 == pytest.approx(dose.cure_g)  # mass balance


def test_the_cures_salt_is_counted():
    brought = salt.salt_g(0.0, 0.4 * GRAMS["oz"], 0.0625)
    assert 100.0 * brought / TEN_LB_G == pytest.approx(0.234, abs=0.0005)  # nitrite_worked_examples: 0.4*0.9375/160
    assert salt.salt_g(50.0, 0.4 * GRAMS["oz"], 0.0625) == pytest.approx(50.0 + brought)


@settings(deadline=None)
@given(st.floats(0.01, 0.05), MEATS, FRACTIONS)
def test_salt_to_add_and_the_cures_make_the_wanted_salt(wanted, base_g, fraction):
    weighed_g = min(cure.cure_g(120.0, fraction, base_g), 0.005 * base_g)
    to_add = salt.salt_to_add_g(wanted, base_g, weighed_g, fraction)
    assert salt.salt_g(to_add, weighed_g, fraction) == pytest.approx(wanted * base_g)


def test_a_cure_saltier_than_wanted_is_refused_with_the_least_possible():
    with pytest.raises(ProcessError, match=r"least possible is 3\.98%"):
        salt.salt_to_add_g(0.02, 1000.0, 40.0, 0.004)  # 40 g of a 0.4 % curing salt: 39.84 g


@pytest.mark.parametrize(
    ("arguments", "said"),
    [((-1.0, 11.3, 0.0625), "Salt"), ((50.0, -11.3, 0.0625), "Cure"), ((50.0, 11.3, 6.25), "percent typed")],
)
def test_senseless_parts_of_the_salt_are_refused(arguments, said):
    with pytest.raises(ProcessError, match=said):
        salt.salt_g(*arguments)


def test_a_cure_that_brings_just_the_wanted_salt_needs_none():
    assert salt.salt_to_add_g(0.0375, 1000.0, 40.0, 0.0625) == 0.0  # 40 x 0.9375 = 37.5 g
    with pytest.raises(ProcessError, match="cure alone"):
        salt.salt_to_add_g(0.0374, 1000.0, 40.0, 0.0625)


@pytest.mark.parametrize("typed", [2.0, 0.2, 0.1001, -0.01, math.nan])
def test_senseless_salt_is_refused(typed):
    with pytest.raises(ProcessError, match="Salt"):
        salt.salt_to_add_g(typed, 1000.0, 0.0, 0.0625)


@pytest.mark.parametrize("base_g", [0.0, -1000.0, math.nan])
def test_salt_of_nothing_is_refused(base_g):
    with pytest.raises(ProcessError, match="Base of the salt"):
        salt.salt_to_add_g(0.02, base_g, 0.0, 0.0625)
