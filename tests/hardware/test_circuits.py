"""Front ends in ngspice, counts through the kit's own conversion; relay and limit drivers at their worst corners."""

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fiftyover.bench import calibration as cal
from fiftyover_kit.contract import thermistor
from fiftyover_kit.converter import corrected, correction, share_sum
from fiftyover_kit.sense import READS, Probe
from hardware import spice_runs

SETTINGS = Path(__file__).resolve().parents[2] / "hardware" / "settings"
# The probe of the decks (their own coefficients stand in probe.inc, and there the closed inverse, not the kit's code).
PROBE_100K = thermistor.from_coefficients(8.122682e-04, 2.112614e-04, 7.173679e-08)
PROBE_10K = thermistor.from_coefficients(1.125309e-03, 2.347119e-04, 8.566352e-08)
ADS_INPUT_OHM = 6e6
AGREE_KELVIN = 0.02
NOISE_LSB = 1.2  # RP2040, published characterisations: 0.97 to 1.36 of 4096 steps
RAW_GAIN, RAW_OFFSET_LSB = 0.998, -9.0  # an ordinary RP2040's own error, in published sweeps -19..+20 steps
MINUTE_FRAMES = 60


def on_chip(rng, ratio, count):
    """Sums of 64 reads of a 12-bit converter with an error of its own, as MicroPython's read_u16 gives them."""
    ideal = ratio * 4096 * RAW_GAIN + RAW_OFFSET_LSB
    codes = np.clip(np.floor(ideal + rng.normal(0, NOISE_LSB, (count, READS))), 0, 4095).astype(int)
    return (codes << 4 | codes >> 8).sum(axis=1)


def external(rng, volts, supply, count):
    """Sums by the kit's own arithmetic from 16-bit codes of 125 uV; noise of half a step."""
    codes = np.rint(volts / 125e-6 + rng.normal(0, 0.5, count)).astype(int)
    rails = np.rint(supply / 125e-6 + rng.normal(0, 0.5, count)).astype(int)
    return [share_sum(int(code), int(rail), READS) for code, rail in zip(codes, rails, strict=True)]


def shown_degC(curve, series_ohm, sums, converter):
    """A minute's mean of what the kit puts into its frames, four sums in each."""
    channel = SimpleNamespace(input=0, series_ohm=series_ohm, thermistor=curve, calibrated=True)
    probe = Probe(channel)
    gain, offset = correction(**converter.setting)
    shown = []
    for at, total in enumerate(sums):
        probe.sample(at * 250, corrected(int(total), READS, gain, offset))
        if at % 4 == 3:
            shown.append(probe.degC_x100() / 100)
    return sum(shown) / len(shown)


def kit_calibrated(reader, row, series_ohm, known_ohm, input_ohm=float("inf")):
    """The converter's fit from the two known resistors that the deck holds."""
    read = [(ohm, float(np.mean(reader(row, at))) / (READS * 65535)) for ohm, at in zip(known_ohm, (3, 4), strict=True)]
    return cal.fit_converter(read, series_ohm, input_ohm)


def on_chip_off_kelvin(rows):
    rng = np.random.default_rng(7)
    count = 4 * MINUTE_FRAMES

    def reader(row, at):
        return on_chip(rng, row[at] / row[1], count)

    converter = kit_calibrated(reader, rows[len(rows) // 2], 22000.0, (7500.0, 68000.0))
    return {row[0]: shown_degC(PROBE_100K, 22000.0, reader(row, 2), converter) - row[0] for row in rows}


@pytest.mark.parametrize("deck", ["direct_sweep", "mux_sweep"])
def test_kit_agrees_with_the_simulated_front_end_on_the_chips_converter(deck):
    off = on_chip_off_kelvin(spice_runs.sweep(deck))
    assert max(abs(kelvin) for kelvin in off.values()) < AGREE_KELVIN, off


def test_kit_agrees_with_the_simulated_front_end_on_external_converters():
    rng = np.random.default_rng(11)
    rows = spice_runs.sweep("rail_sweep")

    def reader(row, at):
        return external(rng, row[at], row[1], 4 * MINUTE_FRAMES)

    converter = kit_calibrated(reader, rows[70], 1e4, (3300.0, 30000.0), ADS_INPUT_OHM)
    curve = thermistor.from_maker(*cal.settings_curve(PROBE_10K, 1e4, input_ohm=ADS_INPUT_OHM))
    off = {row[0]: shown_degC(curve, 1e4, reader(row, 2), converter) - row[0] for row in rows}
    assert max(abs(kelvin) for kelvin in off.values()) < AGREE_KELVIN, off


def test_without_the_two_known_resistors_that_converter_would_not_agree():
    """The comparison above can fail: the same counts, uncorrected."""
    rng = np.random.default_rng(7)
    row = spice_runs.sweep("direct_sweep")[110]
    sums = on_chip(rng, row[2] / row[1], 240)
    assert abs(shown_degC(PROBE_100K, 22000.0, sums, cal.ConverterFit()) - row[0]) > 0.1


def kelvin_between(volts, other):
    """Difference of temperature of two voltages at a divider of 22k under 3.05 V."""
    return abs(
        PROBE_100K.degC(thermistor.ohms_from_ratio(volts / 3.05, 22000.0))
        - PROBE_100K.degC(thermistor.ohms_from_ratio(other / 3.05, 22000.0))
    )


def test_64_reads_in_a_row_do_not_drain_the_reservoir():
    for degC, at_rest, average in spice_runs.rows("direct_burst"):
        assert kelvin_between(at_rest, average) < AGREE_KELVIN, degC


def test_a_neighbours_charge_is_gone_when_the_firmware_reads_the_multiplexer():
    found = spice_runs.rows("mux_switching")
    assert len(found) == 10
    for degC, at_rest, read in found:
        assert kelvin_between(at_rest, read) < AGREE_KELVIN, degC


def test_relay_driver_pulls_in_stays_under_its_voltage_and_lets_go():
    fitted, bare = spice_runs.rows("relay_driver")
    _, coil_A, on_V, peak_V, drop_s, late_A, floating_A = fitted
    assert coil_A == pytest.approx(5 / 27, rel=0.02)  # all of the 5 V is on the coil
    assert on_V < 0.1
    assert peak_V < 7  # 5 V and a diode's drop; the transistor stands 30 V
    assert drop_s - 0.060 < 0.020
    assert late_A < 0.001
    assert floating_A < 0.001  # the pin let go, as in a reset: the pull-down holds it off
    assert bare[3] > 100  # without the diode: that is what it is for


def test_limit_driver_holds_while_pulsed_and_falls_open_stuck_high_or_low():
    found = spice_runs.rows("limit_driver")
    assert {(level, threshold) for level, threshold, *_ in found} == {(a, b) for a in (0, 3.3) for b in (0.6, 1.0, 1.5)}
    for level, threshold, least_V, opened_s, late_V in found:
        where = f"stuck at {level} V, threshold {threshold} V"
        assert least_V > 3.75, where  # a 5 V relay pulls in at three quarters of its voltage (common practice)
        assert opened_s - 3.0 < 3.0, where
        assert late_V < 0.05, where


def test_known_resistors_of_the_mux_settings_are_those_of_its_deck():
    row = spice_runs.sweep("mux_sweep")[70]
    given = json.loads((SETTINGS / "mux.json").read_text("utf-8"))["pins"]["mux_known"]
    assert given[0] == [0, 500]  # two equal resistors
    assert [address for address, _ in given] == [0, 8, 15]
    for (_, per_mille), volts in zip(given[1:], row[3:], strict=True):
        assert per_mille == pytest.approx(1000 * volts / row[1], abs=1.0)
