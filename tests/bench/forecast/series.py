"""The rows of each table, cook by cook, so that two processes can share them out. Every function is one cook's work."""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
from cooks import Cook
from judge import FRACTIONS, Row, at, judge, question
from kept import other, ours

from fiftyover.control.forecast import BROAD, CALIBRATED, Prior, fitted, forecast, learn
from fiftyover.control.forecast.heating import EVAPORATION

CHUBS_JUDGED = 2


def plain(seed: int) -> list[Row]:
    """The plant it shares its physics with."""
    return judge(ours(seed), CHUBS_JUDGED)


def foreign(seed: int) -> list[Row]:
    """A plant it was not built for."""
    return judge(other(seed), CHUBS_JUDGED)


def two_probes(seed: int) -> list[Row]:
    """Two probes for twelve chubs."""
    return judge(ours(seed, chubs=12, probes=2), 4, probes=2)


def apart_min(seed: int) -> list[float]:
    """How far the chubs without a probe lie from their middle [min]: what is not read of a chub, its place and its
    surface, nobody can foresee, so no forecast can do better than this by much."""
    done_s = ours(seed, chubs=12, probes=2).done_s[2:]
    return [abs(one - float(np.nanmedian(done_s))) / 60.0 for one in done_s if np.isfinite(one)]


def read_by_hand(seed: int) -> list[Row]:
    """The same, each chub without a probe read once with a hand-held thermometer, half an hour before it is judged."""
    return [row for row in judge(ours(seed, chubs=12, probes=2), 4, probes=2, hand_s=1800.0) if not row.probed]


def off_by(seed: int) -> dict[float, list[Row]]:
    """Priors whose evaporation is off by a factor, on one cook."""
    one, found = ours(seed), {}  # the cooks of the first table, told another thing beforehand
    for factor in (4.0, 0.25):
        mean = list(BROAD.mean)
        mean[EVAPORATION] += math.log(factor)
        found[factor] = judge(one, 1, prior=replace(BROAD, mean=tuple(mean)))
    return found


def rig(seed: int) -> dict[str, list[Row]]:
    """A smoker and a casing that stay: a fourth batch judged with nothing learned and with three batches learned."""
    draw = np.random.default_rng([seed, 8])
    stays: dict[str, Any] = {
        "film_W_per_m2_K": draw.uniform(9.0, 15.0),
        "casing_factor": draw.uniform(0.02, 0.05),
        "loss_factor": draw.uniform(0.7, 1.7),
        "capacity_factor": draw.uniform(0.7, 1.7),
        "probe_lag_s": draw.uniform(15.0, 60.0),
    }
    # Seeds that keep the kind of batch: `ours` takes it from the seed's rest by three.
    days = [ours(seed + 3000 * day, **_another_day(stays, seed, day)) for day in (1, 2, 3, 0)]
    return _fourth(days)


def foreign_rig(seed: int) -> dict[str, list[Row]]:
    """The same in a plant it was not built for."""
    draw = np.random.default_rng([seed, 8])
    stays = {"wet": draw.uniform(0.6, 1.0), "film": draw.uniform(9.5, 14.0)}
    # `other` takes its law from the seed's rest by three, the batch by nine, what is off by four.
    days = [other(seed + 36_000 * day, **_varied(stays, seed, day)) for day in (1, 2, 3, 0)]
    return _fourth(days)


def _fourth(days: list[Cook]) -> dict[str, list[Row]]:
    """The last of some days judged with nothing learned, and with the others learned."""
    prior = BROAD
    for day in days[:-1]:
        prior = learned(prior, day)
    return {"nothing learned": judge(days[-1], 3), "three batches": judge(days[-1], 3, prior=prior)}


def _another_day(stays: dict[str, Any], seed: int, day: int) -> dict[str, Any]:
    """The same rig and casing on another day: both vary by some per cent, the weather freely."""
    vapour = np.random.default_rng([seed, day, 10]).standard_normal()
    return _varied(stays, seed, day) | {"vapour_Pa": 7000.0 + 500.0 * vapour}


def _varied(stays: dict[str, Any], seed: int, day: int) -> dict[str, Any]:
    draw = np.random.default_rng([seed, day, 9])
    return {key: value * (1.0 + 0.04 * draw.standard_normal()) for key, value in stays.items()}


def learned(prior: Prior, cook: Cook) -> Prior:
    """Learn from a whole cook."""
    told = question(cook, float(cook.rows[-1, 0]), prior, None, CALIBRATED)
    found = fitted(told.past, prior, told.lines, told.places)
    return learn(prior, told.lines, told.places, found.theta, found.spread())


def cost_ms(seed: int, repeats: int = 5) -> list[float]:
    """Processor milliseconds of a forecast for 12 chubs at each moment of a cook."""
    one = ours(seed, chubs=12)
    spent = []
    for fraction in FRACTIONS:
        told = question(one, fraction * float(np.nanmedian(one.done_s)), BROAD, None, CALIBRATED)
        for _ in range(repeats):
            began = time.process_time()
            forecast(told)
            spent.append(1000.0 * (time.process_time() - began))
    return spent


def warned_ahead_min(cook: Cook, why: str) -> float | None:
    """How long before a person would see it is it said [min]: the first forecast, one every quarter of an hour, that
    gives this reason for the slowest chub, against the time from which its core rises less than 1 K in an hour."""
    slowest = int(np.argmin(cook.rows[-1, 2 : 2 + cook.chubs]))
    times, core = cook.rows[:, 0], cook.rows[:, 2 + slowest]
    hour = round(3600.0 / 30.0)
    still = np.flatnonzero(core[hour:] - core[:-hour] < 1.0)
    still_s = float(times[hour + int(still[0])]) if still.size else float(times[-1])
    for at_s in np.arange(900.0, times[-1], 900.0):
        if at(cook, float(at_s)).chubs[slowest].why == why:
            return (still_s - float(at_s)) / 60.0
    return None


def stalls(seed: int) -> dict[str, Any]:
    """A limit under which the wet casing cannot get there, and an element too weak for the weather: what is said."""
    wet = ours(3 * seed, casing_factor=0.12, vapour_Pa=6000.0)
    cold = ours(3 * seed + 2, ambient_degC=-20.0, loss_factor=3.2, casing_factor=0.02)
    said = {}
    for name, one in (("limit", wet), ("element", cold)):
        at_s = 3.0 * 3600.0
        told = at(one, at_s).chubs
        stuck = np.isnan(one.done_s)
        said[name] = {
            "stuck": int(stuck.sum()),
            "warned": sum(told[i].stalls > 0.05 for i in np.flatnonzero(stuck)),
            "ahead_min": warned_ahead_min(one, name),
            "why": [told[i].why for i in np.flatnonzero(stuck)],
        }
    return said
