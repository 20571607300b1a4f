"""Draws of the posterior, lived through the past and on under the control law: when each chub is done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fiftyover.control.forecast.element import Element
from fiftyover.control.forecast.fit import LEAST, MOST, Fit, Past, replay
from fiftyover.control.forecast.heating import (
    BEND,
    BEND_AT_DEGC,
    EVAPORATION,
    Array,
    BoolArray,
    Cylinders,
    Profile,
)

DRAWS = 64
SHORT_KELVIN = 1.0
AHEAD_S = 120.0
HORIZON_S = 16 * 3600.0
RECENT_STEPS = 8
STILL_KELVIN = 2e-4  # of a step: such a core has stalled
# Of the bend [ratio per 10 K] of what lies ahead: other laws of evaporation (a casing that dries, a chamber that grows
# humid) differ by so much from the fitted one over the last 10 K; from memory of their forms, then calibrated.
DRIFT = 0.12
DRIFT_SEED = 3
MET_S = 180.0  # a core ends its stage when it has been there for so long (`batch.believe`)
WORD_WITHIN_S = 3600.0  # a person's word, for instance "dry to the touch", is reckoned to come within it
WORD_SEED = 2
FASTEST_KELVIN_PER_S = 2.0 / 60.0  # the target is walked no faster (`control.target`)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stage before the last, from now or from its begin on: a chamber held at ``hold_degC``, or None to follow by
    ``lift_kelvin``, ``floor_degC`` (None: none), ``limit_degC``. It ends after ``left_s`` [s], when the lowest core has
    been at ``core_degC`` for three minutes, or, if ``by_word``, when a person says so; infinite where nothing does."""

    hold_degC: float | None
    lift_kelvin: float
    floor_degC: float | None
    limit_degC: float
    left_s: float
    core_degC: float
    by_word: bool


@dataclass(frozen=True, slots=True)
class Law:
    """How the chamber goes on: lift [kelvin], floor [degC] or None, margin under the limit [kelvin].

    ``caps_degC`` is each chub's own line's limit (chubs,); ``leads`` says which chubs may lead, ``hanging`` which are
    still in the chamber, both (chubs,). ``first`` are the stages that come before, the present one first.
    """

    lift_kelvin: float
    floor_degC: float | None
    under_cap_kelvin: float
    caps_degC: Array
    leads: BoolArray
    hanging: BoolArray
    first: tuple[Stretch, ...] = ()
    limit_degC: float = np.inf  # of the last stage, if it has one below the lines'


class Course:
    """Where each of ``count`` draws stands in the stages of a law."""

    def __init__(self, law: Law, count: int) -> None:
        self._law = law
        rows = (*law.first, Stretch(None, law.lift_kelvin, law.floor_degC, law.limit_degC, np.inf, np.inf, False))
        self._hold = np.array([np.nan if row.hold_degC is None else row.hold_degC for row in rows])
        self._lift = np.array([row.lift_kelvin for row in rows])
        self._floor = np.array([-np.inf if row.floor_degC is None else row.floor_degC for row in rows])
        self._limit = np.array([row.limit_degC for row in rows])
        self._core = np.array([row.core_degC for row in rows])
        # Nobody knows when a person will say the word: every draw has its own guess, spread evenly over an hour.
        word_s = WORD_WITHIN_S * (np.random.default_rng(WORD_SEED).permutation(count) + 0.5) / count
        left = [np.minimum(row.left_s, word_s if row.by_word else np.inf) + np.zeros(count) for row in rows]
        self._left_s = np.stack(left)
        self._draw = np.arange(count)
        self.stage = np.zeros(count, dtype=np.int64)
        self._in_s, self._met_s = np.zeros(count), np.zeros(count)
        self.last = len(rows) - 1

    def wanted(self, core_degC: Array, out: BoolArray, before_degC: Array) -> Array:
        """Chamber that the law wants in each draw [degC] (draws,), walked there from ``before_degC`` in one step.

        ``core_degC`` and ``out`` (draws, chubs).
        """
        law, at = self._law, self.stage
        cap = np.minimum(np.where(out, np.inf, law.caps_degC[None, :]).min(axis=1), self._limit[at])
        follow = np.maximum(_leading(core_degC, out, law) + self._lift[at], self._floor[at])
        wanted = np.where(np.isnan(self._hold[at]), follow, self._hold[at])
        wanted = np.minimum(wanted, cap - law.under_cap_kelvin)
        wanted = np.where(np.isfinite(wanted), wanted, before_degC)
        most = FASTEST_KELVIN_PER_S * AHEAD_S
        return np.asarray(np.clip(wanted, before_degC - most, before_degC + most))

    def advance(self, core_degC: Array, out: BoolArray) -> None:
        """Let a step pass, at the end of which the cores are ``core_degC`` (draws, chubs)."""
        if not self.last:
            return
        self._in_s = self._in_s + AHEAD_S
        there = _leading(core_degC, out, self._law) >= self._core[self.stage]
        self._met_s = np.where(there, self._met_s + AHEAD_S, 0.0)
        over = (self._in_s >= self._left_s[self.stage, self._draw]) | (self._met_s >= MET_S)
        over &= self.stage < self.last
        self.stage = self.stage + over
        self._in_s = np.where(over, 0.0, self._in_s)
        self._met_s = np.where(over, 0.0, self._met_s)


def _leading(core_degC: Array, out: BoolArray, law: Law) -> Array:
    """Lowest core of each draw that may lead [degC] (draws,), infinite when all are out."""
    inside: BoolArray = np.asarray(np.logical_not(out))
    may: BoolArray = np.asarray(np.logical_and(law.leads[None, :], inside))
    may = np.where(np.asarray(may.any(axis=1))[:, None], may, inside)
    return np.asarray(np.where(may, core_degC, np.inf).min(axis=1))


def draws(found: Fit, count: int, seed: int = 1) -> Array:
    """Draw figures from the posterior: shape (6, count x chubs), chub fastest; the first is the best fit itself."""
    figures, chubs = found.theta.shape
    lower = np.linalg.cholesky(found.precision)
    noise = np.random.default_rng(seed).standard_normal((figures * chubs, (count - 1) // 2))
    noise = np.concatenate((np.zeros((figures * chubs, 1)), noise, -noise), axis=1)
    moved = np.linalg.solve(lower.T, noise).reshape(chubs, figures, -1)
    theta = found.theta[:, None, :] + np.transpose(moved, (1, 2, 0))
    return np.asarray(np.clip(theta, LEAST[:, None, None], MOST[:, None, None])).reshape(figures, -1)


@dataclass(frozen=True, slots=True)
class Runs:
    """What the draws came to: seconds from now to each level, shape (levels, draws, chubs), infinite where it is never
    reached within the horizon, 0 where it was already; cores of the first draw in the past [degC] (steps + 1, chubs);
    share of draws in which the element could not keep the chamber where the law wants it as a chub stalled (chubs,)."""

    reached_s: Array
    past_degC: Array
    short_share: Array


def run(
    past: Past,
    theta: Array,
    law: Law,
    levels_degC: tuple[float, ...],
    element: Element | None = None,
    horizon_s: float = HORIZON_S,
) -> Runs:
    """Live every draw through the past, set it on what was measured last, and go on under the law.

    Parameters: ``theta`` shape (6, draws x chubs), chub fastest; ``levels_degC`` rising core levels [degC], the last is
    the foot of the band: a chub there is taken out; ``element`` what the element can do, None for all that is asked;
    ``horizon_s`` [s] from now.
    Returns: Runs. Raises nothing. Source: `heating`, `control.target.follow_degC`.
    """
    chubs = past.chubs
    count = theta.shape[1] // chubs
    cores, columns, now = replay(past, theta)
    now = _set_on(past, cores, now)
    columns = Cylinders(columns.radius_m, _drifted(theta, now, chubs), AHEAD_S)
    core = columns.core_degC(now)
    reached = np.where(core[None, :] >= np.array(levels_degC)[:, None], 0.0, np.inf)
    air = np.full(count, past.air_degC[-1] if past.air_degC.size else past.yard_degC)
    short = np.zeros(count, dtype=bool)
    rise = np.maximum(columns.slope(now) * AHEAD_S, 0.0)
    out: BoolArray = np.tile(np.logical_not(law.hanging), count)
    course = Course(law, count)
    for step in range(int(horizon_s / AHEAD_S)):
        out = out | np.isfinite(reached[-1])
        if out.all():
            break
        middle = (core + rise / 2.0).reshape(
            count, chubs
        )  # the chamber follows all along the step, not only at its start
        wanted = course.wanted(middle, out.reshape(count, chubs), air)
        if element is not None:
            heat = np.where(out, 0.0, columns.taken(now, np.repeat(air, chubs))).reshape(count, chubs).sum(axis=1)
            can = element.warmest(air, past.yard_degC, heat, AHEAD_S)
            short = can < wanted - SHORT_KELVIN
            wanted = np.minimum(wanted, can)
        air = wanted
        now = columns.step(now, np.repeat(air, chubs), past.yard_degC)
        after = columns.core_degC(now)
        for k, level in enumerate(levels_degC):
            new = np.isinf(reached[k]) & (after >= level)
            part = (level - core[new]) / np.maximum(after[new] - core[new], 1e-9)
            reached[k, new] = (step + np.clip(part, 0.0, 1.0)) * AHEAD_S
        core, rise = after, after - core
        course.advance(core.reshape(count, chubs), out.reshape(count, chubs))
        if step % 15 == 14 and bool(np.all(course.stage == course.last)) and _all_still(rise, out, wanted, law, short):
            break
    reached = reached.reshape(len(levels_degC), count, chubs)
    stalled = np.isinf(reached[-1])
    share = np.sum(stalled & short[:, None], axis=0) / np.maximum(stalled.sum(axis=0), 1)
    return Runs(reached, cores[:, :chubs], share)


def _all_still(rise: Array, out: BoolArray, air: Array, law: Law, short: BoolArray) -> bool:
    """Whether nothing more will come: who still hangs has stalled and the chamber is as hot as it gets."""
    top = min(law.limit_degC, float(np.where(law.hanging, law.caps_degC, -np.inf).max())) - law.under_cap_kelvin
    return bool(np.all(out | (rise < STILL_KELVIN)) and np.all(short | (air >= top - 0.05)))


def _drifted(theta: Array, now: Profile, chubs: int) -> Array:
    """Figures for what is to come: how evaporation goes on at surfaces warmer than any yet is not known from the past,
    so each draw bends it there by its own chance; what was measured so far is left as it was fitted."""
    count = theta.shape[1] // chubs
    chance = np.random.default_rng(DRIFT_SEED).standard_normal((count - 1) // 2)
    chance = DRIFT * np.concatenate(([0.0], chance, -chance))
    each = np.repeat(chance, chubs)
    ahead = theta.copy()
    ahead[BEND] += each
    ahead[EVAPORATION] -= each * (now.surface_degC - BEND_AT_DEGC) / 10.0
    return ahead


def _set_on(past: Past, cores: Array, now: Profile) -> Profile:
    """Shift each draw by what it was off when last measured: the measured core is where it is."""
    off = np.zeros((cores.shape[1] // past.chubs, past.chubs))
    each = cores.reshape(cores.shape[0], -1, past.chubs)
    for chub in range(past.chubs):
        last = np.flatnonzero(np.isfinite(past.core_degC[:, chub]))[-RECENT_STEPS:]
        if last.size:
            off[:, chub] = (past.core_degC[last, chub][:, None] - each[last, :, chub]).mean(axis=0)
    flat = off.ravel()
    return Profile(now.mean_degC + flat, now.modes_kelvin, now.surface_degC + flat, now.flux)
