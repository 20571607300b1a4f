"""`fiftyover kit calibrate`: the converter by two resistors, the probes by baths; written once, at the end, whole.

A reading that will not do is refused in one sentence, and the same step is asked for again. History is a line a
calibration in a file of the computer, for the board's flash is small.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from math import inf
from pathlib import Path
from typing import Any

from fiftyover_kit.settings import load

from . import calibration as maths
from . import kit_settings
from .readings import Bench, Person
from .thermistors import identify
from .usb import BenchError

CONVERTER_INPUT_OHM = 6e6  # ADS1115, common mode at +-4.096 V (TI document SBAS444E)
MOVED_KELVIN = 0.5
WARM_DEGC = (50, 65)  # far from both other baths, and water that a tap gives: common practice
_STEADY_RATIO = 0.001
_ENDED = "Calibration was ended: the kit is as it was before."


@dataclass(frozen=True)
class Given:
    """How it is done: the plugs' ohms, and boiling by `station_hPa` or `altitude_m`; `third`: a warm bath as a check;
    `unknown`: three baths, and the probe's curve is its own."""

    plug_ohm: tuple[float, float]
    station_hPa: float | None = None
    altitude_m: float | None = None
    third: bool = False
    unknown: bool = False

    @property
    def boiling(self) -> tuple[float, maths.Tolerance]:
        """(°C, what a bath may be off)."""
        if self.station_hPa is not None:
            return maths.boiling_at_pressure_degC(self.station_hPa), maths.Tolerance()
        if self.altitude_m is None:
            raise BenchError("Boiling water needs --station-hpa (better) or --altitude-m.")
        tolerance = maths.Tolerance(bath_kelvin=maths.BATH_OFF_BY_ALTITUDE_KELVIN)
        return maths.boiling_at_altitude_degC(self.altitude_m), tolerance


def input_ohm(settings: dict[str, Any]) -> float:
    """Input resistance of the kit's converter, where it counts."""
    return CONVERTER_INPUT_OHM if settings["pins"].get("adc16") else inf


def fit_converter(bench: Bench, person: Person, given: Given, into_ohm: float) -> maths.ConverterFit:
    """Both plugs in turn in socket 1; asked again until they are what they say."""
    series = bench.settings.channels[0].series_ohm
    while True:
        known = []
        for name, ohm in zip(("X1", "X2"), given.plug_ohm, strict=True):
            _go_on(person, f"Plug {name} ({ohm:g} ohm) into J1, then press Enter.")
            known.append((ohm, bench.ratios()[0]))
        try:
            return maths.fit_converter(known, series, into_ohm)
        except maths.CalibrationError as error:
            person.say(str(error))


def bath(bench: Bench, person: Person, words: str, fit: maths.ConverterFit, into_ohm: float) -> list[float]:
    """Ohms of every probe in a bath; asked again while one is unplugged or still moving."""
    while True:
        _go_on(person, f"All probes in {words}; when it is time, press Enter.")
        first, second = bench.ratios(), bench.ratios()
        try:
            ohms = []
            for number, (before, ratio) in enumerate(zip(first, second, strict=True)):
                if abs(before - ratio) > _STEADY_RATIO:
                    raise BenchError(f"Probe {number + 1} still moves: stir, wait a minute, and repeat.")
                try:
                    ohms.append(maths.ohm_behind(ratio, bench.settings.channels[number].series_ohm, fit, into_ohm))
                    if not 0.005 < ratio < 0.995:
                        raise maths.CalibrationError("It is unplugged or shorted; plug it in and repeat.")
                except maths.CalibrationError as error:
                    raise BenchError(f"Probe {number + 1}: {error}") from error
        except BenchError as error:
            person.say(str(error))
            continue
        return ohms


def _warm_water_degC(person: Person) -> float:
    """What the thermometer says; asked again until it is a number between the other baths."""
    span = f"{WARM_DEGC[0]} to {WARM_DEGC[1]} °C"
    while True:
        said = person.ask(f"Warm water, {span}, beside the thermometer TL5: its °C? (q ends) ").strip()
        if said.lower() == "q":
            raise BenchError(_ENDED)
        try:
            degC = float(said.replace(",", "."))
        except ValueError:
            degC = inf
        if WARM_DEGC[0] <= degC <= WARM_DEGC[1]:
            return degC
        person.say(f"{said!r} is no temperature of {span}: read TL5 again.")


def _go_on(person: Person, words: str) -> None:
    if person.ask(words + " (q ends) ").strip().lower() == "q":
        raise BenchError(_ENDED)


def calibrate(
    bench: Bench, person: Person, settings: dict[str, Any], given: Given, history: Path
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The settings with the calibration in them, and the line for `remember` once they are on the board.

    `bench` reads without any correction; `history` is read only. HubError: nothing was changed.
    """
    into_ohm = input_ohm(settings)
    boiling_degC, tolerance = given.boiling
    past = _last(history)
    bases = past["bases"] if past and len(past["bases"]) == len(settings["channels"]) else None
    bases = bases or [channel["thermistor"] for channel in settings["channels"]]
    fit = fit_converter(bench, person, given, into_ohm)
    baths = [(maths.ICE_DEGC, bath(bench, person, "ice, 5 min", fit, into_ohm))]
    if given.third or given.unknown:
        middle_degC = _warm_water_degC(person)
        baths.append((middle_degC, bath(bench, person, "the warm water", fit, into_ohm)))
    baths.append((boiling_degC, bath(bench, person, f"boiling water ({boiling_degC:.2f} °C), 3 min", fit, into_ohm)))
    made = {**settings, "converter": fit.setting, "channels": []}
    offs = []
    for number, channel in enumerate(settings["channels"]):
        rows = [(degC, ohms[number]) for degC, ohms in baths]
        if given.unknown:
            found = identify(rows)
            bases[number] = found.setting
            person.say(f"Probe {number + 1}: {found.sentence}")
        curve = _curve(settings, number, bases[number])
        probe = maths.fit_probe(curve, rows, tolerance)
        if probe.verdict == "wrong curve":
            raise BenchError(
                f"Probe {number + 1} is another thermistor than the settings say (off by "
                f"{max(probe.off_kelvin, key=abs):+.1f} K): choose its kind in setup, or calibrate with --unknown."
            )
        numbers = maths.settings_curve(curve, channel["series_ohm"], probe, into_ohm)
        made["channels"].append({**channel, "calibrated": True, "thermistor": {"maker": numbers}})
        offs.append([round(one, 3) for one in probe.off_kelvin])
        said = ", ".join(f"{one:+.2f}" for one in probe.off_kelvin)
        person.say(f"Probe {number + 1}: {probe.verdict}; was off by {said} K; corrected.")
    _moved(person, past, offs)
    kit_settings.checked(made)
    entry = {"at": datetime.now(UTC).isoformat(timespec="seconds"), "bases": bases, "off_kelvin": offs}
    return made, {**entry, "converter": fit.setting, "baths": baths}


def remember(history: Path, entry: dict[str, Any]) -> None:
    """Put a calibration's line into its file."""
    history.parent.mkdir(parents=True, exist_ok=True)
    with history.open("a", encoding="utf-8") as file:
        file.write(json.dumps(entry) + "\n")


def _curve(settings: dict[str, Any], number: int, base: dict[str, Any]) -> Any:
    channels = [dict(one) for one in settings["channels"]]
    channels[number]["thermistor"] = base
    loaded: Any = load(json.dumps({**settings, "channels": channels}))  # type: ignore[no-untyped-call]
    return loaded.channels[number].thermistor


def _last(history: Path) -> dict[str, Any] | None:
    """The last whole line; one cut short by a power cut is passed over."""
    if not history.is_file():
        return None
    for text in reversed(history.read_text("utf-8").splitlines()):
        try:
            return dict(json.loads(text))
        except ValueError:
            continue
    return None


def _moved(person: Person, past: dict[str, Any] | None, offs: list[list[float]]) -> None:
    if not past or len(past["off_kelvin"]) != len(offs):
        return
    for number, (before, now) in enumerate(zip(past["off_kelvin"], offs, strict=True)):
        if any(abs(a - b) > MOVED_KELVIN for a, b in zip((before[0], before[-1]), (now[0], now[-1]), strict=True)):
            person.say(
                f"Probe {number + 1} moved by more than {MOVED_KELVIN} K since last time: water in it? Replace it."
            )
