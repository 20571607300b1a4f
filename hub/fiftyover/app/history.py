"""The curves of the running batch: minute values in memory for the warm-up clock, the store's for the chart."""

from __future__ import annotations

from typing import Any

from ..batch.state import BatchState
from ..store import DatedFrame, Store
from .picture import warmup_s_of

EVERY_S = 60.0


class Curves:
    """One row a minute of the batch so far."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._rows: list[tuple[float, list[float | None]]] = []
        self._from_ms: int | None = None
        self._warmup_s: float | None = None

    def begin(self, utc_ms: int) -> None:
        """A new batch."""
        self._rows, self._from_ms, self._warmup_s = [], utc_ms, None

    def resume(self, kit: str, from_ms: int) -> None:
        """Read the batch's rows again after a restart."""
        self.begin(from_ms)
        if kit:
            for frame in self._store.frames(kit, from_ms, 1 << 62):
                self.add(frame)

    def add(self, frame: DatedFrame) -> None:
        """Take a frame; one a minute is kept."""
        if not self._rows or frame.at_s - self._rows[-1][0] >= EVERY_S:
            self._rows.append((frame.at_s, list(frame.t)))
            self._warmup_s = warmup_s_of(self._rows)

    def warmup_s(self) -> float | None:
        """The warm-up clock so far, None before it runs."""
        return self._warmup_s

    def history(self, state: BatchState | None, kit: str, points: int, now_ms: int) -> dict[str, Any]:
        """For the chart: points are [UTC s, °C]; kinds are chamber, target and core."""
        if state is None or not kit or self._from_ms is None:
            return {"curves": [], "band_degC": [66.67, 68.33]}
        from_ms = self._from_ms
        curves = []
        for channel in range(state.plan.channels):
            buckets = self._store.series(kit, channel, from_ms, now_ms, points)
            kind = "chamber" if channel == 0 else "core"
            curves.append(
                {"kind": kind, "channel": channel, "points": [[b.utc_ms / 1000, round(b.mean, 2)] for b in buckets]}
            )
        targets = [
            [max(utc_ms, from_ms) / 1000, round(degC, 2)]
            for utc_ms, degC in self._store.targets(kit, from_ms, now_ms)
            if degC is not None
        ]
        thin = max(1, len(targets) // points)
        curves.append({"kind": "target", "channel": -1, "points": targets[::thin]})
        return {"curves": curves, "band_degC": list(state.plan.band_degC)}
