"""Figures as the person likes them: °F and lb, or °C and kg. Stored figures are always °C, g, mm and s."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fiftyover_kit.contract.units import (
    degC_from_degF,
    degF_difference_from_kelvin,
    degF_from_degC,
    inch_from_m,
    lb_from_kg,
    oz_from_g,
)

UNITS = ("F-lb", "C-kg")
SMALL_G = 150.0  # below it a kitchen weighs on the fine scale, in grams
OZ_PER_LB = 16


@dataclass(frozen=True, slots=True)
class Figures:
    """Writes figures in one system of units, a member of ``UNITS``."""

    units: str = "F-lb"

    def temperature(self, degC: float, decimals: int = 0) -> str:
        """Temperature with its unit."""
        return f"{self.degrees(degC):.{decimals}f} {'°C' if self.metric else '°F'}"

    def degrees(self, degC: float) -> float:
        """Bare number of a temperature, degF or degC."""
        return degC if self.metric else degF_from_degC(degC)

    def difference(self, kelvin: float, decimals: int = 0) -> str:
        """Difference of temperatures with its unit."""
        value = kelvin if self.metric else degF_difference_from_kelvin(kelvin)
        return f"{value:.{decimals}f} {'K' if self.metric else '°F'}"

    def mass(self, g: float) -> str:
        """Weight: fine ones in grams, others in pounds and ounces, or kilograms."""
        if g < SMALL_G:
            return f"{g:.1f} g" if self.metric or g < 1.0 else f"{g:.1f} g ({oz_from_g(g):.2f} oz)"
        if self.metric:
            return f"{g / 1000:.3f} kg" if g >= 1000.0 else f"{g:.0f} g"
        pounds, ounces = divmod(round(oz_from_g(g), 1), OZ_PER_LB)
        return f"{pounds:.0f} lb {ounces:.1f} oz" if pounds else f"{ounces:.1f} oz"

    def large_mass(self, g: float) -> str:
        """Weight as one number: 4.54 kg or 10.00 lb."""
        return f"{g / 1000:.2f} kg" if self.metric else f"{lb_from_kg(g / 1000):.2f} lb"

    def words(self, text: str) -> str:
        """A sentence of ours, whose temperatures (never differences) stand in °F: with °C beside them where wanted."""
        return _DEGF.sub(_with_degC, text) if self.metric else text

    def length(self, mm: float) -> str:
        """Length in millimetres or inches."""
        return f"{mm:.0f} mm" if self.metric else f"{inch_from_m(mm / 1000):.1f} in"

    @property
    def metric(self) -> bool:
        """Whether °C and kg are shown."""
        return self.units == "C-kg"


_DEGF = re.compile(r"(?:(-?\d+)( to | and |, ))?(-?\d+) °F")


def _with_degC(found: re.Match[str]) -> str:
    first, between, last = found.groups()
    celsius = f"{degC_from_degF(float(last)):.0f} °C"
    if first is not None:
        celsius = f"{degC_from_degF(float(first)):.0f}{between}{celsius}"
    return f"{found[0]} ({celsius})"


def clock(seconds: float | None) -> str:
    """Hours and minutes, "3:05", or "-"."""
    if seconds is None:
        return "-"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"
