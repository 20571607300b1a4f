"""Quantities as a person writes them in a recipe, "2 lb 4 oz" or "6.25 %", read into the units of the tool. Pure.

A number without its unit is refused, and so is a measure by volume: the same spoon holds twice as much of one salt
as of another. Temperatures and differences of temperature are read by functions of their own.
"""

import re
from collections.abc import Mapping
from typing import NamedTuple

from fiftyover.errors import ProcessError
from fiftyover_kit.contract.units import (
    degC_from_degF,
    g_from_oz,
    kelvin_from_degF_difference,
    kg_from_lb,
    m_from_inch,
)

_G = {"g": 1.0, "kg": 1000.0, "oz": g_from_oz(1.0), "lb": 1000.0 * kg_from_lb(1.0), "lbs": 1000.0 * kg_from_lb(1.0)}
_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 1000.0 * m_from_inch(1.0), "ft": 12_000.0 * m_from_inch(1.0)}
_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
_VOLUME = ("tsp", "tbsp", "cup", "cups", "ml", "cl", "dl", "l", "pt", "qt", "gal", "floz", "teaspoon", "tablespoon")
_PART = re.compile(r"\s*(-?(?:\d+\s+)?\d+/\d+|-?\d+(?:\.\d+)?|-?\.\d+)\s*(°?[A-Za-z]+|%)?")


class Amount(NamedTuple):
    """How much of something goes in: grams, or a fraction of the meat; the other one is None."""

    weight_g: float | None
    of_meat: float | None

    def g(self, meat_g: float) -> float:
        """Weight [g] for so much meat [g]."""
        return self.weight_g if self.weight_g is not None else (self.of_meat or 0.0) * meat_g


def mass_g(text: object) -> float:
    """Grams of "10 lb", "2 lb 4 oz", "1/4 oz", "4.5 kg"; above 0. ProcessError otherwise."""
    return _positive(text, _sum(text, _G, "a weight, for example 4.5 kg or 10 lb"))


def length_mm(text: object) -> float:
    """Millimetres of "45 mm", "2.5 in"; above 0. ProcessError otherwise."""
    return _positive(text, _sum(text, _MM, "a length, for example 45 mm or 12 in"))


def span_s(text: object) -> float:
    """Seconds of "14 h", "1 h 30 min"; 0 or more. ProcessError otherwise."""
    seconds = _sum(text, _S, "a time, for example 14 h or 90 min")
    if seconds < 0.0:
        raise ProcessError(f"{text!r} is a negative time.")
    return seconds


def share(text: object) -> float:
    """Fraction 0..1 of "22 %". A bare number is refused: 0.22 and 22 look alike. ProcessError otherwise."""
    fraction = _sum(text, {"%": 0.01}, "a percentage, for example 22 %")
    if not 0.0 <= fraction <= 1.0:
        raise ProcessError(f"{text!r} must lie in 0 to 100 %.")
    return fraction


def ppm(text: object) -> float:
    """Parts per million of "156 ppm"; above 0. ProcessError otherwise."""
    return _positive(text, _sum(text, {"ppm": 1.0}, "a figure in ppm, for example 156 ppm"))


def amount(text: object) -> Amount:
    """Read a weight, a percentage of the meat or ppm of it; above 0. ProcessError otherwise."""
    words = [unit.lower() for _, unit in _parts(text)]
    if words == ["%"]:
        return Amount(None, _positive(text, share(text)))
    if words == ["ppm"]:
        return Amount(None, 1e-6 * ppm(text))
    return Amount(mass_g(text), None)


def temperature_degC(text: object) -> float:
    """Temperature [degC] of "152 F", "66.7 °C". ProcessError otherwise."""
    ((value, unit),) = _only(text, "a temperature, for example 152 F or 66.7 C")
    if unit in ("F", "°F", "f"):
        return degC_from_degF(value)
    if unit in ("C", "°C", "c"):
        return value
    raise ProcessError(f"{text!r} must be a temperature, for example 152 F or 66.7 C.")


def difference_kelvin(text: object) -> float:
    """Difference of temperatures [kelvin] of "50 F", "28 K", "28 C". ProcessError otherwise."""
    ((value, unit),) = _only(text, "a difference of temperature, for example 50 F or 28 K")
    if unit in ("F", "°F", "f"):
        return kelvin_from_degF_difference(value)
    if unit in ("C", "°C", "c", "K"):
        return value
    raise ProcessError(f"{text!r} must be a difference of temperature, for example 50 F or 28 K.")


def _sum(text: object, factors: Mapping[str, float], wanted: str) -> float:
    total = 0.0
    for value, unit in _parts(text):
        word = unit.lower()
        if not word:
            raise ProcessError(f"{text!r} lacks its unit: write {wanted}.")
        if word in _VOLUME and word not in factors:
            raise ProcessError(f"{text!r} is a measure by volume: weigh it, and write {wanted}.")
        if word not in factors:
            raise ProcessError(f"{text!r} must be {wanted}.")
        total += value * factors[word]
    return total


def _only(text: object, wanted: str) -> list[tuple[float, str]]:
    parts = _parts(text)
    if len(parts) != 1 or not parts[0][1]:
        raise ProcessError(f"{text!r} lacks its unit or holds too much: write {wanted}.")
    return parts


def _parts(text: object) -> list[tuple[float, str]]:
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise ProcessError(f"{text!r} must be a number with its unit, in quotes.")
    given, at = str(text).strip(), 0
    parts: list[tuple[float, str]] = []
    while at < len(given) or not parts:
        found = _PART.match(given, at)
        if found is None:
            raise ProcessError(
                f"{text!r} must be a number with its unit, for example 10 lb (and a point, not a comma)."
            )
        parts.append((_number(found[1]), found[2] or ""))
        at = found.end()
        while at < len(given) and given[at].isspace():
            at += 1
    return parts


def _number(word: str) -> float:
    """A decimal, "1/4" or "2 1/2"."""
    if "/" not in word:
        return float(word)
    sign, bare = (-1.0, word[1:]) if word.startswith("-") else (1.0, word)
    whole, _, part = bare.rpartition(" ")
    above, _, below = part.partition("/")
    if int(below) == 0:
        raise ProcessError(f"{word!r} divides by nothing.")
    return sign * (float(whole or 0) + int(above) / int(below))


def _positive(text: object, value: float) -> float:
    if value < 0.0:
        raise ProcessError(f"{text!r} is less than nothing; {str(text).strip().lstrip('-')} may be meant.")
    if not 0.0 < value < 1e9:
        raise ProcessError(f"{text!r} must be more than nothing, and a weight or size that exists.")
    return value
