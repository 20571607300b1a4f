"""Meat for the tests of the forecast: the rehearsal's chubs (other numerics than the forecast's) in a plain chamber.

The chamber has a capacity and a loss and is driven towards the law's target with a lag, by at most so many watts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fiftyover.control.forecast import BROAD, Law, Past, Prior, Question
from fiftyover.rehearse.chubs import Chubs

FOOT_DEGC = 66.67
LIFT_KELVIN = 27.78
YARD_DEGC = 15.0
DT_S = 4.0
LAG_S = 120.0
CAPACITY_J_PER_K, LOSS_W_PER_K = 2600.0, 4.5


@dataclass(frozen=True)
class Meat:
    """A whole cook: minutes of chamber and cores, when each chub came to its band [s] (NaN never), duty, diameters."""

    air_degC: np.ndarray
    core_degC: np.ndarray
    done_s: np.ndarray
    duty: np.ndarray
    mm: np.ndarray
    cap_degC: float


@lru_cache(maxsize=32)
def hang(
    casing: float = 0.04,
    film: float = 12.0,
    cap_degC: float = 84.0,
    mm: tuple[float, ...] = (45.0, 45.0, 45.0),
    gains: tuple[float, ...] = (0.02, 0.0, -0.02),
    hours: float = 9.0,
    watts: float = 900.0,
) -> Meat:
    """Cook to the end, or for so long; a chub is taken out half a kelvin over the foot of its band."""
    count = len(mm)
    chubs = Chubs(
        np.array(mm), np.full(count, film), np.array(gains), length_m=0.3, casing_factor=casing, start_degC=5.0
    )
    air, taken, power = YARD_DEGC, 0.0, 0.0
    done, inside = np.full(count, np.nan), np.ones(count, dtype=bool)
    airs, cores, duty = [], [chubs.core_degC()], []
    for step in range(int(hours * 3600.0 / DT_S)):
        core = chubs.core_degC()
        if step % 15 == 0 and step:
            airs.append(air)
            cores.append(core)
            duty.append(power / watts)
        if not inside.any():
            break
        target = min(float(core[inside].min()) + LIFT_KELVIN, cap_degC - 1.0)
        lost = LOSS_W_PER_K * (air - YARD_DEGC) + taken
        power = min(watts, max(0.0, lost + (target - air) * CAPACITY_J_PER_K / LAG_S))
        air += (power - lost) * DT_S / CAPACITY_J_PER_K
        taken, _, _ = chubs.step(DT_S, air, YARD_DEGC)
        done[np.isnan(done) & (core >= FOOT_DEGC)] = step * DT_S
        for index in np.flatnonzero(inside & (core >= FOOT_DEGC + 0.5)):
            chubs.pull(int(index))
            inside[index] = False
    return Meat(np.array(airs), np.array(cores), done, np.array(duty), np.array(mm), cap_degC)


def ask(
    meat: Meat,
    share_of: float,
    index: int = 0,
    *,
    prior: Prior = BROAD,
    probed: tuple[int, ...] | None = None,
    at_s: float | None = None,
    hand: tuple[int, int] | None = None,
    lines: tuple[str, ...] | None = None,
    caps_degC: tuple[float, ...] | None = None,
) -> tuple[Question, float]:
    """The question at a share of one chub's time, and that time [s]. `hand`: (chub, minutes ago) was read by hand."""
    steps = int((share_of * meat.done_s[index] if at_s is None else at_s) / 60.0)
    count = meat.mm.size
    cores = meat.core_degC[: steps + 1] + 0.02 * np.random.default_rng(3).standard_normal((steps + 1, count))
    out = ~np.isnan(meat.done_s) & (meat.done_s < steps * 60.0)
    known = [i for i in range(count) if probed is None or i in probed]
    seen = np.full_like(cores, np.nan)
    for i in known:
        seen[:, i] = cores[:, i]
    if hand is not None:
        seen[-1 - hand[1], hand[0]] = meat.core_degC[steps - hand[1], hand[0]]
    past = Past(
        dt_s=60.0,
        air_degC=meat.air_degC[:steps],
        core_degC=seen,
        start_degC=np.full(count, 5.0),
        hung_step=np.zeros(count, dtype=np.int64),
        radius_m=meat.mm / 2000.0,
        yard_degC=YARD_DEGC,
        start_slope=np.zeros(count),
        duty=meat.duty[:steps],
    )
    law = Law(
        lift_kelvin=LIFT_KELVIN,
        floor_degC=None,
        under_cap_kelvin=1.0,
        caps_degC=np.array(caps_degC) if caps_degC else np.full(count, meat.cap_degC),
        leads=np.array([i in known for i in range(count)]),
        hanging=~out,
    )
    return Question(past, law, lines or ("slim",) * count, ("",) * count, FOOT_DEGC, prior), 60.0 * steps
