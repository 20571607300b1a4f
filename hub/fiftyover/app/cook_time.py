"""How long each casing line will hang: a few rehearsals on the simulated smoker, differing in what nobody knows yet."""

from __future__ import annotations

import statistics

from fiftyover_kit.contract import limits
from fiftyover_kit.contract.units import kelvin_from_degF_difference

from ..batch.sheet import Sheet
from ..batch.timeline import CookSpan
from ..rehearse.rehearsal import END_S, Rehearsal
from ..rehearse.scenario import Scenario, build_plant

WATTS = 800.0  # of an element whose plate was not read
CHUBS = 3  # of each line: places and surfaces differ among them
# Seed, and share of a free water surface that the casing lets evaporate: it decides the stall, and is not on any label.
TRIALS = ((1, 0.02), (2, 0.03), (3, 0.04))


def rehearsed(sheet: Sheet) -> tuple[list[CookSpan], list[str]]:
    """Soonest, likely and latest duration of each line, and sentences about those that may not get there."""
    spans, told = [], []
    for line, cap_degC in sheet.limits_degC:
        diameter_mm = next(one.diameter_mm for one in sheet.lines if one.name == line)
        found = [s for seed, casing in TRIALS for s in _one(sheet, diameter_mm, cap_degC, seed, casing)]
        got_there = [s for s in found if s is not None]
        seconds = [s if s is not None else float(END_S) for s in found]
        if len(got_there) < len(found):
            told.append(
                f"Line {line!r} may stall under its smoker limit: in {len(found) - len(got_there)} of {len(found)} "
                "rehearsed cases it was not done within 16 h. A water pan, a tighter casing or a higher limit helps."
            )
        spans.append(CookSpan(line, min(seconds), statistics.median(seconds), max(seconds)))
    return spans, told


def _one(sheet: Sheet, diameter_mm: float, cap_degC: float, seed: int, casing: float) -> list[float | None]:
    cook, rig = sheet.recipe.cook, sheet.recipe.rig
    scenario = Scenario(
        seed=seed,
        chubs=CHUBS,
        probes=CHUBS,
        diameters_mm=(diameter_mm,),
        element_watts=rig.watts or WATTS,
        cap_degC=cap_degC,
        kit_cap_degC=min(cap_degC + kelvin_from_degF_difference(10.0), limits.KIT_CAP_DEFAULT_DEGC),
        lift_kelvin=cook.lift_kelvin,
        floor_degC=cook.floor_degC,
        band_degC=(sheet.band.foot_degC, sheet.band.top_degC),
        relay=rig.relay,
        response_s=rig.response_s,
        forecast=False,
        options={"casing_factor": casing},
    )
    return list(Rehearsal(scenario, build_plant(scenario)).run().trace.pulled_s)
