"""How chubs end: pulled as called, for response times, bands, limits and mixed lines."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from smokers import cook, limits

from fiftyover.rehearse.rehearsal import END_S
from fiftyover.rehearse.scenario import Scenario
from fiftyover_kit.contract.units import degC_from_degF, degF_from_degC

RESPONSES_MIN = (0.0, 5.0, 10.0, 15.0)
BANDS_DEGF = ((152.0, 155.0), (160.0, 163.0), (165.0, 168.0))
CAPS_DEGF = (180.0, 190.0, 200.0)
DIAMETERS_MM = ((45.0,), (64.0,), (38.0, 64.0))
CHUBS = 6
QUICK_END_S = 8 * 3600
TOLD = 1e-9


class Case(NamedTuple):
    """One cook's question: response [min], band [°F], limit [°F], diameters [mm]."""

    seed: int
    response_min: float
    band_degF: tuple[float, float]
    cap_degF: float
    diameters_mm: tuple[float, ...]
    end_s: int = END_S


class Ending(NamedTuple):
    """How a case ended: chubs, those that never came to the foot of the band, not called though they did, pulled
    below the foot, ended above the top, the lowest pull and the highest peak [°F], trips."""

    case: Case
    chubs: int
    unreached: int
    uncalled: int
    below: int
    above: int
    lowest_degF: float
    highest_degF: float
    trips: int
    hours: float


def cases(quick: bool) -> list[Case]:
    """All combinations once, each with its own seed; quick takes five (each response, band, limit and line is among
    them) and gives up after 8 h."""
    found = [
        Case(seed, response, band, cap, mm)
        for seed, (response, band, cap, mm) in enumerate(
            (response, band, cap, mm)
            for response in RESPONSES_MIN
            for band in BANDS_DEGF
            for cap in CAPS_DEGF
            for mm in DIAMETERS_MM
        )
    ]
    return [case._replace(end_s=min(END_S, QUICK_END_S)) for case in found[::22]] if quick else found


def ending(case: Case) -> Ending:
    """Cook a case to the end."""
    foot, top = (degC_from_degF(one) for one in case.band_degF)
    scenario = Scenario(
        seed=case.seed,
        chubs=CHUBS,
        probes=CHUBS,
        diameters_mm=case.diameters_mm,
        element_watts=800.0 if max(case.diameters_mm) < 60.0 else 1500.0,
        band_degC=(foot, top),
        response_s=60.0 * case.response_min,
        relay="mechanical" if case.seed % 2 else "solid-state",
        forecast=False,
        options={"casing_factor": 0.03},
    )
    one = cook(replace(scenario, **limits(case.cap_degF)), case.end_s)
    chubs = one.outcome["chubs"]
    reached = [chub for chub in chubs if chub["peak_degC"] >= foot]
    pulled = [chub for chub in chubs if chub["pulled_s"] is not None]
    return Ending(
        case=case,
        chubs=len(chubs),
        unreached=len(chubs) - len(reached),
        uncalled=sum(chub["called_s"] is None for chub in reached),
        below=sum(chub["pulled_degC"] < foot - TOLD for chub in pulled),
        above=sum(chub["peak_degC"] > top + TOLD for chub in chubs),
        lowest_degF=degF_from_degC(min((chub["pulled_degC"] for chub in pulled), default=float("nan"))),
        highest_degF=degF_from_degC(max(chub["peak_degC"] for chub in chubs)),
        trips=len({chub["pulled_s"] for chub in pulled}),
        hours=one.outcome["simulated_s"] / 3600.0,
    )
