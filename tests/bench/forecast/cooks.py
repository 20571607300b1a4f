"""Simulated cooks for the benchmark, quickly: a plant, the hub's own controller and target, no kit and no contract.

A cook keeps half-minute means as the hub would have them, and the true times at which each chub came to its band.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from other_smoker import LAWS, OtherSmoker

from fiftyover.control.controller import Controller, settings_for
from fiftyover.control.target import follow_degC, margin_kelvin, ripple_room_kelvin
from fiftyover.rehearse.plant import Plant
from fiftyover_kit.contract.units import degC_from_degF

FOOT_DEGC = degC_from_degF(152.0)
AIM_DEGC = degC_from_degF(153.0)
LIFT_KELVIN = 50.0 / 1.8
LONGEST_S = 14 * 3600
NOISE_KELVIN = 0.02  # of a half-minute mean
# Diameter [mm], element [W], limit [°F], the strongest casing factor with which most chubs still get there.
BATCHES = ((45.0, 800.0, 180.0, 0.050), (64.0, 1500.0, 200.0, 0.075), (51.0, 1000.0, 190.0, 0.065))


@dataclass(frozen=True)
class Cook:
    """One cook: rows of (middle s, chamber, cores ..., duty), when chubs were pulled and truly done [s], the law."""

    seed: int
    kind: str
    told_mm: float
    rows: np.ndarray
    pulled_s: np.ndarray
    done_s: np.ndarray
    cap_degC: float
    under_kelvin: float
    line: str = "slim"
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def chubs(self) -> int:
        return int(self.pulled_s.size)


def ours(seed: int, chubs: int = 8, probes: int | None = None, **fixed: Any) -> Cook:
    """The rehearsal's own plant with everything drawn at random that a yard and a rig may differ in."""
    draw = np.random.default_rng([seed, 5])
    mm, watts, cap_degF, most = BATCHES[seed % len(BATCHES)]
    options = {
        "film_W_per_m2_K": draw.uniform(9.0, 15.0),
        "casing_factor": draw.uniform(0.02, most),
        "loss_factor": draw.uniform(0.7, 1.7),
        "capacity_factor": draw.uniform(0.7, 1.7),
        "probe_lag_s": draw.uniform(15.0, 60.0),
        "start_degC": draw.uniform(2.0, 9.0),
        "ambient_degC": draw.uniform(-5.0, 28.0),
        "vapour_Pa": draw.uniform(5000.0, 9000.0),
    } | fixed
    told = {"mm": mm, "watts": watts, "cap_degF": cap_degF}
    plant = Plant(seed, chubs, mm, watts, degC_from_degF(cap_degF), **options)
    return cook(plant, seed, "ours", probes=probes, **told)


def other(seed: int, chubs: int = 8, **fixed: Any) -> Cook:
    """The other smoker: each of its laws, and in turn a diameter 3 % off or a probe tip 5 mm off the axis."""
    draw = np.random.default_rng([seed, 6])
    mm, watts, cap_degF, _ = BATCHES[seed // 3 % len(BATCHES)]
    law = LAWS[seed % len(LAWS)]
    wet = draw.uniform(0.5, 1.0) if mm == 45.0 else draw.uniform(0.6, 1.3)
    real_mm = mm * (1.0, 1.03, 0.97, 1.0)[seed % 4]
    options = {"wet": wet, "film": draw.uniform(9.5, 14.0)} | fixed
    plant = OtherSmoker(seed, chubs, mm, watts, degC_from_degF(cap_degF), law=law, real_mm=real_mm, **options)
    return cook(plant, seed, law, mm=mm, watts=watts, cap_degF=cap_degF, tip_m=0.005 if seed % 4 == 3 else 0.0)


def cook(
    plant: Any,
    seed: int,
    kind: str,
    *,
    mm: float,
    watts: float,
    cap_degF: float,
    tip_m: float = 0.0,
    line: str = "slim",
    probes: int | None = None,
) -> Cook:
    """Cook a plant to the end, or for 14 h; the first so many chubs have a probe and lead while one of them hangs."""
    rng = np.random.default_rng([seed, 7])
    control = Controller(settings_for("solid-state", watts))
    cap_degC = degC_from_degF(cap_degF)
    under = margin_kelvin(watts) + ripple_room_kelvin("solid-state", watts)
    count = len(plant.core_degC)
    pulled, done = np.full(count, np.nan), np.full(count, np.nan)
    rows: list[np.ndarray] = []
    seconds: list[np.ndarray] = []
    cores, duty = np.array(plant.core_degC), 0.0
    known = np.arange(count) < (count if probes is None else probes)
    for second in range(LONGEST_S):
        if second % 5 == 0:
            inside = np.isnan(pulled)
            if not inside.any():
                break
            lead = inside & known if (inside & known).any() else inside
            target = follow_degC(float(cores[lead].min()), LIFT_KELVIN, None, cap_degC, under)
            duty = control.step(second, plant.chamber_degC + 0.03 * rng.standard_normal(), target)
        plant.step(1.0, second % 30 < duty * 30.0)
        cores = np.array(plant.core_degC)
        read = plant.at_radius(tip_m) if tip_m else cores
        seconds.append(np.array([plant.chamber_degC, *read, duty]))
        done[np.isnan(done) & (cores >= FOOT_DEGC)] = second + 1.0
        for index in np.flatnonzero(np.isnan(pulled) & (cores >= AIM_DEGC)):
            pulled[index] = second + 1.0
            plant.pull(int(index))
        if len(seconds) == 30:
            mean = np.mean(seconds, axis=0)
            mean[:-1] += NOISE_KELVIN * rng.standard_normal(count + 1)
            rows.append(np.array([second - 14.0, *mean]))
            seconds = []
    return Cook(seed, kind, mm, np.array(rows), pulled, done, cap_degC, under, line)
