"""What the element can do in this weather: learned from how hard it worked so far.

Balance of the chamber: duty = loss (air - yard) + store d(air)/dt + share x heat into the meat. The three figures come
from the batch's own minutes (non-negative least squares); with duty 1 the balance says how warm the chamber can get.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from fiftyover.control.forecast.fit import Past, replay_heat
from fiftyover.control.forecast.heating import Array

WORKS_HARD = 0.6  # mean duty of the last quarter of an hour; below it the element is no limit
SHORTEST_S = 1200.0
LATELY_S = 900.0
MOST_DUTY = 0.98


@dataclass(frozen=True, slots=True)
class Element:
    """Shares of full power: ``loss`` per kelvin of air over yard, ``store`` [s/K], ``meat`` per unit of meat's heat."""

    loss: float
    store: float
    meat: float

    def warmest(self, air_degC: Array, yard_degC: float, heat: Array, dt_s: float) -> Array:
        """Give how warm the chamber can be after ``dt_s`` [s] at full power [degC], implicit in time.

        Parameters: ``air_degC`` now and ``heat`` into the meat (unit of `fit.replay_heat`), both (draws,).
        """
        stored = self.store / dt_s
        return np.asarray(
            (air_degC * stored + MOST_DUTY + self.loss * yard_degC - self.meat * heat) / max(stored + self.loss, 1e-9)
        )


def learn(past: Past, best: Array) -> Element | None:
    """Learn the element from the past, ``best`` being the fitted figures (6, chubs) (units of `heating.NAMES`).

    Returns: Element, or None while it does not work hard or too little is known. Raises nothing. Source: heat balance.
    """
    known = np.isfinite(past.duty)
    lately = past.duty[-int(LATELY_S / past.dt_s) :]
    lately = lately[np.isfinite(lately)]
    if known.sum() * past.dt_s < SHORTEST_S or not lately.size or lately.mean() < WORKS_HARD:
        return None
    heat = replay_heat(past, best)
    slope = np.gradient(past.air_degC, past.dt_s)
    rows = np.stack([past.air_degC - past.yard_degC, slope, heat], axis=1)[known]
    smooth = max(1, int(300.0 / past.dt_s))
    blocks = len(rows) // smooth
    rows = rows[: blocks * smooth].reshape(blocks, smooth, 3).mean(axis=1)
    duty = past.duty[known][: blocks * smooth].reshape(blocks, smooth).mean(axis=1)
    if blocks < 4:
        return None
    scale = np.maximum(np.abs(rows).max(axis=0), 1e-12)
    found, _ = nnls(rows / scale, duty)
    loss, store, meat = (float(value) for value in found / scale)
    return Element(loss, store, meat) if loss > 0.0 else None
