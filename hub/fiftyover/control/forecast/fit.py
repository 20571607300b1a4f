"""The six figures of every chub from what was measured so far: a joint maximum a posteriori fit, all chubs at once.

Gauss-Newton with finite differences; the chubs hang together only through the prior (`prior.Expected`), so a chub
without a probe gets what the others of its line tell. Model error is not white: neighbouring minutes err alike, so an
error counts once per ``TOGETHER_S``, and older minutes count less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fiftyover.control.forecast.heating import (
    BEND,
    DIFFUSIVITY,
    EVAPORATION,
    FILM,
    NAMES,
    Array,
    BoolArray,
    Cylinders,
    Profile,
)
from fiftyover.control.forecast.prior import TAIL, Expected

ERROR_KELVIN = 0.025
HEAVY = 3.0  # degrees of freedom of the errors
TOGETHER_S = 600.0
OLD_S = 3600.0
ROUNDS = 5
LOOSENED = (FILM, EVAPORATION, DIFFUSIVITY, BEND)
STEPS = np.array((0.02, 0.03, 0.02, 0.004, 0.1, 0.02))  # of the finite differences
LONGEST = np.array((0.4, 0.7, 0.15, 0.06, 2.0, 0.2))  # of one round
LEAST = np.array((np.log(3.0), np.log(1e-3), np.log(0.7e-7), -0.3, 1.0, -0.6))
# Evaporation at most a fifth of a free wet surface (with radiation about 10 K/kPa): from memory.
MOST = np.array((np.log(60.0), np.log(2.0), np.log(2.2e-7), 0.3, 30.0, 0.6))


@dataclass(frozen=True, slots=True)
class Past:
    """What was measured, on a grid: step [s]; chamber air [degC] (steps,) at mid-step; cores [degC] (steps + 1, chubs)
    at the grid's times, NaN where none is to be believed; cores at the start [degC] (chubs,); for each chub the step at
    which it was hung; radius [m] (chubs,); the yard [degC]; slope at the start [K/s] (chubs,), 0 for fresh meat; the
    element's mean duty 0..1 (steps,), NaN where it is not known."""

    dt_s: float
    air_degC: Array
    core_degC: Array
    start_degC: Array
    hung_step: Array
    radius_m: Array
    yard_degC: float
    start_slope: Array
    duty: Array

    @property
    def chubs(self) -> int:
        """How many chubs (whole number)."""
        return int(self.radius_m.size)


@dataclass(frozen=True, slots=True)
class Fit:
    """Figures (6, chubs), and the precision matrix of all of them, chub by chub (6 chubs, 6 chubs)."""

    theta: Array
    precision: Array

    def spread(self) -> Array:
        """Give the standard deviations (6, chubs), in the units of theta (logs are ratios)."""
        count = self.theta.shape[1]
        return np.asarray(np.sqrt(np.diag(np.linalg.inv(self.precision))).reshape(count, len(NAMES)).T)


def replay(past: Past, theta: Array) -> tuple[Array, Cylinders, Profile]:
    """Let columns live through the past: theta (6, columns), columns a multiple of the chubs, chub fastest.

    Returns: their cores [degC] (steps + 1, columns), the columns, and their profile now. Source: `heating`.
    """
    copies = theta.shape[1] // past.chubs
    columns = Cylinders(np.tile(past.radius_m, copies), theta, past.dt_s)
    start, slope = np.tile(past.start_degC, copies), np.tile(past.start_slope, copies)
    now = columns.settled(start, slope) if np.any(past.start_slope) else columns.start(start)
    hung = np.tile(past.hung_step, copies)
    late = int(past.hung_step.max(initial=0))
    cores = np.empty((past.air_degC.size + 1, theta.shape[1]))
    cores[0] = columns.core_degC(now)
    for step, air in enumerate(past.air_degC):
        after = columns.step(now, float(air), past.yard_degC)
        now = after if step >= late else _only(hung <= step, after, now)
        cores[step + 1] = columns.core_degC(now)
    return cores, columns, now


def replay_heat(past: Past, theta: Array) -> Array:
    """Heat that the chubs took from the chamber (steps,), sum of radius x film x (air - surface) [W/m, over 2 pi]."""
    columns = Cylinders(past.radius_m, theta, past.dt_s)
    now = columns.settled(past.start_degC, past.start_slope)
    heat = np.empty(past.air_degC.size)
    for step, air in enumerate(past.air_degC):
        now = columns.step(now, float(air), past.yard_degC)
        heat[step] = float(np.sum(columns.taken(now, float(air)) * (past.hung_step <= step)))
    return heat


def _only(there: BoolArray, after: Profile, before: Profile) -> Profile:
    """Columns that hang move on, the others wait."""
    return Profile(
        np.where(there, after.mean_degC, before.mean_degC),
        np.where(there, after.modes_kelvin, before.modes_kelvin),
        np.where(there, after.surface_degC, before.surface_degC),
        np.where(there, after.flux, before.flux),
    )


def fit(past: Past, before: Expected, rounds: int = ROUNDS) -> Fit:
    """Fit all chubs of a batch.

    Parameters: ``past`` as in `Past` [s, degC, m]; ``before`` the prior for these chubs; ``rounds`` of Gauss-Newton.
    Returns: Fit, in the units of `heating.NAMES`. Raises nothing; figures stay inside physical bounds.
    Source: Gauss-Newton for a normal posterior; the shared prior is a Student t by reweighting.
    """
    theta = before.mean.copy()
    count, figures = past.chubs, len(NAMES)
    seen = np.isfinite(past.core_degC)
    ages_s = past.dt_s * np.arange(past.core_degC.shape[0])[::-1]
    trust = 1.0 / (1.0 + ages_s / OLD_S) ** 2 * past.dt_s / TOGETHER_S
    looser = np.ones(figures)
    precision = np.empty((count * figures, count * figures))
    for _ in range(rounds):
        residual, slopes = _linear(past, theta)
        residual = np.where(seen, residual, 0.0)
        weight = np.where(seen, trust[:, None], 0.0) / _variance(residual)
        prior = _blocks(before, looser)
        precision = prior.copy()
        pull = prior @ (before.mean - theta).T.ravel()
        for chub in range(count):
            here = slice(chub * figures, (chub + 1) * figures)
            weighted = slopes[:, :, chub] * weight[:, chub]
            precision[here, here] += weighted @ slopes[:, :, chub].T
            pull[here] += weighted @ residual[:, chub]
        change = np.linalg.solve(precision, pull).reshape(count, figures).T
        theta = np.clip(theta + np.clip(change, -LONGEST[:, None], LONGEST[:, None]), LEAST[:, None], MOST[:, None])
        looser = _looser(theta, before)
    return Fit(theta, precision)


def _linear(past: Past, theta: Array) -> tuple[Array, Array]:
    """Residuals (steps + 1, chubs) and slopes (6, steps + 1, chubs) at theta, from one replay of all variants."""
    figures, count = theta.shape
    variants = np.repeat(theta[:, None, :], figures + 1, axis=1)
    for k in range(figures):
        variants[k, k + 1] += STEPS[k]
    cores, _, _ = replay(past, variants.reshape(figures, -1))
    cores = cores.reshape(-1, figures + 1, count)
    slopes = (cores[:, 1:] - cores[:, :1]) / STEPS[None, :, None]
    return past.core_degC - cores[:, 0], np.moveaxis(slopes, 1, 0)


def _variance(residual: Array) -> Array:
    """Variance of each error [kelvin^2]: Student t by reweighting, so that what the model cannot fit counts little."""
    return np.asarray((HEAVY * ERROR_KELVIN**2 + residual**2) / (HEAVY + 1.0))


def _blocks(before: Expected, looser: Array) -> Array:
    """Precision of the prior, chub by chub (6 chubs, 6 chubs)."""
    figures, count = before.mean.shape
    inverse = np.linalg.inv(before.covariance(looser))
    full = np.zeros((count, figures, count, figures))
    for k in range(figures):
        full[:, k, :, k] = inverse[k]
    return full.reshape(count * figures, count * figures)


def _looser(theta: Array, before: Expected) -> Array:
    """How much the shared spread is widened where the batch lies far from its prior: Student t, reweighted."""
    shared = np.maximum(np.einsum("kcc->kc", before.shared).mean(axis=1), 1e-12)
    off = np.square((theta - before.mean).mean(axis=1)) / shared
    factor = np.ones(theta.shape[0])
    for k in LOOSENED:
        factor[k] = max(1.0, (TAIL + float(off[k])) / (TAIL + 1.0))
    return factor
