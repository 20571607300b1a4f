"""How long each casing line will hang: a few rehearsals on the simulated smoker, differing in what nobody knows yet."""

from __future__ import annotations

import statistics
from pathlib import Path

from fiftyover_kit.contract import limits
from fiftyover_kit.contract.units import kelvin_from_degF_difference

from ..batch import rig
from ..batch.sheet import Sheet
from ..batch.stages import STAGES
from ..batch.timeline import CookSpan
from ..clock import Clock
from ..errors import StoreError
from ..rehearse.rehearsal import END_S, Rehearsal
from ..rehearse.scenario import Scenario, build_plant
from ..reports import rig_record
from ..store import Reader

WATTS = 800.0  # of an element whose plate was not read
CHUBS = 3  # of each line: places and surfaces differ among them
# Seed, and share of a free water surface that the casing lets evaporate: it decides the stall, and is not on any label.
TRIALS = ((1, 0.02), (2, 0.03), (3, 0.04))


def known(sheet: Sheet, record: Path | None) -> tuple[list[CookSpan], list[str]]:
    """Durations from a record's batches where it has chubs of that diameter, else rehearsed; StoreError, no record."""
    seen = _seen(record) if record is not None else []
    spans, told = [], []
    for line in sheet.lines:
        span = rig.cook_span(line.name, line.diameter_mm, seen)
        if span is None:
            rehearsals, more = rehearsed(sheet, line.name)
            told += more
            span = rehearsals[0]
        spans.append(span)
    return spans, told


def _seen(record: Path) -> list[rig.Hung]:
    if not record.exists():
        raise StoreError(f"There is no record {record}: name another, or leave --record out.")
    clock = Clock()
    reader = Reader(record, clock.utc_zero_ms, clock.boot_uuid())
    try:
        return rig_record.learned(reader)[1]
    finally:
        reader.close()


def rehearsed(sheet: Sheet, only: str | None = None) -> tuple[list[CookSpan], list[str]]:
    """Soonest, likely and latest duration of each line (or one), and sentences about those that may not get there."""
    spans, told = [], []
    for line, cap_degC in sheet.limits_degC:
        if only is not None and line != only:
            continue
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
        stages=STAGES if sheet.schedule is None else sheet.schedule.stages,
    )
    return list(Rehearsal(scenario, build_plant(scenario)).run().trace.pulled_s)
