"""Random smokers and one cook in each, with the whole chain: plant, kit, contract, hub, a person.

A smoker here is the rehearsal's own plant with everything drawn that a yard and a rig may differ in; all controllers
meet the same smoker with the same seed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fiftyover.control.target import margin_kelvin
from fiftyover.rehearse import measure
from fiftyover.rehearse.outcome import as_dict
from fiftyover.rehearse.rehearsal import Rehearsal, Result
from fiftyover.rehearse.scenario import KIT_CAP_ABOVE_DEGF, Scenario, build_plant
from fiftyover_kit.contract.units import degC_from_degF

DOOR_S = 60.0


@dataclass(frozen=True)
class Cook:
    """One run: what was asked, what `--json` says of it, and the true world second by second."""

    scenario: Scenario
    outcome: dict[str, Any]
    result: Result


def limits(cap_degF: float) -> dict[str, float]:
    """Limit of the cook, and the kit's cut-off above it."""
    return {
        "cap_degC": degC_from_degF(cap_degF),
        "kit_cap_degC": min(degC_from_degF(cap_degF + KIT_CAP_ABOVE_DEGF), degC_from_degF(225.0)),
    }


def smoker(number: int, seed: int = 0, **told: Any) -> Scenario:
    """Smoker `number` of the random ones; `seed` gives it other weather, mains, fire, places and surfaces."""
    draw = np.random.default_rng([number, 31])
    millimetres = float(draw.choice([38.0, 45.0, 51.0, 64.0]))
    chubs = int(draw.integers(3, 12))
    scenario = Scenario(
        seed=1000 * seed + number,
        chubs=chubs,
        probes=chubs,
        diameters_mm=(millimetres,),
        element_watts=float(draw.uniform(800.0, 1500.0)),
        forecast=False,
        options={
            "loss_factor": float(draw.uniform(0.6, 2.0)),
            "capacity_factor": float(draw.uniform(0.6, 1.8)),
            "probe_lag_s": float(draw.uniform(15.0, 60.0)),
            "casing_factor": float(draw.uniform(0.02, 0.05)),
            "film_W_per_m2_K": float(draw.uniform(9.0, 15.0)),
            "ambient_degC": float(draw.uniform(0.0, 28.0)),
        },
        **limits(float(draw.choice([180.0, 190.0, 200.0]))),
    )
    return replace(scenario, **told)


def cook(scenario: Scenario, end_s: int) -> Cook:
    """Cook until all chubs are out or so long."""
    result = Rehearsal(scenario, build_plant(scenario)).run(end_s)
    return Cook(scenario, as_dict(scenario, result, margin_kelvin(scenario.element_watts)), result)


def overshoot_kelvin(one: Cook, door_s: float) -> float:
    """The most that the true air was over what was wanted, from the closing of a door for 20 min [kelvin]."""
    trace, told = one.result.trace, one.scenario
    wanted = measure.wanted_degC(
        trace,
        lift_kelvin=told.lift_kelvin,
        floor_degC=told.floor_degC,
        ceiling_degC=told.cap_degC - margin_kelvin(told.element_watts),
    )
    times, air = np.array(trace.times_s), np.array(trace.air_degC)
    here = (times >= door_s + DOOR_S) & (times <= door_s + measure.SETTLE_S) & ~np.isnan(wanted)
    return float(np.max((air - wanted)[here], initial=0.0))
