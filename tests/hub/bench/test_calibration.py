"""Calibration maths: baths against IAPWS, corrections against makers' tables, and each refusal."""

import csv
from math import exp, inf, log
from pathlib import Path

import pytest
from iapws import IAPWS97
from iapws._iapws import _Melting_Pressure
from scipy.optimize import bisect

from fiftyover.bench import calibration as cal
from fiftyover.bench.calibration import CalibrationError, ConverterFit
from fiftyover.bench.thermistors import named
from fiftyover_kit.contract import thermistor
from firmware.test_thermistor import table

ALTITUDES = Path(__file__).resolve().parents[2] / "references" / "calibration" / "boiling_point_vs_altitude.csv"
SERIES_OHM = 22000.0
KNOWN_OHM = (7500.0, 68000.0)
GT = "semitec-104gt2-100k"


def altitude_rows():
    lines = [line for line in ALTITUDES.read_text("utf-8").splitlines() if not line.startswith("#")]
    return [(float(r["altitude_m"]), float(r["pressure_hpa"]), float(r["boil_c"])) for r in csv.DictReader(lines)]


@pytest.mark.parametrize("row", altitude_rows(), ids=lambda row: f"{row[0]:.0f}m")
def test_boiling_point_is_the_published_one_at_each_altitude(row):
    altitude_m, pressure_hPa, boil_degC = row
    assert cal.boiling_at_altitude_degC(altitude_m) == pytest.approx(boil_degC, abs=0.006)
    assert cal.boiling_at_pressure_degC(pressure_hPa) == pytest.approx(boil_degC, abs=0.006)


@pytest.mark.parametrize("hPa", [650, 700, 850, 980, 1000, 1013.25, 1040, 1060])
def test_boiling_point_at_a_station_pressure_is_that_of_iapws(hPa):
    assert cal.boiling_at_pressure_degC(hPa) == pytest.approx(IAPWS97(P=hPa / 1e4, x=0).T - 273.15, abs=5e-4)


def test_ice_bath_is_where_iapws_has_ice_melt_at_one_atmosphere():
    melts_kelvin = bisect(lambda kelvin: _Melting_Pressure(kelvin) - 0.101325, 273.0, 273.16)
    assert melts_kelvin - 273.15 == pytest.approx(cal.ICE_DEGC, abs=0.005)


@pytest.mark.parametrize(
    "call", [lambda: cal.boiling_at_altitude_degC(5000), lambda: cal.boiling_at_pressure_degC(29.9)]
)
def test_impossible_altitude_or_a_pressure_in_inches_is_refused(call):
    with pytest.raises(CalibrationError, match="pressure"):
        call()


def read(ohm, gain, offset, series=SERIES_OHM):
    """What a converter with an error of its own says: worked from the divider's law, not by the code under test."""
    return ohm / (ohm + series) * gain + offset


def test_two_known_resistors_undo_the_converters_offset_and_gain():
    known = [(ohm, read(ohm, 1.004, -0.003)) for ohm in KNOWN_OHM]
    fit = cal.fit_converter(known, SERIES_OHM)
    for ohm in (2000.0, 22510.0, 353700.0):
        assert cal.ohm_behind(read(ohm, 1.004, -0.003), SERIES_OHM, fit) == pytest.approx(ohm, rel=1e-9)


def test_the_converters_own_input_is_taken_out():
    """10 k behind 10 k into 6 megohm: 10k || 6M = 9983.36 ohm, worked by hand."""
    ratio = 9983.36106 / 19983.36106
    assert cal.known_ratio(1e4, 1e4, 6e6) == pytest.approx(ratio, rel=1e-8)
    assert cal.ohm_behind(ratio, 1e4, ConverterFit(), 6e6) == pytest.approx(1e4, rel=1e-6)


@pytest.mark.parametrize("wrong_ohm", [6800.0, 8200.0, 75000.0])
def test_a_resistor_that_is_not_the_stated_one_is_named_with_what_it_reads_as(wrong_ohm):
    known = [(7500.0, read(wrong_ohm, 1.001, 0.001)), (68000.0, read(68000.0, 1.001, 0.001))]
    with pytest.raises(CalibrationError, match=r"should be 7500 ohm reads as \d+ ohm"):
        cal.fit_converter(known, SERIES_OHM)


def test_known_resistors_too_close_missing_or_unplugged_are_refused():
    with pytest.raises(CalibrationError, match="too close"):
        cal.fit_converter([(ohm, read(ohm, 1, 0)) for ohm in (20000.0, 30000.0)], SERIES_OHM)
    with pytest.raises(CalibrationError, match="do both"):
        cal.fit_converter([(7500.0, 0.25)], SERIES_OHM)
    with pytest.raises(CalibrationError, match="plugged in"):
        cal.fit_converter([(7500.0, 0.25), (68000.0, 1.0)], SERIES_OHM)


def test_a_probe_unplugged_in_the_middle_is_a_sentence():
    with pytest.raises(CalibrationError, match="unplugged or shorted"):
        cal.ohm_behind(1.0, SERIES_OHM, ConverterFit())


def off_part(degC, ohm, r25_share, beta_share):
    """A part of the maker's table with R25 and beta off: R * (1 + r25) * exp(beta share * B (1/T - 1/T25))."""
    return ohm * (1 + r25_share) * exp(beta_share * 4267 * (1 / (degC + 273.15) - 1 / 298.15))


@pytest.mark.parametrize(("r25", "beta"), [(0.01, 0.01), (-0.01, 0.01), (0.01, -0.01)])
def test_ice_and_boiling_bring_a_1_percent_probe_to_its_makers_table(r25, beta):
    rows = table("semitec_104GT-2.csv")
    there = {degC: off_part(degC, ohm, r25, beta) for degC, ohm in rows}
    curve = named(GT).curve
    before = max(abs(curve.degC(there[t]) - t) for t in there if 20 <= t <= 100)
    fit = cal.fit_probe(curve, [(0.0, there[0.0]), (100.0, there[100.0])])
    bent = thermistor.from_maker(*cal.settings_curve(curve, SERIES_OHM, fit))
    after = max(abs(bent.degC(there[t]) - t) for t in there if 0 <= t <= 120)
    assert fit.verdict == "tolerance"
    assert before > 0.5
    assert after < 0.06


def test_the_two_settings_undo_converter_probe_and_input_together():
    """Ohms of a maker's table through a converter with errors, into 6 megohm: as the kit does it, then the curve."""
    rows = {t: ohm for t, ohm in table("epcos_B57861S0103_rt8016.csv") if -10 <= t <= 130}
    gain, offset, series, input_ohm = 0.997, 0.002, 1e4, 6e6

    def seen(ohm, gain_ppm=0, offset_ppm=0):
        ratio = ratio_of(ohm) * (1 + gain_ppm / 1e6) + offset_ppm / 1e6
        return series * ratio / (1 - ratio)

    def ratio_of(ohm):
        return read(1 / (1 / ohm + 1 / input_ohm), gain, offset, series)

    converter = cal.fit_converter([(ohm, ratio_of(ohm)) for ohm in (3300.0, 30000.0)], series, input_ohm)
    baths = [(t, cal.ohm_behind(ratio_of(rows[t]), series, converter, input_ohm)) for t in (0.0, 100.0)]
    curve = named("epcos-8016-10k").curve
    fit = cal.fit_probe(curve, baths)
    bent = thermistor.from_maker(*cal.settings_curve(curve, series, fit, input_ohm))
    plain = max(abs(curve.degC(seen(ohm)) - t) for t, ohm in rows.items())
    assert plain > 0.3
    assert max(abs(bent.degC(seen(ohm, **converter.setting)) - t) for t, ohm in rows.items()) < 0.06


@pytest.mark.parametrize(
    ("chosen", "real"),
    [("semitec-103at-10k", "epcos_B57861S0103_rt8016.csv"), ("epcos-8016-10k", "semitec_103AT.csv")],
)
def test_a_wrong_curve_is_told_from_a_tolerance(chosen, real):
    there = dict(table(real))
    fit = cal.fit_probe(named(chosen).curve, [(0.0, there[0.0]), (100.0, there[100.0])])
    assert fit.verdict == "wrong curve"
    assert max(abs(off) for off in fit.off_kelvin) > 3


@pytest.mark.parametrize(
    ("baths", "sentence"),
    [
        ([(0.0, 353700)], "2 baths are needed"),
        ([(0.0, 353700), (50.0, 33490)], "K apart"),
        ([(0.0, 353700), (80.0, 10800)], "both sides"),
        ([(25.0, 1e5), (100.0, 5556)], "both sides"),
        ([(0.0, 5556), (100.0, 353700)], "were the baths swapped"),
        ([(0.0, 353700), (60.0, 24000), (100.0, 5556)], "off what the others say"),
    ],
)
def test_baths_that_calibrate_nothing_are_refused_with_a_way_on(baths, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        cal.fit_probe(named(GT).curve, baths)


def test_no_correction_leaves_the_curve_as_it_was():
    curve = named(GT).curve
    same = thermistor.from_maker(*cal.settings_curve(curve, SERIES_OHM, input_ohm=inf))
    assert max(abs(same.degC(exp(x / 10)) - curve.degC(exp(x / 10))) for x in range(int(10 * log(3e3)), 130)) < 0.01
