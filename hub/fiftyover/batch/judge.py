"""Hot enough, long enough; warmed up and cooled in time: one chub's curve held against the published limits. Pure.

Says which printed row a core met, never that a batch is safe. Only believed readings count (`curves`); a hand reading
counts for the time that the person saw it hold. With poultry in the mix nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fiftyover.batch.curves import GAP_S, Curve
from fiftyover.batch.day import Day, HandRead
from fiftyover.process import comeup, cooling, lethality
from fiftyover.process.additives import COOLING_ERYTHORBATE_LEAST_PPM, COOLING_LEAST_PPM
from fiftyover.process.curve import FloatArray
from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference

ERROR_KELVIN = kelvin_from_degF_difference(1.0)  # of a calibrated probe: our own allowance, added to every limit
EITHER = ("1.5h+5h", "120-55")  # either suffices; the slow way of cured products only where the cure allows it

COOLED_IN_S = 4 * 3600.0  # by when a refrigerator has a chub below 50 °F: our own reckoning, 3.3 h for 90 mm
COOLED_DEGC = degC_from_degF(40.0)  # as cold as a cooling clock asks for

MISSED = (
    "The published rule no longer covers this batch. More cooking does not mend it. Do not taste to decide; ask your "
    "extension office; if in doubt throw it out."
)
POULTRY = (
    "Poultry is in the mix: the 7-log poultry tables of FSIS Appendix A apply, which this tool does not judge. The "
    "advice to consumers is 165 °F."
)
BESIDE = (
    "Advice to consumers: 160 °F for ground meat and game, 165 °F for poultry; the rows are times at a temperature, "
    "written for licensed processors (FSIS Appendix A, 2021). Follow your local code and ask a licensed processor. "
    "This is not a certified safety control."
)


def ways_to_cool(recipe: Mapping[str, Any]) -> tuple[str, ...]:
    """The published ways that may be used: the slow one only with enough nitrite and erythorbate (from memory)."""
    enough = (
        float(recipe.get("nitrite_ppm", 0.0)) >= COOLING_LEAST_PPM
        and float(recipe.get("erythorbate_ppm", 0.0)) >= COOLING_ERYTHORBATE_LEAST_PPM
    )
    return (*EITHER, "cured") if enough else EITHER


def judge_chub(
    curve: Curve | None,
    hands: Sequence[HandRead],
    day: Day,
    hung_s: float,
    pulled_s: float | None,
    error_kelvin: float = ERROR_KELVIN,
) -> dict[str, Any]:
    """What one chub's core shows: JSON-able, times in steady seconds, None or empty where nothing is known."""
    times, core = (curve.times_s, curve.core_degC) if curve is not None else (np.empty(0), np.empty(0))
    rows = [] if day.is_poultry else lethality.rows_met(times, core, error_kelvin, longest_gap_s=GAP_S)
    by_hand = [] if day.is_poultry else _rows_by_hand(hands, error_kelvin)
    reads_s, reads_degC = _with_hands(times, core, hands)
    return {
        "peak_degC": float(np.max(reads_degC)) if reads_degC.size else None,
        "rows_degF": rows,
        "rows_by_hand_degF": by_hand,
        "highest_row_degF": max([*rows, *by_hand], default=None),
        "log10_advisory": None if day.is_poultry or not core.size else _log10(times, core, error_kelvin),
        "warm_up": warm_up(reads_s, reads_degC, day, hung_s),
        "cooling": cool(reads_s, reads_degC, day, pulled_s, error_kelvin),
        "believed_readings": int(core.size),
        "hand_readings": len(hands),
    }


def _log10(times: FloatArray, core: FloatArray, error_kelvin: float) -> float:
    return lethality.log10_reduction(times, core, error_kelvin, longest_gap_s=GAP_S)


def _rows_by_hand(hands: Sequence[HandRead], error_kelvin: float) -> list[int]:
    """Rows whose temperature a hand reading showed for their time."""
    met = set()
    for read in hands:
        for row in lethality.ROWS:
            hot = read.core_degC >= degC_from_degF(row.degF) + error_kelvin - 1e-9
            if hot and read.held_s >= lethality.dwell_s(row):
                met.add(row.degF)
    return sorted(met)


def _with_hands(times: FloatArray, core: FloatArray, hands: Sequence[HandRead]) -> tuple[FloatArray, FloatArray]:
    """Probe and hand readings in one curve; where both are of one moment the probe's stands."""
    reads = {read.at_s: read.core_degC for read in hands} | dict(zip(times.tolist(), core.tolist(), strict=True))
    order = sorted(reads)
    return np.array(order, dtype=np.float64), np.array([reads[at_s] for at_s in order], dtype=np.float64)


def warm_up(times: FloatArray, core: FloatArray, day: Day, hung_s: float) -> dict[str, Any]:
    """The warm-up clock [h] since stuffing: what the curve shows, and what lies before its first reading."""
    if not times.size:
        return {"hours": None, "before_h": 0.0, "limit_h": comeup.LIMIT_H, "kept": None}
    before_h = hours_before(float(times[0]), float(core[0]), day, hung_s)
    total_h = before_h + comeup.hours(times, core)
    reached = float(np.max(core)) >= degC_from_degF(comeup.TO_DEGF)
    kept = total_h <= comeup.LIMIT_H if reached or total_h > comeup.LIMIT_H else None
    return {"hours": total_h, "before_h": before_h, "limit_h": comeup.LIMIT_H, "kept": kept}


def hours_before(first_s: float, first_degC: float, day: Day, hung_s: float) -> float:
    """Hours above 50 °F before the first reading [degC], counted against the batch where they are not known."""
    low = degC_from_degF(comeup.FROM_DEGF)
    began_s = min(hung_s, first_s)
    if first_degC <= low:  # it was cold when first read: only a warm stuffing before the refrigerator counts
        warm = day.stuffed_degC is not None and day.stuffed_degC > low and day.stuffed_s is not None
        until_s = day.held_s if day.held_s is not None else began_s
        return max(0.0, until_s - (day.stuffed_s or 0.0)) / 3600.0 if warm else 0.0
    warm_s = 0.0
    if day.stuffed_s is not None and day.held_s is None:
        began_s = min(began_s, day.stuffed_s)
    elif day.stuffed_s is not None and day.held_s is not None and (day.stuffed_degC or 0.0) > low:
        if began_s - day.held_s < COOLED_IN_S:  # too short to be sure that it was cold in between
            began_s = min(began_s, day.stuffed_s)
        else:
            warm_s = max(0.0, day.held_s - day.stuffed_s)
    return (max(0.0, first_s - began_s) + warm_s) / 3600.0


def cool(
    times: FloatArray, core: FloatArray, day: Day, pulled_s: float | None, error_kelvin: float = ERROR_KELVIN
) -> dict[str, Any]:
    """The cooling clock: every way that may be used, which one suffices, and whether all of them are lost."""
    found: dict[str, Any] = {"met_by": None, "missed": False, "ways": {}, "source": cooling.OPTIONS["1.5h+5h"].source}
    if pulled_s is None or not times.size or times[-1] < pulled_s:
        return found
    for way in ways_to_cool(day.recipe):
        met, detail = cooling.judge(times, core, way, error_kelvin)
        found["ways"][way] = dict(detail)
        if met and found["met_by"] is None:
            found["met_by"] = way
    states = [detail["state"] for detail in found["ways"].values()]
    found["missed"] = found["met_by"] is None and all(state == "failed" for state in states)
    found["start_missing"] = found["met_by"] is None and "start missing" in states
    return found


def sentences(number: int, judged: Mapping[str, Any], day: Day) -> list[str]:
    """What is said of one chub: rows met, clocks kept or missed; never "safe"."""
    told = []
    row = judged["highest_row_degF"]
    if day.is_poultry:
        told.append(f"Chub {number}: no row is claimed, poultry is in the mix.")
    elif row is not None:
        how = "" if row in judged["rows_degF"] else " by a hand reading that held"
        told.append(f"Meets the {row} °F row in chub {number}{how}.")
    else:
        told.append(f"No row is shown to be met in chub {number}.")
    clock = judged["warm_up"]
    if clock["kept"] is False:
        told.append(f"Chub {number} took {clock['hours']:.1f} h from 50 to 130 °F, where 6 h are allowed. {MISSED}")
    chill = judged["cooling"]
    if chill["met_by"] is not None:
        told.append(f"Chub {number} cooled within the limits: {_way(chill['met_by'])}.")
    elif chill["missed"]:
        told.append(f"Chub {number} cooled too slowly for every published way. {MISSED}")
    elif not chill["ways"]:
        told.append(f"The cooling of chub {number} was not read.")
    else:
        told.append(f"The cooling of chub {number} is not shown to the end.")
    return told


def _way(name: str) -> str:
    limits = [one for one in cooling.OPTIONS[name].limits if not one.advised]
    return ", then ".join(f"{one.from_degF} to {one.to_degF} °F in {one.max_s / 3600:g} h" for one in limits)


def coldest(judged: Mapping[int, Mapping[str, Any]]) -> int | None:
    """The chub with the lowest peak among those read: the one that stands for the batch."""
    peaks = {number: one["peak_degC"] for number, one in judged.items() if one["peak_degC"] is not None}
    return min(peaks, key=lambda number: peaks[number], default=None)
