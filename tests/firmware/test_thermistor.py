"""Thermistors against makers' published tables, and the known mistakes, each of which those tables catch."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contract import run_vectors
from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.thermistor import Curve, from_beta, from_coefficients, from_maker, from_points

TABLES = Path(__file__).resolve().parents[1] / "references" / "thermistors"
INDEX = run_vectors.rows_of(str(TABLES / "index.csv"))
MAKERS = {row[0]: [float(word) for word in row[1:]] for row in run_vectors.rows_of(str(TABLES / "makers.csv"))}
PUBLISHED = [row for row in INDEX if row[1] in "AB"]
EPCOS, AMPHENOL, AT, GT, WF = (
    "epcos_B57861S0103_rt8016.csv",
    "amphenol_thermometrics_material1.csv",
    "semitec_103AT.csv",
    "semitec_104GT-2.csv",
    "murata_NCP15WF104.csv",
)
VISHAY = "vishay_NTCLE100E3103_computed.csv"


def table(name: str) -> list[tuple[float, float]]:
    leave_out = next(row[3] for row in INDEX if row[0] == name)
    return run_vectors.table_of(str(TABLES), name, leave_out)


def curve_of(name: str) -> Curve:
    return from_points(run_vectors.through_0_50_100(table(name)))


def every_curve() -> list[Curve]:
    curves = [curve_of(row[0]) for row in INDEX] + [from_maker(*numbers) for numbers in MAKERS.values()]
    return [*curves, from_beta(10000, 3977), from_coefficients(8.122682e-04, 2.112614e-04, 7.173679e-08)]


@pytest.mark.parametrize("row", PUBLISHED, ids=[row[0] for row in PUBLISHED])
def test_steinhart_hart_through_0_50_100_is_within_0_10_of_every_published_row(row) -> None:
    rows = table(row[0])
    assert len([degC for degC, _ in rows if 0 <= degC <= 120]) >= 12
    assert run_vectors.worst_kelvin(curve_of(row[0]), rows) <= 0.10


@pytest.mark.parametrize("name", [EPCOS, GT, AT, WF])
def test_the_recommended_probes_are_within_0_05(name) -> None:
    assert run_vectors.worst_kelvin(curve_of(name), table(name)) <= 0.05


@pytest.mark.parametrize("name", MAKERS)
def test_makers_own_coefficients_are_within_0_05_of_their_table(name) -> None:
    assert run_vectors.worst_kelvin(from_maker(*MAKERS[name]), table(name)) <= 0.05


def test_the_doubtful_row_of_503GT_is_a_slip_and_left_out() -> None:
    """Its 130 °C row breaks the smoothness of the neighbours: not a fault of ours, so not a check value."""
    name = "semitec_503GT-2.csv"
    slip = [row for row in run_vectors.table_of(str(TABLES), name) if row not in table(name)]
    assert [degC for degC, _ in slip] == [130]
    assert run_vectors.worst_kelvin(curve_of(name), slip, 130, 130) > 0.3
    assert run_vectors.worst_kelvin(curve_of(name), table(name), 0, 140) < 0.2


# Example coefficients computed from the tables by another program (thermistor notes, section 2).
@pytest.mark.parametrize(
    ("name", "abc"),
    [(GT, (8.122682e-04, 2.112614e-04, 7.173679e-08)), (EPCOS, (1.125309e-03, 2.347119e-04, 8.566352e-08))],
)
def test_points_and_their_known_coefficients_give_one_curve(name, abc) -> None:
    ours, known = curve_of(name), from_coefficients(*abc)
    assert max(abs(ours.degC(ohms) - known.degC(ohms)) for _, ohms in table(name)) < 1e-3


def test_beta_is_as_far_off_as_the_notes_say_and_no_further() -> None:
    """Notes, section 2: Amphenol with R25 and B25/85: 0.99 °C over 0..120; with B25/50 in its place 1.31 at 100."""
    assert run_vectors.worst_kelvin(from_beta(10000, 3977), table(AMPHENOL)) == pytest.approx(0.99, abs=0.02)
    at_100 = run_vectors.worst_kelvin(from_beta(10000, 3937), table(AMPHENOL), 100, 100)
    assert at_100 == pytest.approx(1.31, abs=0.03)


@pytest.mark.parametrize("curve", every_curve())
def test_ohms_and_degC_undo_each_other_from_minus_20_to_150(curve) -> None:
    for step in range(-200, 1501, 7):
        assert curve.degC(curve.ohms(step / 10)) == pytest.approx(step / 10, abs=1e-6)


@pytest.mark.parametrize("curve", every_curve())
def test_ohms_fall_all_the_way(curve) -> None:
    ohms = [curve.ohms(degC) for degC in range(-20, 151)]
    assert all(colder > hotter for colder, hotter in zip(ohms, ohms[1:], strict=False))


@given(st.floats(1500, 8000), st.floats(100, 1e7), st.floats(-20, 150))
def test_round_trip_of_any_plausible_beta(beta_kelvin, r25_ohm, degC) -> None:
    curve = from_beta(r25_ohm, beta_kelvin)
    assert curve.ohms(25) == pytest.approx(r25_ohm)
    assert curve.degC(curve.ohms(degC)) == pytest.approx(degC, abs=1e-6)


@given(st.lists(st.tuples(st.floats(), st.floats()), max_size=4) | st.lists(st.floats(0, 1e6)) | st.none())
def test_any_points_make_a_falling_curve_or_are_refused(points) -> None:
    try:
        curve = from_points(points)
    except ContractError:
        return
    assert curve.ohms(-10) > curve.ohms(25) > curve.ohms(150)


@given(
    st.sampled_from([lambda x, _: x, lambda x, k: -x, lambda x, k: x * 10.0**k, lambda x, _: 0.0]),
    st.integers(-4, 4),
    st.integers(0, 4),
    st.floats(0.2, 5),
)
def test_any_mangled_coefficients_make_a_falling_curve_or_are_refused(mangle, power, which, factor) -> None:
    numbers = [10000, 3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8]
    numbers[which] = mangle(numbers[which], power) * factor
    for make, some in ((from_maker, numbers), (from_coefficients, numbers[1:4])):
        try:
            curve = make(*some)
        except ContractError:
            continue
        ohms = [curve.ohms(degC) for degC in range(-10, 151, 5)]
        assert all(colder > hotter for colder, hotter in zip(ohms, ohms[1:], strict=False))


@given(st.floats() | st.floats(1e-3, 1e9), st.sampled_from([EPCOS, VISHAY]))
def test_any_ohms_give_a_temperature_or_a_refusal(ohms, name) -> None:
    curve = from_maker(*MAKERS[name]) if name in MAKERS else curve_of(name)
    try:
        assert curve.degC(ohms) > -273.15
    except ContractError:
        assert not 1 <= ohms <= 1e7


def test_the_smallest_resistance_a_float_can_hold_is_refused_by_name() -> None:
    for curve in every_curve():
        with pytest.raises(ContractError, match="beyond the curve"):
            curve.degC(5e-324)


# -- the mistakes of the thermistor notes, section 1: the published rows catch each of them


def test_273_in_place_of_273_15_is_caught(monkeypatch) -> None:
    monkeypatch.setattr(thermistor, "ZERO_DEGC_KELVIN", 273.0)
    assert run_vectors.worst_kelvin(from_maker(*MAKERS[VISHAY]), table(VISHAY)) == pytest.approx(0.15, abs=0.02)
    assert run_vectors.worst_kelvin(from_maker(*MAKERS[AMPHENOL]), table(AMPHENOL)) > 0.05


@pytest.mark.parametrize(("degC", "off_kelvin"), [(0, 0.25), (60, 0.51), (100, 2.4)])
def test_C1_typed_a_power_too_small_is_caught(degC, off_kelvin) -> None:
    r25, a1, b1, c1, d1 = MAKERS[VISHAY]
    wrong = from_maker(r25, a1, b1, c1 / 10, d1)
    assert run_vectors.worst_kelvin(wrong, table(VISHAY), degC, degC) == pytest.approx(off_kelvin, abs=0.05)


@pytest.mark.parametrize(("degC", "off_kelvin"), [(60, 0.02), (100, 0.17)])
def test_D1_dropped_is_caught(degC, off_kelvin) -> None:
    wrong = from_maker(*MAKERS[VISHAY][:4], 0.0)
    assert run_vectors.worst_kelvin(wrong, table(VISHAY), degC, degC) == pytest.approx(off_kelvin, abs=0.01)
    assert run_vectors.worst_kelvin(wrong, table(VISHAY)) > 0.05


def test_the_forms_in_ln_R_and_in_ln_R_over_R25_are_not_mixed_up() -> None:
    r25, a1, b1, _, d1 = MAKERS[VISHAY]
    with pytest.raises(ContractError, match="mixed up"):
        from_coefficients(a1, b1, d1)
    with pytest.raises(ContractError, match="instead of"):
        from_maker(r25, 1.125309e-03, 2.347119e-04, 0.0, 8.566352e-08)


def test_a_curve_read_without_dividing_by_R25_is_caught(monkeypatch) -> None:
    curve = from_maker(*MAKERS[VISHAY])
    monkeypatch.setattr(curve, "_ref_ohm", 1.0)
    assert run_vectors.worst_kelvin(curve, table(VISHAY)) > 50


def test_log10_in_place_of_the_natural_log_is_caught(monkeypatch) -> None:
    from math import log10

    curve = from_maker(*MAKERS[VISHAY])
    monkeypatch.setattr(thermistor, "log", log10)
    assert run_vectors.worst_kelvin(curve, table(VISHAY)) > 10


def test_the_square_term_given_for_the_cubic_is_caught() -> None:
    a, b, _ = 1.125309e-03, 2.347119e-04, 8.566352e-08
    assert run_vectors.worst_kelvin(from_coefficients(a, b, 0.0), table(EPCOS)) > 1


def test_material_2990_for_3990_is_caught() -> None:
    """Digits of the material number swapped: a 3977-class table read with a beta of 2990."""
    assert run_vectors.worst_kelvin(from_beta(10000, 2990), table(AMPHENOL)) > 10
    assert run_vectors.worst_kelvin(from_beta(10000, 3990), table(AMPHENOL)) < 2


@pytest.mark.parametrize(("degC", "high_kelvin"), [(60, 6.3), (100, 14.5)])
def test_the_curve_of_another_probe_reads_as_hot_as_the_notes_say(degC, high_kelvin) -> None:
    """103AT's curve on a 3977-class probe: the meat is colder than shown (thermistor notes, section 2)."""
    ohms = dict(table(EPCOS))[degC]
    assert curve_of(AT).degC(ohms) - degC == pytest.approx(high_kelvin, abs=0.1)


@pytest.mark.parametrize(("name", "at_60_kelvin", "at_100_kelvin"), [(WF, -0.3, -1.0)])
def test_the_curve_of_a_near_relation_reads_as_far_off_as_the_notes_say(name, at_60_kelvin, at_100_kelvin) -> None:
    rows = dict(table(GT))
    assert curve_of(name).degC(rows[60]) - 60 == pytest.approx(at_60_kelvin, abs=0.06)
    assert curve_of(name).degC(rows[100]) - 100 == pytest.approx(at_100_kelvin, abs=0.06)


# -- the divider


def test_a_hotter_probe_gives_fewer_counts() -> None:
    curve = curve_of(GT)
    counts = [thermistor.counts_from_degC(curve, degC, 22000, 64) for degC in range(-20, 151, 10)]
    assert counts == sorted(counts, reverse=True)
    assert len(set(counts)) == len(counts)


@pytest.mark.parametrize(("degC", "kelvin_per_lsb"), [(0, 0.081), (20, 0.040), (60, 0.025), (100, 0.048), (120, 0.080)])
def test_a_12_bit_step_is_worth_what_the_error_budget_says(degC, kelvin_per_lsb) -> None:
    """100 k thermistor (104GT-2) below 22 k: °C per 12-bit LSB, thermistor notes, section 3."""
    curve = curve_of(GT)
    ratio = thermistor.ratio_from_ohms(curve.ohms(degC), 22000)
    stepped = curve.degC(thermistor.ohms_from_ratio(ratio - 1 / 4096, 22000))
    assert stepped - degC == pytest.approx(kelvin_per_lsb, rel=0.06)


def test_counts_and_back_lose_less_than_a_thousandth_of_a_degree_with_64_reads() -> None:
    curve = curve_of(GT)
    for degC in range(0, 121, 5):
        counts = thermistor.counts_from_degC(curve, degC, 22000, 64)
        ohms = thermistor.ohms_from_ratio(thermistor.ratio_from_counts(counts, 64), 22000)
        assert curve.degC(ohms) == pytest.approx(degC, abs=1e-3)


@pytest.mark.parametrize(("degC", "word"), [(-20.5, "range"), (-19.5, "ok"), (149.5, "ok"), (150.5, "range")])
def test_status_word_at_the_ends_of_the_range(degC, word) -> None:
    curve = curve_of(GT)
    ratio = thermistor.ratio_from_ohms(curve.ohms(degC), 22000)
    assert thermistor.status(curve, ratio, 22000) == word


def test_impossible_divider_values_are_refused() -> None:
    curve = curve_of(GT)
    for call, arguments in (
        (thermistor.ratio_from_ohms, (0, 22000)),
        (thermistor.ratio_from_ohms, (1000, -1)),
        (thermistor.ohms_from_ratio, (0, 22000)),
        (thermistor.ohms_from_ratio, (1, 22000)),
        (thermistor.ohms_from_ratio, (float("nan"), 22000)),
        (thermistor.ohms_from_ratio, (0.5, 0)),
        (thermistor.ratio_from_counts, (-1,)),
        (thermistor.ratio_from_counts, (65536,)),
        (thermistor.ratio_from_counts, (1, 0)),
        (thermistor.counts_from_ratio, (1.01,)),
        (thermistor.counts_from_ratio, (float("nan"),)),
        (thermistor.status, (curve, 0.5, 0)),
    ):
        with pytest.raises(ContractError, match="divider"):
            call(*arguments)
