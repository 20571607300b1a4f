"""Hot enough, long enough: the published rows of temperature and time, and an advisory integral.

The printed rows decide. They speak of meat without poultry: any poultry in the mix puts the batch under the
poultry tables, about which nothing here claims anything. Rows hold under the conditions of their guideline
(moisture, warm-up time: `comeup`); the consumer advice stands beside them and is higher.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from fiftyover.errors import ProcessError
from fiftyover.process.curve import FloatArray, checked, longest_s
from fiftyover.process.domain import ROUNDING, between
from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference


class Row(NamedTuple):
    """One printed row: a temperature and the time to hold it for a 6.5-, 7- and 5-log10 reduction."""

    degF: int
    for_6p5_s: int
    for_7_s: int
    for_5_s: int


# FSIS Cooking Guideline for Meat and Poultry Products (Revised Appendix A), December 2021: table 2 (6.5 and
# 7 log10, p. 35) and table 6 (5 log10, p. 59). The degF column rules (137 and 139 degF are misprinted in degC).
# 158 degF and above are printed as "0 sec": an administrative value, met by the first reading.
ROWS = (
    Row(130, 6720, 7260, 5160), Row(131, 5340, 5820, 4140), Row(132, 4260, 4620, 3300),
    Row(133, 3360, 3720, 2640), Row(134, 2700, 2820, 2100), Row(135, 2160, 2220, 1680),
    Row(136, 1680, 1920, 1320), Row(137, 1380, 1440, 1080), Row(138, 1080, 1140, 840),
    Row(139, 900, 900, 660), Row(140, 720, 720, 540), Row(141, 540, 600, 420),
    Row(142, 480, 480, 360), Row(143, 360, 360, 300), Row(144, 300, 300, 240),
    Row(145, 240, 240, 180), Row(146, 169, 182, 130), Row(147, 134, 144, 103),
    Row(148, 107, 115, 82), Row(149, 85, 91, 65), Row(150, 67, 72, 52),
    Row(151, 54, 58, 41), Row(152, 43, 46, 33), Row(153, 34, 37, 26),
    Row(154, 27, 29, 21), Row(155, 22, 23, 17), Row(156, 17, 19, 14),
    Row(157, 14, 15, 11), Row(158, 0, 0, 0), Row(159, 0, 0, 0), Row(160, 0, 0, 0),
)  # fmt: skip

# Closed form through the 6.5-log column: z = 10 degF and 112 min at 130 degF, so D130 = 112 / 6.5 = 17.23 min.
# A fit, not printed by FSIS; single rows lie up to 13 % above it.
REFERENCE_DEGF = 130.0
Z_KELVIN = kelvin_from_degF_difference(10.0)
D_AT_REFERENCE_S = 112.0 * 60.0 / 6.5

# Consumer advice, degF at the core: ground meat and game (NCHFP; Mayo Clinic), poultry (Mayo Clinic).
# A news report of 2024 has the CDC say 165 degF for game.
CONSUMER_ADVICE_DEGF = {"ground meat": 160, "game": 160, "poultry": 165}

_LARGEST_ERROR_KELVIN = 10.0


def dwell_s(row: Row, log10: float = 6.5) -> int:
    """Return how long a row's temperature must be held.

    Parameters
    ----------
    row : Row
        One of ``ROWS``.
    log10 : float
        Reduction asked for [log10]: 5, 6.5 or 7. (7 here is the meat table's column, not the poultry tables.)

    Returns
    -------
    int
        Time [s]; 0 is "at once".

    Raises
    ------
    ProcessError
        Another reduction than the printed three.

    References
    ----------
    FSIS Revised Appendix A (2021), tables 2 and 6.
    """
    if log10 == 6.5:
        return row.for_6p5_s
    if log10 == 7:
        return row.for_7_s
    if log10 == 5:
        return row.for_5_s
    raise ProcessError(f"There is no column for {log10} log10: the published ones are 5, 6.5 and 7.")


def rows_met(
    times_s: ArrayLike,
    core_degC: ArrayLike,
    error_kelvin: float = 0.0,
    log10: float = 6.5,
    *,
    longest_gap_s: float = math.inf,
) -> list[int]:
    """Return the printed rows that a core met.

    A row is met by an unbroken run of samples at or above its temperature, from a first to a last one at least
    its dwell apart; between two such samples the core is taken to have stayed there. Time outside the two end
    samples is not counted, so a coarse record claims less than a fine one, never more.

    Parameters
    ----------
    times_s : array_like, shape (n,)
        Times [s], strictly increasing.
    core_degC : array_like, shape (n,)
        Core [degC], believable readings only (decided upstream).
    error_kelvin : float
        Error of the thermometer [K], 0..10, added to each row's temperature.
    log10 : float
        Column: 5, 6.5 or 7 [log10].
    longest_gap_s : float
        Two samples further apart than this [s] do not belong to one run: give it where readings may be missing.

    Returns
    -------
    list of int
        Temperatures of the rows met [degF], ascending; empty if none.

    Raises
    ------
    ProcessError
        A curve that is none (see `curve.checked`), an error outside its range, no such column.

    References
    ----------
    FSIS Revised Appendix A (2021), tables 2 and 6; the thermometer's error is added to the limit: same guideline.
    """
    times, core = checked(times_s, core_degC)
    error = _error(error_kelvin)
    joined = np.diff(times) <= longest_gap_s
    met = []
    for row in ROWS:
        dwell = dwell_s(row, log10)
        hot = core >= degC_from_degF(row.degF) + error - ROUNDING
        held = longest_s(times, hot[:-1] & hot[1:] & joined)
        if np.any(hot) and held >= dwell - ROUNDING:
            met.append(row.degF)
    return met


def log10_reduction(
    times_s: ArrayLike,
    core_degC: ArrayLike,
    error_kelvin: float = 0.0,
    *,
    longest_gap_s: float = math.inf,
) -> float:
    """Integrated reduction of Salmonella along a core's curve: advisory, the printed rows decide.

    The integral of dt / D(T), D(T) = 17.23 min x 10^((130 - T) / 10), T in degF: exact for a core that moves in
    straight lines between samples. Below 130 degF, where no row is printed, nothing is counted (and McMinn et
    al. 2018 found the 130 degF row too short).

    Parameters
    ----------
    times_s : array_like, shape (n,)
        Times [s], strictly increasing.
    core_degC : array_like, shape (n,)
        Core [degC], believable readings only.
    error_kelvin : float
        Error of the thermometer [K], 0..10, taken off the core.
    longest_gap_s : float
        Intervals longer than this [s] count nothing.

    Returns
    -------
    float
        Reduction [log10], 0 or more.

    Raises
    ------
    ProcessError
        A curve that is none (see `curve.checked`), or an error outside its range.

    References
    ----------
    Own fit (z = 10 degF, 112 min at 130 degF for 6.5 log10) to FSIS Revised Appendix A (2021), table 2;
    integrated lethality is named there as a matter for a process authority, for moist products only.
    """
    times, core = checked(times_s, core_degC)
    decades = (core - _error(error_kelvin) - degC_from_degF(REFERENCE_DEGF)) / Z_KELVIN
    intervals = np.diff(times)
    kills = intervals * _mean_power(decades[:-1], decades[1:]) / D_AT_REFERENCE_S
    return float(np.sum(kills[intervals <= longest_gap_s]))


def _mean_power(start: FloatArray, end: FloatArray) -> FloatArray:
    """Mean of 10^x over a straight line from start to end, counting only the part where x >= 0."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    rise = high - low
    clipped = np.maximum(low, 0.0)
    counted = np.maximum(high, 0.0) - clipped
    share = np.where(rise > 0.0, counted / np.where(rise > 0.0, rise, 1.0), (low >= 0.0).astype(np.float64))
    exponent = math.log(10.0) * counted
    flat = exponent < 1e-12
    growth = np.where(flat, 1.0, np.expm1(exponent) / np.where(flat, 1.0, exponent))
    mean: FloatArray = share * 10.0**clipped * growth
    return mean


def _error(error_kelvin: float) -> float:
    return between("Thermometer error", error_kelvin, 0.0, _LARGEST_ERROR_KELVIN, "K")
