"""A cook, a moment in it, and what the forecast says then; beside it the straight line of the last quarter hour."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from cooks import FOOT_DEGC, LIFT_KELVIN, Cook

from fiftyover.control.forecast import BROAD, CALIBRATED, Calibration, Forecast, Law, Past, Prior, Question, forecast
from fiftyover.control.forecast.finish import Finish

STEP_S = 60.0
LAG_S = 30.0
FRACTIONS = (0.25, 0.5, 0.75)
LINE_S = 900.0
HAND_KELVIN = 0.3  # a hand-held thermometer, its tip not quite on the axis
MISSING_MIN = 240.0  # what a forecast that names no time is off by
interval = CALIBRATED  # `--calibrate` puts the draws' own in its place, before the processes begin


class Row(NamedTuple):
    """One forecast of one chub that did get there: errors in minutes, later than true is positive."""

    kind: str
    seed: int
    fraction: float
    probed: bool
    error_min: float
    line_error_min: float
    low_min: float  # the interval's ends less the true time
    high_min: float
    left_min: float
    stalls: float
    share_early: float  # how far the truth lies toward the draws' own end, 1 at the end itself
    share_late: float

    @property
    def covered(self) -> bool:
        return self.low_min <= 0.0 <= self.high_min


def question(
    cook: Cook, at_s: float, prior: Prior, probes: int | None, calibration: Calibration, hand_s: float | None = None
) -> Question:
    """What the hub could know of a cook at a moment, the chubs without a probe read by hand ``hand_s`` before it."""
    known = cook.rows[cook.rows[:, 0] <= at_s - 15.0]
    count = cook.chubs
    probed = np.arange(count) < (count if probes is None else probes)
    grid = np.arange(round(at_s / STEP_S) + 1) * STEP_S
    cores = np.full((grid.size, count), np.nan)
    for index in np.flatnonzero(probed):
        here = (grid >= 15.0) & (grid <= at_s - 15.0) & ~(grid > cook.pulled_s[index] - 300.0)
        cores[here, index] = np.interp(grid[here], known[:, 0], known[:, 2 + index])
    if hand_s is not None:
        step = round((at_s - hand_s) / STEP_S)
        read = np.array([np.interp(grid[step], known[:, 0], known[:, 2 + index]) for index in range(count)])
        read += HAND_KELVIN * np.random.default_rng([cook.seed, step]).standard_normal(count)
        cores[step, ~probed] = read[~probed]
    start = known[:3, 2 : 2 + count].mean(axis=0)
    middles = grid[:-1] + STEP_S / 2.0
    past = Past(
        dt_s=STEP_S,
        air_degC=np.interp(middles + LAG_S, known[:, 0], known[:, 1]),
        core_degC=cores,
        start_degC=np.where(probed, start, start[probed].mean()),
        hung_step=np.zeros(count, dtype=np.int64),
        radius_m=np.full(count, cook.told_mm / 2000.0),
        yard_degC=min(20.0, float(known[0, 1])),
        start_slope=np.zeros(count),
        duty=np.interp(middles, known[:, 0], known[:, -1]),
    )
    hanging = ~(cook.pulled_s <= at_s)
    law = Law(LIFT_KELVIN, None, cook.under_kelvin, np.full(count, cook.cap_degC), probed, hanging)
    places = tuple(f"hook {index + 1}" for index in range(count))
    return Question(past, law, (cook.line,) * count, places, FOOT_DEGC, prior, calibration)


def at(
    cook: Cook, at_s: float, prior: Prior = BROAD, probes: int | None = None, hand_s: float | None = None
) -> Forecast:
    """Forecast a cook at a moment [s]."""
    return forecast(question(cook, at_s, prior, probes, interval, hand_s))


def straight_line_s(cook: Cook, at_s: float, index: int, probes: int | None) -> float:
    """When the chub would be done if its last quarter of an hour went on [s]; a chub without a probe has no reading to
    go on, so it goes by the mean of those that have one and still hang."""
    known = cook.chubs if probes is None else probes
    by = [index] if index < known else [i for i in range(known) if not cook.pulled_s[i] <= at_s] or list(range(known))
    here = (cook.rows[:, 0] <= at_s) & (cook.rows[:, 0] > at_s - LINE_S)
    readings = cook.rows[here][:, [2 + i for i in by]].mean(axis=1)
    slope, level = np.polyfit(cook.rows[here, 0] - at_s, readings, 1)
    return at_s + (FOOT_DEGC - level) / slope if slope > 0.0 else float("inf")


def judge(
    cook: Cook,
    chubs: int,
    *,
    prior: Prior = BROAD,
    probes: int | None = None,
    fractions: tuple[float, ...] = FRACTIONS,
    hand_s: float | None = None,
) -> list[Row]:
    """Judge so many chubs of a cook (drawn by its seed, of those that got there), each at its own moments."""
    got_there = np.flatnonzero(np.isfinite(cook.done_s))
    rows = []
    for index in np.random.default_rng(cook.seed).permutation(got_there)[:chubs]:
        for fraction in fractions:
            at_s = STEP_S * np.floor(fraction * cook.done_s[index] / STEP_S)
            told = at(cook, at_s, prior, probes, hand_s).chubs[index]
            rows.append(_row(cook, int(index), fraction, at_s, told, probes))
    return rows


def _row(cook: Cook, index: int, fraction: float, at_s: float, told: Finish, probes: int | None) -> Row:
    true_s = float(cook.done_s[index])
    line_min = (straight_line_s(cook, at_s, index, probes) - true_s) / 60.0
    if told.left_s is None or told.low_s is None or told.high_s is None:
        ends = (MISSING_MIN, MISSING_MIN, MISSING_MIN)
    else:
        ends = tuple((at_s + value - true_s) / 60.0 for value in (told.left_s, told.low_s, told.high_s))
    error, low, high = ends
    return Row(
        cook.kind,
        cook.seed,
        fraction,
        probes is None or index < probes,
        error,
        line_min,
        low,
        high,
        (true_s - at_s) / 60.0,
        told.stalls,
        max(0.0, error) / max(error - low, 1e-6),
        max(0.0, -error) / max(high - error, 1e-6),
    )
