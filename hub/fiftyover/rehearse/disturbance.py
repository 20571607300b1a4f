"""What a yard does to a smoker: slow weather, a mains that wanders, wood that flares and dies.

Drawn on a grid of 10 s from the run's own generator, so the world does not depend on how its time is cut into steps.
"""

import math

import numpy as np

GRID_S = 10.0
MAINS_SD = 0.016  # of the element's power
MAINS_TAU_S = 300.0
WEATHER_SD_KELVIN = 1.0  # wanders about +-2 K
WEATHER_TAU_S = 3600.0
SMOULDER_TAU_S = 60.0
SMOULDER_HOLD_S = 480.0  # mean time between changes of the fire
_BLOCK = 512


class Disturbance:
    """Ambient temperature, mains factor and smoulder power as piecewise constant functions of time."""

    def __init__(self, rng: np.random.Generator, ambient_degC: float, smoulder_watts: float, quiet: bool) -> None:
        self._rng = rng
        self._mean_degC = ambient_degC
        self._smoulder_max = smoulder_watts
        self._quiet = quiet
        self._draws: list[list[float]] = []
        self._mains = 0.0
        self._weather = 0.0
        self._fire = 0.0
        self._fire_target = 0.0
        self._next_s = 0.0
        self.ambient_degC = ambient_degC
        self.mains = 1.0
        self.smoulder_watts = 0.0

    def at(self, now_s: float) -> None:
        """Bring the three public values up to now_s."""
        while now_s >= self._next_s:
            self._next_s += GRID_S
            if not self._quiet:
                self._advance()

    def _advance(self) -> None:
        if not self._draws:
            normal = self._rng.standard_normal((_BLOCK, 2))
            self._draws = np.hstack([normal, self._rng.random((_BLOCK, 2))]).tolist()[::-1]
        a, b, change, level = self._draws.pop()
        keep = math.exp(-GRID_S / MAINS_TAU_S)
        self._mains = keep * self._mains + math.sqrt(1.0 - keep * keep) * MAINS_SD * a
        keep = math.exp(-GRID_S / WEATHER_TAU_S)
        self._weather = keep * self._weather + math.sqrt(1.0 - keep * keep) * WEATHER_SD_KELVIN * b
        if change < GRID_S / SMOULDER_HOLD_S:
            self._fire_target = level * self._smoulder_max
        self._fire += (self._fire_target - self._fire) * GRID_S / SMOULDER_TAU_S
        self.ambient_degC = self._mean_degC + self._weather
        self.mains = 1.0 + self._mains
        self.smoulder_watts = self._fire
