"""What is measured of a rehearsal, from the true world once a second. Pure; each function says its definition."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fiftyover.process import comeup, lethality
from fiftyover_kit.contract.units import kelvin_from_degF_difference

Array = NDArray[np.float64]

ABOVE_CAP_KELVIN = kelvin_from_degF_difference(0.5)
SETTLE_S = 1200.0  # not judged: so long after the start, and after a door


@dataclass
class Trace:
    """The true world of one rehearsal, a row a second, and what happened in it."""

    times_s: list[float] = field(default_factory=list)
    air_degC: list[float] = field(default_factory=list)
    core_degC: list[list[float]] = field(default_factory=list)
    pulled_s: list[float | None] = field(default_factory=list)
    doors_s: list[float] = field(default_factory=list)
    switchings: int = 0

    def add(self, now_s: float, air_degC: float, core_degC: list[float]) -> None:
        """Record one second; a core without a number (a foreign plant's pulled chub) becomes NaN."""
        self.times_s.append(now_s)
        self.air_degC.append(air_degC)
        self.core_degC.append(core_degC)

    def cores(self) -> Array:
        """Return the true cores, shape (seconds, chubs)."""
        return np.array(self.core_degC, dtype=np.float64)


def wanted_degC(trace: Trace, *, lift_kelvin: float, floor_degC: float | None, ceiling_degC: float) -> Array:
    """Return what the air should have been: min(max(lowest true hanging core + lift, floor), ceiling), unslewed.

    The ceiling is the cap less the margin, the same margin for every controller. NaN once nothing hangs.
    """
    times = np.array(trace.times_s)
    cores = trace.cores()
    for index, pulled_s in enumerate(trace.pulled_s):
        if pulled_s is not None:
            cores[times >= pulled_s, index] = np.inf
    lowest = cores.min(axis=1)
    wanted = lowest + lift_kelvin
    if floor_degC is not None:
        wanted = np.maximum(wanted, floor_degC)
    return np.where(np.isinf(lowest), np.nan, np.minimum(wanted, ceiling_degC))


def hold_error(trace: Trace, wanted: Array) -> tuple[float | None, float | None]:
    """Return (rms, largest magnitude) of true air less wanted [K]; None where no second counts.

    Seconds count after the first 20 min, outside 20 min from the opening of a door, while something hangs.
    """
    times = np.array(trace.times_s)
    counts = (times > SETTLE_S) & ~np.isnan(wanted)
    for door_s in trace.doors_s:
        counts &= (times < door_s) | (times > door_s + SETTLE_S)
    if not counts.any():
        return None, None
    error = np.array(trace.air_degC)[counts] - wanted[counts]
    return float(np.sqrt(np.mean(error**2))), float(np.max(np.abs(error)))


def above_cap(trace: Trace, cap_degC: float) -> tuple[float, float]:
    """Return (minutes of true air above the cap + 0.5 degF, the most it was above the cap itself [K], not below 0)."""
    times = np.array(trace.times_s)
    air = np.array(trace.air_degC)
    if not air.size:
        return 0.0, 0.0
    seconds = np.diff(times, append=times[-1])
    minutes = float(seconds[air > cap_degC + ABOVE_CAP_KELVIN].sum()) / 60.0
    return minutes, max(0.0, float(air.max()) - cap_degC)


def switchings_per_h(trace: Trace) -> float:
    """Return the off-to-on transitions of the element per hour of the rehearsal."""
    hours = trace.times_s[-1] / 3600.0 if trace.times_s else 0.0
    return trace.switchings / hours if hours else 0.0


def peaks_degC(cores: Array) -> list[float]:
    """Return each chub's highest true core, pulled or not, leaving out what has no number."""
    return [float(value) for value in np.nanmax(cores, axis=0)]


def comeup_h(times: Array, core: Array) -> float:
    """Return the warm-up clock of one true core (so far, if it never got there)."""
    known = np.isfinite(core)
    return comeup.hours(times[known], core[known])


def lethality_row_degF(times: Array, core: Array) -> int | None:
    """Return the highest published row that one true core met, or None."""
    known = np.isfinite(core)
    rows = lethality.rows_met(times[known], core[known])
    return max(rows) if rows else None
