"""Where a core will be in some minutes: quasi-steady warming of a cylinder less evaporation.

dT/dt = k (air + place - wet (p(surface) - p_chamber) - core). k comes from the geometry
(`process.conduction.quasi_steady_rate`), `wet` from the casing; both are learned in the cook (`learn`), and what is
left between them and the slope that is measured now is put on the place. A straight line would run ahead of the meat:
near the end the slope falls by a tenth every few minutes. Temperatures degC, rates K/s, times seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from fiftyover.process.conduction import quasi_steady_rate

# Meat emulsion, inside the measured range of Marcotte, Taherian, Karimi, J. Food Eng. 88 (2008) 315-322.
DENSITY = 1050.0  # kg/m3
HEAT_CAPACITY = 3300.0  # J/(kg K)
DIFFUSIVITY = 1.21e-7  # m2/s
FILM = 12.0  # W/(m2 K), convection and radiation in a small cabinet: from memory
FILM_LARGEST = 25.0
CHAMBER_VAPOUR_KPA = 7.0  # a vented cabinet with wet meat: assumption of our own study
STEP_S = 60.0
CARRY_SHARE = 0.22  # of R^2/(4 alpha), times the slope: fits our own simulated carry-over into 20 °C air within 0.2 K


@lru_cache(maxsize=256)
def pace(diameter_mm: float, film: float = FILM) -> float:
    """Rate per kelvin of air above core for a chub of this diameter [1/s]."""
    return quasi_steady_rate(1.0, diameter_mm / 2000.0, DIFFUSIVITY, film, DENSITY, HEAT_CAPACITY)


def settle_s(diameter_mm: float) -> float:
    """Time in which the inside of a chub follows its surface, R^2/(4 alpha) [s]."""
    return float((diameter_mm / 2000.0) ** 2 / (4.0 * DIFFUSIVITY))


def vapour_kPa(degC: float) -> float:
    """Vapour pressure over water, 1 to 100 °C [kPa]: Antoine's equation, usual constants for water (from memory)."""
    return 0.133322 * math.pow(10.0, 8.07131 - 1730.63 / (233.426 + degC))


def drying_kPa(surface_degC: float) -> float:
    """Vapour pressure that drives water off a surface in the chamber [kPa]; none while it is too cold to dry."""
    return max(0.0, vapour_kPa(surface_degC) - CHAMBER_VAPOUR_KPA)


@dataclass(frozen=True, slots=True)
class Warming:
    """How a chub warms: rate per kelvin [1/s], drying [K/kPa], place hotter than the probe's [kelvin], settling [s]."""

    per_kelvin: float
    wet: float
    place_kelvin: float
    settle_s: float

    def rate(self, core_degC: float, air_degC: float) -> float:
        """Slope of the core [K/s] at this core and chamber [degC]."""
        over = air_degC + self.place_kelvin - core_degC
        first = self.per_kelvin * (over - self.wet * drying_kPa(core_degC))
        surface_degC = core_degC + max(
            0.0, 0.8 * first * self.settle_s
        )  # the core lags its surface by slope x settling
        return self.per_kelvin * (over - self.wet * drying_kPa(surface_degC))


def core_after(
    model: Warming, core_degC: float, seconds: float, air_degC: float, air_slope: float, air_top_degC: float
) -> float:
    """Core [degC] after so many seconds while the chamber rises by ``air_slope`` [K/s] up to ``air_top_degC``."""
    left_s, air = seconds, air_degC
    while left_s > 0.0:
        dt_s = min(STEP_S, left_s)
        core_degC += model.rate(core_degC, air) * dt_s
        air = min(air + air_slope * dt_s, max(air_top_degC, air)) if air_slope > 0.0 else air
        left_s -= dt_s
    return core_degC


def carry_kelvin(diameter_mm: float, slope: float) -> float:
    """How much a core still rises after the chub came out into cool air [kelvin]; own simulation study."""
    return max(0.0, slope) * CARRY_SHARE * settle_s(diameter_mm)
