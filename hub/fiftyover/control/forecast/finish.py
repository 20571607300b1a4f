"""From draws to what is said of a chub: when it will be done, between when and when, and whether it will get there.

The interval is split-conformal: the draws' own 5 % and 95 % points, stretched by factors that were calibrated on
simulated cooks with other seeds and other plants than those the forecast is judged on, and never narrower than a floor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fiftyover.control.forecast import ahead, factors
from fiftyover.control.forecast.ahead import Law, Runs
from fiftyover.control.forecast.element import Element
from fiftyover.control.forecast.element import learn as learn_element
from fiftyover.control.forecast.fit import Fit, Past, fit
from fiftyover.control.forecast.heating import EVAPORATION
from fiftyover.control.forecast.prior import Expected, Prior, expected, hopeful

WARM_FROM_DEGC, WARM_TO_DEGC = 10.0, 54.444  # the warm-up clock, 50 to 130 °F (FSIS guideline, come-up time)
WARM_MOST_S = 6 * 3600.0
STALL_SHARE = 0.05
# Who planned a batch expected it to get there: so many stall, from memory. Of the draws of a line that was never
# learned far more do, before anything was measured (calibration cooks), so each of them counts that much less.
STALL_EXPECTED, STALL_DRAWN = 0.05, 0.4
MISFIT_KELVIN = 0.12  # a chub that the model follows no better is not one it was made for: its interval is widened
WIDEST = 3.0
LATELY_S = 3600.0
LATEST = (0.1, 0.75, 0.98)  # points of the finishing draws that low, middle and high never go beyond
FEWEST = 0.03  # of the draws must finish for a time to be named


@dataclass(frozen=True, slots=True)
class Calibration:
    """Stretch of the draws' interval by how far the cook is (share of its whole time), below and above the median, for
    chubs of a casing line that was not yet learned, of one that was, and without a probe; and the floors, [s] and as a
    share of the time left."""

    progress: tuple[float, ...] = factors.PROGRESS
    early: tuple[float, ...] = factors.EARLY
    late: tuple[float, ...] = factors.LATE
    early_learned: tuple[float, ...] = factors.EARLY_LEARNED
    late_learned: tuple[float, ...] = factors.LATE_LEARNED
    early_unprobed: tuple[float, ...] = factors.EARLY_UNPROBED
    late_unprobed: tuple[float, ...] = factors.LATE_UNPROBED
    floor_s: float = 45.0
    floor_share: float = 0.01


CALIBRATED = Calibration()


@dataclass(frozen=True, slots=True)
class Question:
    """All that a forecast needs, a snapshot: what was measured, the law, lines and places (chubs,), the foot [degC]."""

    past: Past
    law: Law
    lines: tuple[str, ...]
    places: tuple[str, ...]
    foot_degC: float
    prior: Prior
    calibration: Calibration = CALIBRATED


@dataclass(frozen=True, slots=True)
class Finish:
    """One chub: seconds from now until its band [s], between when and when, or None where it will hardly get there;
    ``stalls`` how likely it is that it never does (0..1); ``why`` "" or what stands in the way: "limit" or "element";
    ``warm_s`` its whole warm-up clock as it will be and ``warm_high_s`` as it may be [s], None if it never ends."""

    left_s: float | None
    low_s: float | None
    high_s: float | None
    stalls: float
    why: str
    warm_s: float | None
    warm_high_s: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """What was found: a Finish for each chub (out ones too, with zeros), and the fit to learn from."""

    chubs: tuple[Finish, ...]
    fit: Fit


def forecast(question: Question, count: int = ahead.DRAWS) -> Forecast:
    """Say when each chub will be done.

    Parameters: ``question`` as in `Question`; ``count`` of draws (whole number).
    Returns: Forecast, times in seconds from now. Raises nothing on any finite past. Cost: under 0.1 s for 12 chubs.
    Source: see `heating`, `fit`, `ahead`; split-conformal prediction: V. Vovk, A. Gammerman, G. Shafer, Algorithmic
    Learning in a Random World, 2005 (from memory).
    """
    past, law = question.past, question.law
    before = hopeful(
        expected(question.prior, question.lines, question.places),
        np.minimum(law.caps_degC, law.limit_degC) - law.under_cap_kelvin,
        question.foot_degC,
    )
    found = fit(past, before)
    theta = ahead.draws(found, count)
    element = learn_element(past, theta[:, : past.chubs])
    runs = ahead.run(past, theta, law, (WARM_TO_DEGC, question.foot_degC), element)
    surprise = _surprise(found, before)
    told = [_finish(question, runs, element, chub, surprise) for chub in range(past.chubs)]
    return Forecast(tuple(_no_surer(question, told, chub) for chub in range(past.chubs)), found)


def fitted(past: Past, prior: Prior, lines: Sequence[str], places: Sequence[str]) -> Fit:
    """Fit a past alone, to learn from.

    Parameters: ``past`` of any length; ``lines`` and ``places`` of its chubs, words, (chubs,).
    Returns: Fit, in the units of `heating.NAMES`. Raises nothing. Source: see `fit`.
    """
    return fit(past, expected(prior, lines, places))


def _finish(question: Question, runs: Runs, element: Element | None, chub: int, surprise: float) -> Finish:
    times = runs.reached_s[-1, :, chub]
    done = np.isfinite(times)
    stalls = 1.0 - float(done.mean())
    why, told = "", _told(stalls, question.lines[chub] in question.prior.lines)
    if told > STALL_SHARE:
        why = "element" if element is not None and runs.short_share[chub] > 0.5 else "limit"
    warm, warm_high = _warm(question.past, runs, chub)
    if done.mean() < FEWEST:
        return Finish(None, None, None, told, why, warm, warm_high)
    # Draws that never finish count as late ones, up to a point: who planned the batch expected it to finish.
    points = np.minimum(np.array((0.05, 0.5, 0.95)) / max(1.0 - stalls, 0.05), LATEST)
    low, middle, high = (float(value) for value in np.quantile(times[done], points))
    wide = min(WIDEST, max(1.0, surprise, math.sqrt(_misfit_kelvin(question.past, runs, chub) / MISFIT_KELVIN)))
    low, high = _stretched(question, chub, middle - wide * (middle - low), middle, middle + wide * (high - middle))
    return Finish(middle, low, high, told, why, warm, warm_high)


def _told(drawn: float, learned: bool) -> float:
    """How likely a chub stalls, of whose draws a share ``drawn`` does [0..1]: Bayes' rule on the odds."""
    if learned or drawn >= 1.0:
        return drawn
    weight = STALL_EXPECTED / (1.0 - STALL_EXPECTED) * (1.0 - STALL_DRAWN) / STALL_DRAWN
    return weight * drawn / (weight * drawn + 1.0 - drawn)


def _no_surer(question: Question, told: list[Finish], chub: int) -> Finish:
    """A chub without a probe is told at least as wide as those of its line that have one and still hang."""
    one, law = told[chub], question.law
    if law.leads[chub] or one.left_s is None or one.low_s is None or one.high_s is None:
        return one
    below, above = one.left_s - one.low_s, one.high_s - one.left_s
    for i, other in enumerate(told):
        mate = law.leads[i] and law.hanging[i] and question.lines[i] == question.lines[chub]
        if mate and other.left_s is not None and other.low_s is not None and other.high_s is not None:
            below, above = max(below, other.left_s - other.low_s), max(above, other.high_s - other.left_s)
    if not law.hanging[chub]:
        return one
    return replace(one, low_s=max(0.0, one.left_s - below), high_s=one.left_s + above * 1.01)


def _surprise(found: Fit, before: Expected) -> float:
    """How many of its spreads the batch's evaporation lies from where it was expected [ratio]: such a batch is not
    like those that were known before, and the less of it was seen the less is sure."""
    off = abs(float((found.theta - before.mean)[EVAPORATION].mean()))
    return off / math.sqrt(max(float(np.diag(before.shared[EVAPORATION]).mean()), 1e-9))


def _stretched(question: Question, chub: int, low: float, middle: float, high: float) -> tuple[float, float]:
    past, told = question.past, question.calibration
    seen = np.isfinite(past.core_degC[:, chub])
    probed = bool(seen[-ahead.RECENT_STEPS :].any())
    elapsed = past.dt_s * (past.air_degC.size - int(past.hung_step[chub]))
    share = elapsed / max(elapsed + middle, 1.0)
    early, late = told.early, told.late
    if not probed:
        early, late = told.early_unprobed, told.late_unprobed
    elif question.lines[chub] in question.prior.lines:
        early, late = told.early_learned, told.late_learned
    floor = max(told.floor_s, told.floor_share * middle)
    below = max(floor, (middle - low) * float(np.interp(share, told.progress, early)))
    above = max(floor, (high - middle) * float(np.interp(share, told.progress, late)))
    return max(0.0, middle - below), middle + above


def _misfit_kelvin(past: Past, runs: Runs, chub: int) -> float:
    """How far the best fit is from what was measured in the last hour [kelvin] rms; 0 without a measurement."""
    last = int(LATELY_S / past.dt_s)
    off = (past.core_degC[-last:, chub] - runs.past_degC[-last:, chub])[np.isfinite(past.core_degC[-last:, chub])]
    return float(np.sqrt(np.mean(off**2))) if off.size > 1 else 0.0


def _warm(past: Past, runs: Runs, chub: int) -> tuple[float | None, float | None]:
    """The warm-up clock of a chub: from 50 °F (or hanging, if warmer) to 130 °F, median and 95 % of the draws [s]."""
    core = runs.past_degC[:, chub]
    hung = int(past.hung_step[chub])
    begun = np.flatnonzero(core[hung:] >= WARM_FROM_DEGC)
    since = past.dt_s * (core.size - 1 - hung - int(begun[0])) if begun.size else 0.0
    over = np.flatnonzero(core >= WARM_TO_DEGC)
    if over.size and begun.size:
        whole = past.dt_s * float(over[0] - hung - begun[0])
        return whole, whole
    values = runs.reached_s[0, :, chub]
    middle, high = np.quantile(np.where(np.isfinite(values), values, 1e9), (0.5, 0.95))
    return _or_none(since, float(middle)), _or_none(since, float(high))


def _or_none(since: float, left: float) -> float | None:
    return since + left if left < 1e8 else None
