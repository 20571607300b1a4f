"""How each chub warms, learned while it warms: pace and drying by least squares with a prior. Pure.

At low cores nothing dries, so the slope tells the pace; later the shortfall tells the drying. The two are fitted to all
slopes since the chub settled: slope / k0 = a (air - core) - c p, with a = k / k0 and c = a x wet.
"""

from __future__ import annotations

from typing import NamedTuple

from fiftyover.batch.ahead import Warming, drying_kPa, pace, settle_s

PACE_SPREAD = 0.12  # of a chub's pace against the geometry's: film, place
WET = 0.5  # K/kPa: a casing that lets 0.05 of a free surface's water out, by the Lewis analogy
WET_SPREAD = 0.35
SLOPE_SPREAD_KELVIN = 2.4  # of one slope, as kelvin of air; neighbours overlap, so each counts little
PLACE_KELVIN = (-8.0, 8.0)


class Fit(NamedTuple):
    """Sums of the least squares for one chub, relative to the prior; see the module."""

    diameter_mm: float
    a_a: float = PACE_SPREAD**-2
    a_c: float = 0.0
    c_c: float = WET_SPREAD**-2
    a_y: float = PACE_SPREAD**-2
    c_y: float = WET * WET_SPREAD**-2

    def seen(self, core_degC: float, slope: float, air_degC: float) -> Fit:
        """Take one settled slope [K/s] at a core and chamber [degC]."""
        weight = SLOPE_SPREAD_KELVIN**-2
        over = air_degC - core_degC
        dry = -drying_kPa(core_degC + max(0.0, slope) * settle_s(self.diameter_mm))
        y = slope / pace(self.diameter_mm)
        return self._replace(
            a_a=self.a_a + weight * over * over,
            a_c=self.a_c + weight * over * dry,
            c_c=self.c_c + weight * dry * dry,
            a_y=self.a_y + weight * over * y,
            c_y=self.c_y + weight * dry * y,
        )

    def warming(self) -> Warming:
        """Return what was learned, for the mean place."""
        det = self.a_a * self.c_c - self.a_c * self.a_c
        a = (self.a_y * self.c_c - self.c_y * self.a_c) / det
        c = (self.a_a * self.c_y - self.a_c * self.a_y) / det
        a = min(1.6, max(0.6, a))
        return Warming(a * pace(self.diameter_mm), max(0.0, c / a), 0.0, settle_s(self.diameter_mm))

    def now(self, core_degC: float, slope: float, air_degC: float) -> Warming:
        """Return what was learned, with the place such that the slope now [K/s] is met exactly (within bounds)."""
        model = self.warming()
        for _ in range(3):  # the place moves the surface a little, and that the drying
            off = (slope - model.rate(core_degC, air_degC)) / model.per_kelvin
            place = min(PLACE_KELVIN[1], max(PLACE_KELVIN[0], model.place_kelvin + off))
            model = Warming(model.per_kelvin, model.wet, place, model.settle_s)
        return model


def mean(models: list[Warming]) -> Warming:
    """Return the mean of several chubs' warming."""
    count = len(models)
    return Warming(
        sum(m.per_kelvin for m in models) / count,
        sum(m.wet for m in models) / count,
        sum(m.place_kelvin for m in models) / count,
        sum(m.settle_s for m in models) / count,
    )
