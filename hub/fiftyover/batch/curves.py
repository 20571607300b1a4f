"""Each chub's own core over time, with only what may be believed in it. Pure.

A channel belongs to a chub from when it was hung (or got the probe) until the probe left it; a probe that stays in
after the pull goes on as the chill's curve. Left out: readings with another status than good, what lies in a struck
out span or while the probe was excluded, and what was not yet followed by 3 min of believed readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from fiftyover.batch import events as ev
from fiftyover.batch.believe import CONFIRM_S
from fiftyover.batch.events import Book
from fiftyover.batch.state import Reading
from fiftyover.process.curve import BoolArray, FloatArray
from fiftyover_kit.contract.limits import STATUS_HEATS

FOR_EVER_S = float("inf")
GAP_S = 30.0  # a longer silence between two readings ends a run; thinned frames lie 5 s apart


class Segment(NamedTuple):
    """A channel in a chub, from and to [s]."""

    channel: int
    chub: int
    from_s: float
    to_s: float


class Curve(NamedTuple):
    """Believed cores of one chub: times [s], temperatures [degC]."""

    times_s: FloatArray
    core_degC: FloatArray


def segments(book: Book) -> list[Segment]:
    """Which channel was in which chub, when; undone marks left out."""
    where: dict[int, tuple[int, float]] = {}
    found: list[Segment] = []

    def leave(channel: int, at_s: float) -> None:
        if channel in where:
            chub, from_s = where.pop(channel)
            found.append(Segment(channel, chub, from_s, at_s))

    for number, event in enumerate(book.log):
        if number in book.void:
            continue
        if event.kind == ev.HUNG:
            for chub in book.plan.chubs:
                if chub.probe is not None and chub.number in event.data["chubs"]:
                    where[chub.probe] = (chub.number, event.at_s)
        elif event.kind == ev.PULLED:
            goes = event.data.get("probe", "stays")
            channel = next((c for c, (chub, _) in where.items() if chub == event.data["chub"]), None)
            if channel is not None and goes != "stays":
                leave(channel, event.at_s)
                if isinstance(goes, int):
                    where[channel] = (goes, event.at_s)
    for channel in list(where):
        leave(channel, FOR_EVER_S)
    return found


def excluded(book: Book) -> list[tuple[int, float, float]]:
    """(channel, from, to) [s] in which a probe was not believed: from each exclusion until it was back."""
    spans: list[tuple[int, float, float]] = []
    since: dict[int, float] = {}
    for number, event in enumerate(book.log):
        if number in book.void:
            continue
        if event.kind == ev.PROBE_OUT:
            since[event.data["probe"]] = event.at_s
        elif event.kind == ev.PROBE_BACK and event.data["probe"] in since:
            spans.append((event.data["probe"], since.pop(event.data["probe"]), event.at_s))
    return spans + [(channel, from_s, FOR_EVER_S) for channel, from_s in since.items()]


def curves(book: Book, readings: Iterable[Reading]) -> dict[int, Curve]:
    """Each probed chub's believed curve; chubs without any believed reading are left out."""
    rows = list(readings)
    times = np.array([row.at_s for row in rows], dtype=np.float64)
    spans = excluded(book)
    parts: dict[int, list[tuple[FloatArray, FloatArray]]] = {}
    for segment in segments(book):
        core = np.array([_believed(row, segment.channel) for row in rows], dtype=np.float64)
        keep = np.isfinite(core) & (times >= segment.from_s) & (times <= segment.to_s)
        keep = _without(times, keep, spans, segment.channel)
        keep = _without(times, _followed(times, keep), book.strikes, segment.channel)
        if np.any(keep):
            parts.setdefault(segment.chub, []).append((times[keep], core[keep]))
    return {chub: _joined(found) for chub, found in parts.items()}


def _believed(row: Reading, channel: int) -> float:
    if channel >= len(row.probe_degC) or row.status[channel] not in STATUS_HEATS:
        return float("nan")
    core = row.probe_degC[channel]
    return float("nan") if core is None else core


def _without(times: FloatArray, keep: BoolArray, spans: Sequence[tuple[int, float, float]], channel: int) -> BoolArray:
    for number, low, high in spans:
        if number == channel:
            keep = keep & ~((times >= low) & (times <= high))
    return keep


def _followed(times: FloatArray, keep: BoolArray) -> BoolArray:
    """Keep what 3 min of believed readings follow in the same run; a run ends where one is missing for long."""
    kept = np.flatnonzero(keep)
    result = np.zeros_like(keep)
    if kept.size == 0:
        return result
    ends = np.append(np.flatnonzero(np.diff(times[kept]) > GAP_S), kept.size - 1)
    start = 0
    for end in ends:
        run = kept[start : end + 1]
        result[run] = times[run] + CONFIRM_S <= times[run[-1]] + 1e-9
        start = int(end) + 1
    return result


def _joined(parts: Sequence[tuple[FloatArray, FloatArray]]) -> Curve:
    times = np.concatenate([one for one, _ in parts])
    core = np.concatenate([one for _, one in parts])
    order = np.argsort(times, kind="stable")
    times, core = times[order], core[order]
    fresh = np.append(True, np.diff(times) > 0.0)
    return Curve(times[fresh], core[fresh])
