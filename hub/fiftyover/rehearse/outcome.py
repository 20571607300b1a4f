"""What a rehearsal prints: one JSON object with fixed keys, or a table for a person."""

from typing import Any

import numpy as np

from fiftyover.rehearse import measure
from fiftyover.rehearse.rehearsal import Result
from fiftyover.rehearse.scenario import Scenario
from fiftyover_kit.contract.units import degF_from_degC


def as_dict(scenario: Scenario, result: Result, margin_kelvin: float) -> dict[str, Any]:
    """Return the result under the keys of the plant protocol; what never came is None."""
    trace = result.trace
    wanted = measure.wanted_degC(
        trace,
        lift_kelvin=scenario.lift_kelvin,
        floor_degC=scenario.floor_degC,
        ceiling_degC=scenario.cap_degC - margin_kelvin,
    )
    rms, most = measure.hold_error(trace, wanted)
    minutes, worst = measure.above_cap(trace, scenario.cap_degC)
    return {
        "seed": scenario.seed,
        "controller": scenario.controller,
        "simulated_s": result.simulated_s,
        "taken_s": result.taken_s,
        "rms_kelvin": rms,
        "max_kelvin": most,
        "above_cap_min": minutes,
        "worst_above_cap_kelvin": worst,
        "switchings_per_h": measure.switchings_per_h(trace),
        "chubs": _chubs(result),
    }


def _chubs(result: Result) -> list[dict[str, Any]]:
    trace = result.trace
    cores, times = trace.cores(), np.array(trace.times_s)
    if result.after.times_s:
        cores = np.vstack([cores, result.after.cores()])
        times = np.append(times, result.after.times_s)
    peaks = measure.peaks_degC(cores)
    chubs: list[dict[str, Any]] = []
    for index, pulled_s in enumerate(trace.pulled_s):
        called_s = result.called_s.get(index + 1)
        core = cores[:, index]
        chubs.append(
            {
                "called_s": called_s,
                "called_degC": _at(core, called_s),
                "pulled_s": pulled_s,
                "pulled_degC": _at(core, pulled_s),
                "peak_degC": peaks[index],
                "comeup_h": measure.comeup_h(times, core),
                "lethality_row_degF": measure.lethality_row_degF(times, core),
                "forecasts": result.forecasts[index],
            }
        )
    return chubs


def _at(core: measure.Array, when_s: float | None) -> float | None:
    """Return a true core at a second of the trace, whose rows are one second apart from 0."""
    return None if when_s is None else float(core[round(when_s)])


def as_text(scenario: Scenario, outcome: dict[str, Any]) -> str:
    """Return a table of the chubs and a closing summary, in the trade's units."""
    lines = ["chub   mm  probe  called   pulled   core at pull   peak     warm-up   row met"]
    for index, chub in enumerate(outcome["chubs"]):
        probe = "yes" if index < scenario.probes else "hand"
        row = chub["lethality_row_degF"]
        lines.append(
            f"{index + 1:>4} {scenario.diameter_mm(index):>4g}  {probe:<5}  {_clock(chub['called_s']):>6}   "
            f"{_clock(chub['pulled_s']):>6}   {_degF(chub['pulled_degC']):>12}   {_degF(chub['peak_degC']):>8} "
            f"{chub['comeup_h']:>6.2f} h   {'-' if row is None else f'{row} °F'}"
        )
    return "\n".join([*lines, "", *_summary(scenario, outcome)])


def _summary(scenario: Scenario, outcome: dict[str, Any]) -> list[str]:
    foot, top = scenario.band_degC
    inside = sum(
        1 for chub in outcome["chubs"] if chub["pulled_degC"] is not None and foot <= chub["pulled_degC"] <= top
    )
    hold = "no figure: it ended within 20 min"
    if outcome["rms_kelvin"] is not None:
        hold = f"off by {outcome['rms_kelvin']:.2f} K rms, {outcome['max_kelvin']:.2f} K at most"
    speed = outcome["simulated_s"] / max(outcome["taken_s"], 1e-9)
    band = f"{degF_from_degC(foot):.0f}-{degF_from_degC(top):.0f} °F"
    return [
        f"{inside} of {len(outcome['chubs'])} chubs were pulled at {band}; "
        f"the rehearsal ended after {_clock(outcome['simulated_s'])} h.",
        f"The chamber was {hold}; {outcome['above_cap_min']:.1f} min above the limit of "
        f"{degF_from_degC(scenario.cap_degC):.0f} °F, by {outcome['worst_above_cap_kelvin']:.2f} K at most.",
        f"The element was switched on {outcome['switchings_per_h']:.0f} times an hour "
        f"({scenario.relay}, {scenario.controller}).",
        f"A simulated smoker, not yours: {outcome['taken_s']:.1f} s for the cook, {speed:.0f} times real time.",
    ]


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _degF(degC: float | None) -> str:
    return "-" if degC is None else f"{degF_from_degC(degC):.1f} °F"
