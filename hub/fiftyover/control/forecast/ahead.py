"""Draws of the posterior, lived through the past and on under the control law: when each chub is done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fiftyover.control.forecast.element import Element
from fiftyover.control.forecast.fit import LEAST, MOST, Fit, Past, replay
from fiftyover.control.forecast.heating import Array, BoolArray, Cylinders, Profile

DRAWS = 64
SHORT_KELVIN = 1.0
AHEAD_S = 120.0
HORIZON_S = 16 * 3600.0
RECENT_STEPS = 8
STILL_KELVIN = 2e-4  # of a step: such a core has stalled
FASTEST_KELVIN_PER_S = 2.0 / 60.0  # the target is walked no faster (`control.target`)


@dataclass(frozen=True, slots=True)
class Law:
    """How the chamber goes on: lift [kelvin], floor [degC] or None, margin under the limit [kelvin].

    ``caps_degC`` is each chub's own line's limit (chubs,); ``leads`` says which chubs may lead, ``hanging`` which are
    still in the chamber, both (chubs,).
    """

    lift_kelvin: float
    floor_degC: float | None
    under_cap_kelvin: float
    caps_degC: Array
    leads: BoolArray
    hanging: BoolArray


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
    columns = Cylinders(columns.radius_m, theta, AHEAD_S)
    core = columns.core_degC(now)
    reached = np.where(core[None, :] >= np.array(levels_degC)[:, None], 0.0, np.inf)
    air = np.full(count, past.air_degC[-1] if past.air_degC.size else past.yard_degC)
    short = np.zeros(count, dtype=bool)
    rise = np.maximum(columns.slope(now) * AHEAD_S, 0.0)
    out: BoolArray = np.tile(np.logical_not(law.hanging), count)
    for step in range(int(horizon_s / AHEAD_S)):
        out = out | np.isfinite(reached[-1])
        if out.all():
            break
        middle = (core + rise / 2.0).reshape(
            count, chubs
        )  # the chamber follows all along the step, not only at its start
        wanted = _wanted(middle, out.reshape(count, chubs), law, air)
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
        if step % 15 == 14 and _all_still(rise, out, wanted, law, short):
            break
    reached = reached.reshape(len(levels_degC), count, chubs)
    stalled = np.isinf(reached[-1])
    share = np.sum(stalled & short[:, None], axis=0) / np.maximum(stalled.sum(axis=0), 1)
    return Runs(reached, cores[:, :chubs], share)


def _all_still(rise: Array, out: BoolArray, air: Array, law: Law, short: BoolArray) -> bool:
    """Whether nothing more will come: who still hangs has stalled and the chamber is as hot as it gets."""
    top = float(np.where(law.hanging, law.caps_degC, -np.inf).max()) - law.under_cap_kelvin
    return bool(np.all(out | (rise < STILL_KELVIN)) and np.all(short | (air >= top - 0.05)))


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


def _wanted(core: Array, out: BoolArray, law: Law, before: Array) -> Array:
    """Chamber that the law wants in each draw [degC] (draws,), walked there from where it is."""
    inside: BoolArray = np.asarray(np.logical_not(out))
    may: BoolArray = np.asarray(np.logical_and(law.leads[None, :], inside))
    may = np.where(np.asarray(may.any(axis=1))[:, None], may, inside)
    lead = np.where(may, core, np.inf).min(axis=1)
    cap = np.where(out, np.inf, law.caps_degC[None, :]).min(axis=1)
    wanted = lead + law.lift_kelvin
    if law.floor_degC is not None:
        wanted = np.maximum(wanted, law.floor_degC)
    wanted = np.minimum(wanted, cap - law.under_cap_kelvin)
    wanted = np.where(np.isfinite(wanted), wanted, before)
    most = FASTEST_KELVIN_PER_S * AHEAD_S
    return np.asarray(np.clip(wanted, before - most, before + most))
