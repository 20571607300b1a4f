"""What is known of a smoker and a casing line before a batch: means and spreads of the six figures, as plain data.

The chubs of one batch have much in common (the smoker), the chubs of one casing line more (the casing), and each is a
little different (its place, its surface). So a figure of a chub is: mean + common + line + own, each with its spread.
After a batch the line's mean and spread are learned from it (`learn`); places keep how hot they run.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fiftyover.control.forecast.heating import (
    BEND,
    BEND_AT_DEGC,
    EVAPORATION,
    NAMES,
    PLACE,
    VAPOUR,
    Array,
    saturation_kPa,
)
from fiftyover.errors import ProcessError

# Six figures in the order of `heating.NAMES`: log film [W/(m2 K)], log evaporation [K/kPa], log diffusivity [m2/s],
# place [ratio], vapour [kPa], bend [ratio per 10 K]. Film 9..16 and diffusivity 1.2e-7: control study of our own and
# Marcotte et al. 2008; evaporation: our own study (a twentieth of a free wet surface), by a factor of four either way;
# the others from memory.
MEAN = (math.log(12.0), math.log(0.55), math.log(1.22e-7), 0.0, 7.0, -0.05)
COMMON = (0.22, 1.4, 0.06, 0.02, 1.5, 0.20)
LINE = (0.06, 0.30, 0.05, 0.0, 0.0, 0.06)
OWN = (0.07, 0.06, 0.02, 0.04, 0.0, 0.02)
# A batch never teaches more than this: the next one differs (weather, meat, water pan).
LEAST = (0.09, 0.25, 0.035, 0.012, 0.9, 0.07)
BATCHES_MOST = 6
HOPE = 0.3  # log: how far below the strongest evaporation that still lets a chub finish
TAIL = 3.0  # degrees of freedom of the common part: a prior that is far off gives way


@dataclass(frozen=True, slots=True)
class LinePrior:
    """Learned of one casing line: means, spreads (both of `heating.NAMES`) and from how many batches."""

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    batches: int


@dataclass(frozen=True, slots=True)
class Prior:
    """Everything known before a batch. ``lines`` by casing line, ``places`` by place: (place figure, batches)."""

    mean: tuple[float, ...] = MEAN
    common: tuple[float, ...] = COMMON
    line: tuple[float, ...] = LINE
    own: tuple[float, ...] = OWN
    lines: Mapping[str, LinePrior] = field(default_factory=dict)
    places: Mapping[str, tuple[float, int]] = field(default_factory=dict)


BROAD = Prior()


@dataclass(frozen=True, slots=True)
class Expected:
    """A prior laid out for one batch: means shape (6, chubs), covariances shape (6, chubs, chubs) by level."""

    mean: Array
    shared: Array
    own: Array

    def covariance(self, looser: Array) -> Array:
        """Give the covariance (6, chubs, chubs), the shared part loosened by a factor per figure (6,) [ratio]."""
        return np.asarray(self.shared * looser[:, None, None] + self.own)


def expected(prior: Prior, lines: Sequence[str], places: Sequence[str]) -> Expected:
    """Lay a prior out for chubs of these casing lines hanging in these places (both of length chubs; no units).

    Returns: Expected, in the units of `heating.NAMES`. Raises nothing. Source: hierarchical normal model.
    """
    count = len(lines)
    mean = np.repeat(np.array(prior.mean)[:, None], count, axis=1)
    shared = np.zeros((len(NAMES), count, count))
    own = np.zeros_like(shared)
    common, line, each = (np.square(np.array(part)) for part in (prior.common, prior.line, prior.own))
    for i, mine in enumerate(lines):
        learned = prior.lines.get(mine)
        if learned is not None:
            mean[:, i] = learned.mean
        for k, theirs in enumerate(lines):
            if learned is not None and mine == theirs:
                shared[:, i, k] = np.square(np.array(learned.spread))
            elif learned is None and theirs not in prior.lines:
                shared[:, i, k] = common + (line if mine == theirs else 0.0)
        own[:, i, i] = each
        hot = prior.places.get(places[i])
        if hot is not None:
            mean[PLACE, i] += hot[0]
            own[PLACE, i, i] = each[PLACE] / (1.0 + hot[1])
    own += 1e-10 * np.eye(count)
    return Expected(mean, shared, own)


def hopeful(before: Expected, air_degC: Array, foot_degC: float) -> Expected:
    """Take into account that a batch was planned to finish: who chose the limit expected the meat to get there.

    An evaporation so strong that the mean chub could not come to the foot of its band even in the hottest chamber it
    may get is brought down to one with which it could, and the spread takes in what it was brought down by, so that a
    chub that does stall is still believed.

    Parameters: ``air_degC`` hottest chamber that the law can ask for, shape (chubs,) [degC]; ``foot_degC`` of the band.
    Returns: Expected. Raises nothing. Source: balance of the surface at rest, air - T = E (p_sat(T) - p).
    """
    mean, shared = before.mean.copy(), before.shared.copy()
    bend = np.exp(mean[BEND] * (foot_degC - BEND_AT_DEGC) / 10.0)
    over = np.maximum(saturation_kPa(np.full(mean.shape[1], foot_degC)) - mean[VAPOUR], 1.0) * bend
    most = np.log(np.maximum(air_degC - foot_degC, 0.5) / over) - HOPE
    down = np.maximum(mean[EVAPORATION] - most, 0.0)
    mean[EVAPORATION] -= down
    shared[EVAPORATION] += np.multiply.outer(down, down) / 4.0
    return Expected(mean, shared, before.own)


def learn(prior: Prior, lines: Sequence[str], places: Sequence[str], found: Array, sure: Array) -> Prior:
    """Learn from a finished batch.

    Parameters: ``lines``, ``places`` of the probed chubs, words; ``found`` (6, chubs) their fitted figures, ``sure``
    (6, chubs) their standard deviations, in the units of `heating.NAMES`.
    Returns: a new Prior. Raises nothing. Source: running mean, weighted by what the batch could tell.
    """
    known = dict(prior.lines)
    for line in dict.fromkeys(lines):
        here = [i for i, name in enumerate(lines) if name == line]
        known[line] = _learned(prior, line, found[:, here].mean(axis=1), sure[:, here].mean(axis=1))
    spots = dict(prior.places)
    middle = float(found[PLACE].mean()) if len(lines) else 0.0
    for i, place in enumerate(places):
        if place and len(places) > 1:
            was, batches = spots.get(place, (0.0, 0))
            spots[place] = ((was * batches + float(found[PLACE, i]) - middle) / (batches + 1), batches + 1)
    return Prior(prior.mean, prior.common, prior.line, prior.own, known, spots)


def _learned(prior: Prior, line: str, found: Array, sure: Array) -> LinePrior:
    least = np.array(LEAST)
    before = prior.lines.get(line)
    if before is None:
        start, broad, batches = np.array(prior.mean), np.hypot(prior.common, prior.line), 0
    else:
        start, broad, batches = np.array(before.mean), np.array(before.spread), before.batches
    told = np.square(np.hypot(sure, least))
    weight = np.square(broad) / (np.square(broad) + told)
    mean = start + weight * (found - start)
    spread = np.sqrt(np.square(broad) * (1.0 - weight))
    spread = np.maximum(spread, least * (1.0 + 0.5 / (batches + 1)))
    surprise = np.abs(found - start) / np.hypot(broad, np.sqrt(told))
    spread = np.where(surprise > 2.0, np.maximum(spread, np.abs(found - mean)), spread)
    return LinePrior(tuple(mean.tolist()), tuple(spread.tolist()), min(batches + 1, BATCHES_MOST))


def to_data(prior: Prior) -> dict[str, Any]:
    """Write what was learned as JSON-able data (no units: those of `heating.NAMES`)."""
    return {
        "figures": list(NAMES),
        "lines": {
            name: {"mean": list(one.mean), "spread": list(one.spread), "batches": one.batches}
            for name, one in prior.lines.items()
        },
        "places": {name: list(one) for name, one in prior.places.items()},
    }


def from_data(data: Mapping[str, Any]) -> Prior:
    """Read what `to_data` wrote (dict). ProcessError, one sentence, if it cannot be used."""
    try:
        if list(data["figures"]) != list(NAMES):
            raise ProcessError("What was learned of this smoker is of another version of the forecast: begin anew.")
        lines = {name: _line(one) for name, one in data["lines"].items()}
        places = {str(name): (float(hot), int(batches)) for name, (hot, batches) in data["places"].items()}
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        raise ProcessError(f"What was learned of this smoker cannot be read ({fault!r}): begin anew.") from fault
    return Prior(lines=lines, places=places)


def _line(one: Mapping[str, Any]) -> LinePrior:
    mean, spread = tuple(map(float, one["mean"])), tuple(map(float, one["spread"]))
    if len(mean) != len(NAMES) or len(spread) != len(NAMES) or not all(map(math.isfinite, mean)):
        raise ValueError("a casing line has not six finite figures")
    if not all(0.0 < value < 100.0 for value in spread):
        raise ValueError("a casing line has a spread that is not above 0")
    return LinePrior(mean, spread, int(one["batches"]))
