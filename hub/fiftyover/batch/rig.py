"""What finished batches tell of this smoker: which place runs hot, and how long a casing line hangs. Pure.

A place's pace is the mean time of its line over the time of the chub that hung there, both from 60 to 120 °F: above
1.0 the place warms faster. Chubs are compared only within one line of one batch, so that weather and meat fall out.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from fiftyover.batch.curves import Curve
from fiftyover.batch.events import Book
from fiftyover.batch.plan import Plan
from fiftyover.batch.timeline import CookSpan
from fiftyover_kit.contract.units import degC_from_degF

FROM_DEGC, TO_DEGC = degC_from_degF(60.0), degC_from_degF(120.0)
ALIKE = 0.1  # casing lines of nearly one diameter hang alike
CHUBS_LEAST = 3  # fewer say little


class Place(NamedTuple):
    """A place's mean pace (1.0 the line's mean) over so many chubs."""

    pace: float
    chubs: int


class Hung(NamedTuple):
    """How long one chub hung [s], and its diameter [mm]."""

    diameter_mm: float
    seconds: float


def warming_s(curve: Curve) -> float | None:
    """Time [s] of a core from 60 to 120 °F; None if the curve does not show both."""
    times, core = curve
    if not times.size or core[0] > FROM_DEGC or np.max(core) < TO_DEGC:
        return None
    top = int(np.argmax(core >= TO_DEGC))
    low = int(np.flatnonzero(core[:top] < FROM_DEGC)[-1])
    return _at(times, core, top, TO_DEGC) - _at(times, core, low + 1, FROM_DEGC)


def _at(times: np.ndarray, core: np.ndarray, after: int, degC: float) -> float:
    share = (degC - core[after - 1]) / (core[after] - core[after - 1])
    return float(times[after - 1] + share * (times[after] - times[after - 1]))


def paces(plan: Plan, curves: Mapping[int, Curve]) -> dict[str, list[float]]:
    """Paces seen in one batch, by place."""
    found: dict[str, list[float]] = {}
    for line in dict.fromkeys(chub.line for chub in plan.chubs):
        took = {}
        for chub in plan.chubs:
            seconds = warming_s(curves[chub.number]) if chub.line == line and chub.number in curves else None
            if seconds:
                took[chub.place] = seconds
        if len(took) >= 2:
            mean_s = statistics.mean(took.values())
            for place, seconds in took.items():
                found.setdefault(place, []).append(mean_s / seconds)
    return found


def places(batches: Iterable[Mapping[str, Sequence[float]]]) -> dict[str, Place]:
    """The map of hot places over all batches, the hottest first."""
    together: dict[str, list[float]] = {}
    for one in batches:
        for place, seen in one.items():
            together.setdefault(place, []).extend(seen)
    found = {place: Place(statistics.mean(seen), len(seen)) for place, seen in together.items()}
    return dict(sorted(found.items(), key=lambda item: -item[1].pace))


def hung(book: Book) -> list[Hung]:
    """How long each chub of a batch hung."""
    return [
        Hung(book.plan.chub(number).diameter_mm, pulled_s - book.hung_s[number])
        for number, pulled_s in book.pulled_s.items()
        if number in book.hung_s
    ]


def cook_span(line: str, diameter_mm: float, seen: Sequence[Hung]) -> CookSpan | None:
    """The duration of a line from chubs of about its diameter; None with fewer than three."""
    alike = [one.seconds for one in seen if abs(one.diameter_mm / diameter_mm - 1.0) <= ALIKE]
    if len(alike) < CHUBS_LEAST:
        return None
    return CookSpan(line, min(alike), statistics.median(alike), max(alike), "from this smoker's record")
