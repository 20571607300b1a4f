"""The kit's probes as the page keeps them: their kind, and ice and boiling water against it, with a history.

The kit is changed over USB only, so what comes out is a line for the person to put into the kit's settings.json.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.errors import ContractError

from ..bench import calibration, thermistors
from ..broker.address import write_secret
from ..errors import HubError, SettingsError

PROBES_MOST = 31
KEPT_MOST = 200
MOVED_KELVIN = 0.5  # hardware/calibration.md: a probe that moved by more since last time has water in it
SERIES_OHM = 22_000.0  # without a load on the divider the folded curve does not depend on it
M_PER_FT, HPA_PER_INHG = 0.3048, 33.8639  # the first is exact, the second NIST SP 811 (0 °C)
GIVEN = {
    "altitude_m": ("altitude", 1.0, "m"),
    "altitude_ft": ("altitude", M_PER_FT, "ft"),
    "station_hPa": ("station pressure", 1.0, "hPa"),
    "station_inHg": ("station pressure", HPA_PER_INHG, "inHg"),
}
VERDICT = {
    "tolerance": "what its price allows, and is corrected",
    "wrong curve": "more than its price allows: another thermistor than this kind (choose again), or a bath was off",
}


def kinds() -> list[dict[str, str]]:
    """The named thermistors: name, and words for the person."""
    return [{"name": kind.name, "words": words_of(kind)} for kind in thermistors.kinds().values()]


def words_of(kind: thermistors.Kind) -> str:
    """A kind in plain words."""
    k = kind.r25_ohm / 1000.0
    size = f"{k:g} kΩ" if k < 1000 else f"{k / 1000:g} MΩ"
    return f"{size} at 25 °C, {kind.maker} {kind.part.split(',')[0].split(' (')[0].split(';')[0]}"


class Calibrations:
    """What was told of each kit's probes, in one file, the newest last. Any thread may read; one at a time writes."""

    def __init__(self, file: Path, utc_ms: Callable[[], int]) -> None:
        self._file = file
        self._utc_ms = utc_ms

    def of(self, kit: str) -> list[dict[str, Any]]:
        """The entries of a kit, oldest first; none while there is no file or it is damaged."""
        try:
            told = json.loads(self._file.read_text("utf-8")).get(kit, [])
        except (OSError, ValueError, AttributeError):
            return []
        return [one for one in told if isinstance(one, dict) and {"probe", "kind", "utc_ms"} <= set(one)]

    def kind_of(self, kit: str) -> dict[int, str]:
        """Probe number -> its thermistor in plain words."""
        known = thermistors.kinds()
        return {one["probe"]: words_of(known[one["kind"]]) for one in self.of(kit) if one["kind"] in known}

    def take(self, kit: str, data: Mapping[str, Any]) -> tuple[bool, str]:
        """Note a probe's kind, and its calibration if both baths are given; (done, what it says and what to do)."""
        if not kit:
            return False, "No kit was heard yet: switch it on first."
        try:
            entry = self._entry(kit, data)
            self._write(kit, [*self.of(kit), entry][-KEPT_MOST:])
        except HubError as fault:
            text = str(fault)
            return False, text[0].upper() + text[1:]
        return True, entry["says"]

    def _write(self, kit: str, entries: list[dict[str, Any]]) -> None:
        try:
            every = json.loads(self._file.read_text("utf-8"))
        except (OSError, ValueError):
            every = {}
        every = {**every, kit: entries} if isinstance(every, dict) else {kit: entries}
        try:
            write_secret(self._file, json.dumps(every, indent=1, allow_nan=False) + "\n")
        except OSError as fault:
            raise SettingsError(f"The calibration cannot be kept ({fault.strerror}): look at {self._file}.") from None

    def _entry(self, kit: str, data: Mapping[str, Any]) -> dict[str, Any]:
        probe = data.get("probe")
        if type(probe) is not int or not 1 <= probe <= PROBES_MOST:
            raise SettingsError("Say which probe: its number is missing.")
        kind = thermistors.named(str(data.get("kind", "")))
        entry: dict[str, Any] = {"utc_ms": self._utc_ms(), "probe": probe, "kind": kind.name}
        if data.get("ice_degC") is None and data.get("boiling_degC") is None:
            return entry | {"says": f"Noted: probe {probe} is {words_of(kind)}."}
        last = next((one for one in reversed(self.of(kit)) if one["probe"] == probe and "numbers" in one), None)
        return entry | _fitted(probe, kind, data, last)


def _fitted(
    probe: int, kind: thermistors.Kind, data: Mapping[str, Any], last: Mapping[str, Any] | None
) -> dict[str, Any]:
    shown = [_number(data.get("ice_degC"), "the ice water"), _number(data.get("boiling_degC"), "the boiling water")]
    by, boils_degC, bath_kelvin = _boiling(data)
    corrected = data.get("has") == "corrected" and last is not None
    in_kit = thermistor.from_maker(*last["numbers"]) if corrected and last is not None else kind.curve
    try:
        ohms = [in_kit.ohms(degC) for degC in shown]
    except ContractError as fault:
        raise SettingsError(f"These readings cannot be this probe's: {fault}") from None
    baths = [(calibration.ICE_DEGC, ohms[0]), (boils_degC, ohms[1])]
    fit = calibration.fit_probe(kind.curve, baths, calibration.Tolerance(bath_kelvin=bath_kelvin))
    numbers = [float(f"{value:.8g}") for value in calibration.settings_curve(kind.curve, SERIES_OHM, fit)]
    off = [round(degC - true, 2) for degC, (true, _) in zip(shown, baths, strict=True)]
    says = [f"Probe {probe} was off by {off[0]:+.2f} °C in ice and {off[1]:+.2f} °C in boiling water ({by})."]
    good = fit.verdict == "tolerance"
    says.append(f"That is {VERDICT[fit.verdict]}.")
    if last is not None:
        was = thermistor.from_maker(*last["numbers"])
        moved = max((was.degC(ohm) - true for true, ohm in baths), key=abs)
        if abs(moved) > MOVED_KELVIN:
            says.append(f"It moved by {moved:+.1f} °C since last time: it has water in it, throw it away.")
    line = json.dumps({"calibrated": True, "thermistor": {"maker": numbers}}) if good else ""
    if good:
        says.append("Put the line below into the kit's settings, then this probe is no longer “not calibrated”.")
    return {"numbers": numbers, "off_kelvin": off, "verdict": fit.verdict, "by": by, "line": line} | {
        "says": " ".join(says)
    }


def _number(value: object, where: str) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
        raise SettingsError(f"The reading in {where} is missing: both baths are needed, one alone can make it worse.")
    return float(value)


def _boiling(data: Mapping[str, Any]) -> tuple[str, float, float]:
    """How it was told in words, the boiling point [°C], and what such a bath may be off [K]."""
    what, given = str(data.get("given", "")), data.get("value")
    if what not in GIVEN or not isinstance(given, int | float) or isinstance(given, bool):
        raise SettingsError("Say how high you are, or what a barometer shows on the spot: water boils by that.")
    name, factor, unit = GIVEN[what]
    if name == "altitude":
        degC = calibration.boiling_at_altitude_degC(given * factor)
        return f"{name} {given:g} {unit}", degC, calibration.BATH_OFF_BY_ALTITUDE_KELVIN
    return f"{name} {given:g} {unit}", calibration.boiling_at_pressure_degC(given * factor), calibration.BATH_OFF_KELVIN
