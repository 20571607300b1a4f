"""How long each casing line will hang: a few rehearsals on the simulated smoker, differing in what nobody knows yet."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from fiftyover_kit.contract import limits
from fiftyover_kit.contract.units import kelvin_from_degF_difference

from ..batch import rig
from ..batch.sheet import Sheet
from ..batch.timeline import CookSpan
from ..clock import Clock
from ..errors import StoreError
from ..rehearse.measure import Trace
from ..rehearse.rehearsal import END_S, Rehearsal
from ..rehearse.scenario import Scenario, build_plant
from ..reports import rig_record
from ..store import Reader

WATTS = 800.0  # of an element whose plate was not read
POINT_S = 300  # of a practice curve
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
    return summed([trial(sheet, line, number) for line, number in trials(sheet) if only in (None, line)])


class Curve(NamedTuple):
    """One simulated chub, every five minutes until it was pulled: its core, and the chamber it hung in [degC]."""

    end_s: float | None
    core_degC: tuple[float, ...]
    chamber_degC: tuple[float, ...]


class Trial(NamedTuple):
    """One simulated cook of one casing line."""

    line: str
    chubs: tuple[Curve, ...]


def trials(sheet: Sheet) -> list[tuple[str, int]]:
    """What is to be cooked for a practice: casing line and number of the trial."""
    return [(line, number) for line, _ in sheet.limits_degC for number in range(len(TRIALS))]


def trial(sheet: Sheet, line: str, number: int) -> Trial:
    """Cook once (seconds of work)."""
    seed, casing = TRIALS[number]
    cap_degC = dict(sheet.limits_degC)[line]
    diameter_mm = next(one.diameter_mm for one in sheet.lines if one.name == line)
    trace = _one(sheet, diameter_mm, cap_degC, seed, casing)
    cores, found = trace.cores()[::POINT_S], []
    air = np.array(trace.air_degC)[::POINT_S]
    for index, end_s in enumerate(trace.pulled_s):
        rows = len(air) if end_s is None else min(len(air), int(end_s // POINT_S) + 1)
        core = tuple(round(float(v), 2) for v in cores[:rows, index])
        found.append(Curve(end_s, core, tuple(round(float(v), 2) for v in air[:rows])))
    return Trial(line, tuple(found))


def summed(cooked: Sequence[Trial]) -> tuple[list[CookSpan], list[str]]:
    """Durations of each line of some trials, and sentences about those that may not get there."""
    spans, told = [], []
    for line in dict.fromkeys(one.line for one in cooked):
        ends = [chub.end_s for one in cooked if one.line == line for chub in one.chubs]
        missed = sum(end_s is None for end_s in ends)
        if missed:
            told.append(
                f"Line {line!r} may stall under its smoker limit: in {missed} of {len(ends)} "
                "rehearsed cases it was not done within 16 h. A water pan, a tighter casing or a higher limit helps."
            )
        seconds = [float(END_S) if end_s is None else end_s for end_s in ends]
        spans.append(CookSpan(line, min(seconds), statistics.median(seconds), max(seconds)))
    return spans, told


def likely(cooked: Sequence[Trial]) -> list[dict[str, Any]]:
    """Of each line the quickest, the middle and the slowest chub as curves over time, JSON-able; steps of `step_s`."""
    told = []
    for line in dict.fromkeys(one.line for one in cooked):
        chubs = [chub for one in cooked if one.line == line for chub in one.chubs]
        chubs.sort(key=lambda chub: float("inf") if chub.end_s is None else chub.end_s)
        quick, middle, slow = chubs[0], chubs[len(chubs) // 2], chubs[-1]
        told.append(
            {
                "line": line,
                "step_s": POINT_S,
                "quick_degC": quick.core_degC,
                "likely_degC": middle.core_degC,
                "slow_degC": slow.core_degC,
                "chamber_degC": middle.chamber_degC,
            }
        )
    return told


def _one(sheet: Sheet, diameter_mm: float, cap_degC: float, seed: int, casing: float) -> Trace:
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
    return Rehearsal(scenario, build_plant(scenario)).run().trace
