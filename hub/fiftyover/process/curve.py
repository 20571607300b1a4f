"""A recorded core temperature: checked once, then asked for crossings and times within a band.

Between two samples the core is taken to move in a straight line.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fiftyover.errors import ProcessError
from fiftyover.process.domain import ROUNDING

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A core outside this is no meat: wet meat does not pass the boiling point by much, nor does a home freezer go lower.
CORE_LOWEST_DEGC = -40.0
CORE_HIGHEST_DEGC = 120.0


def checked(times_s: ArrayLike, core_degC: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return both as float arrays of shape (n,), n >= 0.

    Parameters
    ----------
    times_s : array_like, shape (n,)
        Times [s], finite and strictly increasing, from any zero.
    core_degC : array_like, shape (n,)
        Core temperatures [degC], finite.

    Raises
    ------
    ProcessError
        Shapes differ or are not flat, a value is missing (NaN), time stands still or runs backwards, or a
        temperature lies outside -40..120 degC (degF typed for degC).
    """
    times, core = _flat("times_s", times_s), _flat("core_degC", core_degC)
    if times.shape != core.shape:
        raise ProcessError(f"There are {times.size} times but {core.size} core temperatures: give one for each.")
    steps = np.diff(times)
    if np.any(steps <= 0.0):
        at = int(np.argmax(steps <= 0.0)) + 1
        raise ProcessError(f"Time {at} ({times[at]:g} s) is not after the one before: sort them and drop repeats.")
    outside = (core < CORE_LOWEST_DEGC) | (core > CORE_HIGHEST_DEGC)
    if np.any(outside):
        at = int(np.argmax(outside))
        raise ProcessError(f"Core temperature {at} is {core[at]:g} degC, which no meat has: degF typed for degC?")
    return times, core


def _flat(name: str, values: ArrayLike) -> FloatArray:
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ProcessError(f"{name} holds something that is no number: leave such samples out.") from None
    if array.ndim != 1:
        raise ProcessError(f"{name} has {array.ndim} dimensions: one flat list is needed.")
    if not np.all(np.isfinite(array)):
        at = int(np.argmin(np.isfinite(array)))
        raise ProcessError(f"{name} has no number at place {at}: leave such samples out.")
    return array


def longest_s(times: FloatArray, holds: BoolArray) -> float:
    """Return the length [s] of the longest unbroken run.

    Parameters
    ----------
    times : ndarray, shape (n,)
        Times [s], strictly increasing.
    holds : ndarray of bool, shape (n - 1,)
        Whether each interval between two samples counts.
    """
    edges = np.diff(np.concatenate(([0], holds.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if starts.size == 0:
        return 0.0
    return float(np.max(times[ends] - times[starts]))


def within_s(times: FloatArray, core: FloatArray, low_degC: float, high_degC: float) -> float:
    """Return the total time [s] with the core strictly between two temperatures [degC].

    Shapes of ``times`` [s] and ``core`` [degC] are (n,); crossings are interpolated.
    """
    first, second = core[:-1], core[1:]
    below, above = np.minimum(first, second), np.maximum(first, second)
    rise = above - below
    level = rise == 0.0
    share = (np.clip(above, low_degC, high_degC) - np.clip(below, low_degC, high_degC)) / np.where(level, 1.0, rise)
    share = np.where(level, (below > low_degC) & (below < high_degC), share)
    return float(np.sum(share * np.diff(times)))


def first_fall_s(times: FloatArray, core: FloatArray, level_degC: float) -> float | None:
    """Return when [s] the core is first at or below ``level_degC``, interpolated; None if never."""
    low = core <= level_degC + ROUNDING
    if not np.any(low):
        return None
    at = int(np.argmax(low))
    return float(times[0]) if at == 0 else _crossing_s(times, core, at - 1, level_degC)


def last_fall_s(times: FloatArray, core: FloatArray, level_degC: float) -> float | None:
    """Return when [s] the core went to or below ``level_degC`` for the last time, interpolated.

    None if it ends above (or there are no samples); the first time if it never was above.
    """
    if core.size == 0 or core[-1] > level_degC + ROUNDING:
        return None
    high = np.flatnonzero(core > level_degC + ROUNDING)
    return float(times[0]) if high.size == 0 else _crossing_s(times, core, int(high[-1]), level_degC)


def _crossing_s(times: FloatArray, core: FloatArray, before: int, level_degC: float) -> float:
    share = (core[before] - level_degC) / (core[before] - core[before + 1])
    return float(times[before] + min(1.0, share) * (times[before + 1] - times[before]))
