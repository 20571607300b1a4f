"""Whether a core warms as its own past and the other probes explain it: finds a probe that drifts hot. Pure.

Each slope is told as kelvin of air: how much hotter than the chamber probe the air at the chub seems. A place that is
hotter than another stays so; a probe that drifts by d K/h looks as if its place grew hotter, by d / k at once (k: rate
per kelvin of lift) and by d more each hour. So each chub is held against the others of its line, or against all where
it is alone in its line, and its excess is how much the difference has grown since its least. Weather, casing and stall
are nearly the same for all and fall out: in 200 rehearsed hours of ordinary cooks two chubs of a line grew apart by
4 K at most (5 K across lines, 10 K for one alone, with only its own past), and once in 1376 h by 9 K; a drift of 10 K/h
makes 10 K in ten minutes. Temperatures degC, differences kelvin, rates K/s, times s.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import median, median_low
from typing import NamedTuple

from fiftyover.batch.ahead import drying_kPa, pace, settle_s
from fiftyover.batch.learn import WET

# Weather, load and stall move even two chubs of a line apart, slowly; the least of a difference forgives so much [K/s].
FORGIVEN = 1.5 / 3600.0
GROWN_KELVIN, GROWN_OTHER_LINE_KELVIN, GROWN_ALONE_KELVIN = 10.0, 12.0, 16.0
LASTS_S = 300.0
AGREES_KELVIN = 1.5  # a hand reading this near clears the probe, but not before a drift would show in it
SHOWS_S = 2700.0
AGAIN_FACTOR = 2.0  # one that was cleared is doubted again only for so much more
STEP_MOST_S = 60.0


class Rise(NamedTuple):
    """One chub's settled slope: casing line, diameter [mm], core and chamber [degC], slope [K/s], what its fit has
    learned: rate per kelvin against the geometry's (1.0), drying [K/kPa]."""

    line: str
    diameter_mm: float
    core_degC: float
    slope: float
    air_degC: float
    pace_share: float = 1.0
    wet: float = WET


class Doubt(NamedTuple):
    """What is remembered of a chub: the least that its place seemed hotter than each other chub's [kelvin] (0: than
    the chamber probe), its excess [kelvin], since when that is too much, by how much its probe would read too hot
    [kelvin], whether a hand reading cleared it."""

    least_kelvin: Mapping[int, float] = {}  # noqa: RUF012  never changed in place
    excess_kelvin: float = 0.0
    over_since_s: float | None = None
    offset_kelvin: float = 0.0
    at_s: float = -math.inf
    cleared: bool = False


def hotter_kelvin(rise: Rise, pace_share: float, wet: float) -> float:
    """How much hotter than the chamber probe the air at a chub seems [kelvin], for a rate and a drying as given."""
    dry = drying_kPa(rise.core_degC + max(0.0, rise.slope) * settle_s(rise.diameter_mm))
    return rise.slope / (pace(rise.diameter_mm) * pace_share) - (rise.air_degC - rise.core_degC) + wet * dry


def step(doubt: Doubt, number: int, rises: Mapping[int, Rise], at_s: float) -> Doubt:
    """Look at a chub, half a minute after the last look; read the result with ``doubted``."""
    rise = rises[number]
    others, most = _others(number, rises)
    differences = _differences(number, others, rises)
    dt_s = min(STEP_MOST_S, max(0.0, at_s - doubt.at_s)) if math.isfinite(doubt.at_s) else 0.0
    least = {n: kelvin + FORGIVEN * dt_s for n, kelvin in doubt.least_kelvin.items()}
    for other, kelvin in differences.items():
        least[other] = min(kelvin, least.get(other, math.inf))
    excess = median_low([kelvin - least[other] for other, kelvin in differences.items()])
    over = excess > most * (AGAIN_FACTOR if doubt.cleared else 1.0)
    # What a drifting probe reads too much, o, follows o' = k (excess - o), for any course of the drift.
    rate = pace(rise.diameter_mm) * rise.pace_share
    offset = doubt.offset_kelvin + rate * (excess - doubt.offset_kelvin) * dt_s
    since = (at_s if doubt.over_since_s is None else doubt.over_since_s) if over else None
    return Doubt(least, excess, since, offset, at_s, doubt.cleared)


def doubted(doubt: Doubt, at_s: float) -> bool:
    """Whether it has been too much for long enough."""
    return doubt.over_since_s is not None and at_s - doubt.over_since_s >= LASTS_S


def _others(number: int, rises: Mapping[int, Rise]) -> tuple[list[int], float]:
    """Whom a chub is held against, and how much its difference to them may grow [kelvin]."""
    line = [n for n, one in rises.items() if n != number and one.line == rises[number].line]
    if line:
        return line, GROWN_KELVIN
    others = [n for n in rises if n != number]
    return others, GROWN_OTHER_LINE_KELVIN if others else GROWN_ALONE_KELVIN


def _differences(number: int, others: list[int], rises: Mapping[int, Rise]) -> dict[int, float]:
    if not others:
        return {0: hotter_kelvin(rises[number], 1.0, WET)}
    wet = median(rises[n].wet for n in (number, *others))
    here = _hotter(rises[number], wet)
    return {n: here - _hotter(rises[n], wet) for n in others}


def _hotter(rise: Rise, wet: float) -> float:
    return hotter_kelvin(rise, rise.pace_share, wet)
