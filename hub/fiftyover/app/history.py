"""The curves of the running batch: minute values in memory for the warm-up clock, the store's for the chart."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Any

from fiftyover_kit.contract.units import degC_from_degF

from ..batch import events as ev
from ..batch.day import Day
from ..batch.events import Event
from ..batch.state import BatchState, Decision
from ..errors import HubError
from ..process import comeup
from ..store import DatedFrame, Store
from ..web.words import CHART_MARK
from .picture import warmup_s_of

LOG = logging.getLogger("fiftyover.history")
TARGET_KELVIN = 0.1
EVERY_S = 60.0
MINUTE_MS = 60_000
MINUTES_MAX = 2000  # a day and a half


class Curves:
    """One row a minute of the batch so far."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._rows: list[tuple[float, list[float | None]]] = []
        self._from_ms: int | None = None
        self._warmup_s: float | None = None
        self._day = Day()
        self._hung_s: float | None = None

    def tell(self, day: Day, hung_s: float | None) -> None:
        """What the days' marks say of the time before the first reading."""
        self._day, self._hung_s = day, hung_s
        self._warmup_s = self._counted()

    def _counted(self) -> float | None:
        return warmup_s_of(self._rows, self._day, self._hung_s)

    def begin(self, utc_ms: int) -> None:
        """A new batch."""
        self._rows, self._from_ms, self._warmup_s = [], utc_ms, None
        self._day, self._hung_s = Day(), None

    def resume(self, kit: str, from_ms: int, channels: int) -> None:
        """Read the batch's minutes again after a restart."""
        self.begin(from_ms)
        rows: dict[int, list[float | None]] = {}
        for channel in range(1, channels) if kit else ():
            for bucket in self._store.series(kit, channel, from_ms, self._store.clock.utc_ms(), MINUTES_MAX):
                rows.setdefault(bucket.utc_ms // MINUTE_MS, [None] * channels)[channel] = bucket.mean
        zero_ms = self._store.clock.utc_zero_ms()
        self._rows = [((minute * MINUTE_MS - zero_ms) / 1000, rows[minute]) for minute in sorted(rows)]
        self._warmup_s = self._counted()

    def add(self, frame: DatedFrame) -> None:
        """Take a frame; one a minute is kept."""
        if not self._rows or frame.at_s - self._rows[-1][0] >= EVERY_S:
            self._rows.append((frame.at_s, list(frame.t)))
            if len(self._rows) > MINUTES_MAX:  # of a batch that never ends: every other one of them
                self._rows = self._rows[::2]
            self._warmup_s = self._counted()

    def warmup_s(self, now_s: float | None = None) -> float | None:
        """The warm-up clock so far, None before it runs; given the time, it goes on while no reading comes."""
        if self._warmup_s is None or now_s is None or not self._rows:
            return self._warmup_s
        last_s, cores = self._rows[-1]
        low, high = degC_from_degF(comeup.FROM_DEGF), degC_from_degF(comeup.TO_DEGF)
        runs = any(core is not None and low < core < high for core in cores[1:])
        return self._warmup_s + (max(0.0, now_s - last_s) if runs else 0.0)

    def history(self, state: BatchState | None, kit: str, points: int, now_ms: int) -> dict[str, Any]:
        """The running batch for the chart, see `columns`; nothing while the record cannot be read."""
        if state is None or not kit or self._from_ms is None:
            return nothing()
        try:
            told = columns(self._store, kit, state.plan.channels, self._from_ms, now_ms, points)
        except HubError as fault:
            LOG.warning("%s", fault)
            return nothing()
        return told | {"band_degC": list(state.plan.band_degC), "marks": marks_of(state.book.log, state.book.void)}


class TargetNotes:
    """The target in the record: a row when it moved by what a chart could show, or heat came or went."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._noted_degC: float | None = None

    def note(self, frame: DatedFrame, decision: Decision) -> None:
        """Write what a decision on a frame asks for, if it is news."""
        target_degC, noted_degC = decision.target_degC if decision.heat else None, self._noted_degC
        if target_degC is None or noted_degC is None:
            news = target_degC is not noted_degC
        else:
            news = abs(target_degC - noted_degC) >= TARGET_KELVIN
        if news:
            self._store.add_target(frame.kit, frame.utc_ms, target_degC)
            self._noted_degC = target_degC


def nothing() -> dict[str, Any]:
    """A chart without a curve."""
    return {"t": [], "curves": [], "band_degC": [66.67, 68.33], "marks": []}


def columns(store: Store, kit: str, channels: int, from_ms: int, to_ms: int, points: int) -> dict[str, Any]:
    """Curves over one column of times: `t` is UTC s, a curve's `v` °C or None; kinds are chamber, core and target.

    The store's buckets of all channels lie on one grid, so that this is at most `points` rows.
    """
    read = [(c, store.series(kit, c, from_ms, to_ms, points)) for c in range(channels)]
    times = sorted({bucket.utc_ms for _, buckets in read for bucket in buckets})
    curves: list[dict[str, Any]] = []
    for channel, buckets in read:
        at = {bucket.utc_ms: round(bucket.mean, 1) for bucket in buckets}
        kind = "core" if channel else "chamber"
        curves.append({"kind": kind, "channel": channel, "v": [at.get(utc_ms) for utc_ms in times]})
    target = _steps(store.targets(kit, from_ms, to_ms), times)
    curves.append({"kind": "target", "channel": -1, "v": target})
    return {"t": [utc_ms // 1000 for utc_ms in times], "curves": curves}


def _steps(changes: list[tuple[int, float | None]], times: list[int]) -> list[float | None]:
    """The value in force at the end of each bucket; None where there was none yet."""
    found: list[float | None] = []
    value, waiting = None, list(reversed(changes))
    for index, _ in enumerate(times):
        end = times[index + 1] if index + 1 < len(times) else None
        while waiting and (end is None or waiting[-1][0] < end):
            value = waiting.pop()[1]
        found.append(None if value is None else round(value, 1))
    return found


def marks_of(log: Sequence[Event], void: frozenset[int] = frozenset()) -> list[dict[str, Any]]:
    """What happened, for lines in the chart: UTC s and a word. Undone events and repeats are left out."""
    return [
        {"t": event.utc_ms // 1000, "label": CHART_MARK[event.kind].format(**{"chub": "", **event.data})}
        for number, event in enumerate(log)
        if event.kind in CHART_MARK and number not in void and (event.kind != ev.DOOR or event.data.get("open"))
    ]
