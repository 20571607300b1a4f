"""A smoker the forecast was not built for: other numerics, other properties, other laws of evaporation.

A plant of the protocol (`fiftyover rehearse --plant tests/bench/forecast/other_smoker.py:OtherSmoker`). Against the
rehearsal's own plant: rings of equal area; conductivity that grows with temperature (Choi and Okos: about a tenth from
5 to 70 °C); one lump for air, racks and wall; evaporation by one of three laws:

- falling: a wet surface that dries, the casing lets less and less through (falling-rate drying, time constant 2.5 h)
- linear: heat proportional to how far the surface is above 40 °C
- humid: the chamber's vapour rises with what the chubs give off
"""

from __future__ import annotations

import numpy as np

RINGS = 16
LAWS = ("falling", "linear", "humid")


class OtherSmoker:
    """Every figure by eye. ``wet`` is the strength of the evaporation, about 1; ``real_mm`` a diameter that differs
    from the one told; ``weak`` scales the element's real power."""

    def __init__(
        self,
        seed: int,
        chubs: int,
        diameter_mm: float,
        element_watts: float,
        cap_degC: float,
        *,
        law: str = "falling",
        wet: float = 1.0,
        film: float = 12.0,
        real_mm: float | None = None,
        yard_degC: float = 14.0,
        start_degC: float = 4.0,
        loss: float = 4.5,
        weak: float = 1.0,
    ) -> None:
        if law not in LAWS:
            raise ValueError(f"law {law!r} is none of {', '.join(LAWS)}")
        rng = np.random.default_rng(seed)
        self.law, self.yard_degC, self.loss = law, yard_degC, loss
        self.watts = element_watts * weak
        self.cap_degC = cap_degC
        radius = np.full(chubs, (real_mm or diameter_mm) / 2000.0) * (1.0 + 0.008 * rng.standard_normal(chubs))
        self.film = film * (1.0 + 0.07 * rng.standard_normal(chubs))
        self.spot = 0.035 * rng.standard_normal(chubs)
        self.wet = wet * (1.0 + 0.05 * rng.standard_normal(chubs))
        edges = np.sqrt(np.arange(RINGS + 1) / RINGS)
        self.middles = (edges[1:] + edges[:-1]) / 2.0
        self.faces = edges[1:-1] / (self.middles[1:] - self.middles[:-1])
        self.radius = radius
        self.rest = 1.0 - self.middles[-1]
        self.t = np.full((RINGS, chubs), start_degC)
        self.surface = np.full(chubs, start_degC)
        self.hangs = np.ones(chubs)
        self.element = self.air_degC = self.chamber_degC = yard_degC
        self.door_s, self.now_s, self.dried = -1.0, 0.0, np.zeros(chubs)
        self.core_degC = [start_degC] * chubs
        self.rng, self.gust = rng, 0.0

    def _evaporation(self, air: float) -> np.ndarray:
        """W/m2 at the surface."""
        t = self.surface
        if self.law == "linear":
            return self.wet * 7.5 * np.maximum(t - 40.0, 0.0)
        kPa = 0.6108 * np.exp(17.27 * t / (t + 237.3))
        chamber = 6.5 if self.law == "falling" else 4.0 + 0.2 * float((kPa * self.hangs).mean())
        fresh = 0.4 + 0.6 * np.exp(-self.dried / 9000.0) if self.law == "falling" else 0.75
        return self.wet * 11.0 * fresh * np.maximum(kPa - chamber, 0.0)

    def step(self, dt_s: float, element_on: bool) -> None:
        """Advance by at most 1 s."""
        k = 0.385 * (1.0 + 0.0016 * self.t)
        volumetric = 1040.0 * 3350.0
        here = np.where(self.hangs > 0.0, self.air_degC + self.spot * (self.air_degC - self.yard_degC), self.yard_degC)
        drawn = np.where(self.hangs > 0.0, self._evaporation(self.air_degC), 0.0)
        self.dried += dt_s * (self.surface > 35.0)
        inner = k[-1] / (self.rest * self.radius)
        self.surface = (self.film * here - drawn + inner * self.t[-1]) / (self.film + inner)
        flow = self.faces[:, None] * (k[1:] + k[:-1]) / 2.0 * np.diff(self.t, axis=0) / self.radius**2
        into = inner * (self.surface - self.t[-1]) / self.radius
        change = np.zeros_like(self.t)
        change[:-1] += flow
        change[1:] -= flow
        change[-1] += into
        self.t += dt_s * 2.0 * RINGS / volumetric * change
        taken = float((self.film * (here - self.surface) * self.radius * self.hangs).sum()) * 2.0 * np.pi * 0.3
        self._chamber(dt_s, element_on, taken)
        b2, c2 = self.middles[0] ** 2, self.middles[1] ** 2
        self.core_degC = (self.t[0] - (self.t[1] - self.t[0]) / (c2 - b2) * b2).tolist()

    def _chamber(self, dt_s: float, element_on: bool, taken: float) -> None:
        self.gust += -self.gust * dt_s / 400.0 + 0.05 * dt_s**0.5 * self.rng.standard_normal()
        door = 70.0 if self.now_s < self.door_s else 0.0
        given = 3.0 * (self.element - self.air_degC)
        self.element += dt_s * ((self.watts if element_on else 0.0) - given) / 280.0
        net = given - taken - (self.loss + door) * (self.air_degC - self.yard_degC - self.gust)
        self.air_degC += dt_s * net / 2600.0
        self.chamber_degC += dt_s * (self.air_degC - self.chamber_degC) / 25.0
        self.now_s += dt_s

    def at_radius(self, metres: float) -> np.ndarray:
        """Temperatures so far off the axis [degC], (chubs,)."""
        return np.array([np.interp(metres / r, self.middles, self.t[:, i]) for i, r in enumerate(self.radius)])

    def pull(self, index: int) -> None:
        """Take a chub out."""
        self.hangs[index] = 0.0

    def open_door(self, seconds: float) -> None:
        """Open the door."""
        self.door_s = self.now_s + seconds
