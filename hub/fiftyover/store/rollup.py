"""One-minute minimum, mean and maximum of believed readings, added up before they go to the table."""

from __future__ import annotations

from collections.abc import Iterable

from .frames import BELIEVED, DatedFrame

DUTY = -1  # the duty's channel number in `minutes`; 0 is the chamber
MINUTE_MS = 60_000

Row = tuple[str, int, int, int, float, float, float]

# Two lots of one minute add up in any order.
ADD = """INSERT INTO minutes (kit, channel, minute, n, low, total, high) VALUES (?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (kit, channel, minute) DO UPDATE SET n = n + excluded.n, low = min(low, excluded.low),
total = total + excluded.total, high = max(high, excluded.high)"""


def rows(frames: Iterable[DatedFrame]) -> list[Row]:
    """(kit, channel, minute, n, low, total, high) of these frames, each of which must count once only."""
    sums: dict[tuple[str, int, int], tuple[int, float, float, float]] = {}
    for frame in frames:
        minute = frame.utc_ms // MINUTE_MS
        for channel, value in _values(frame):
            key = (frame.kit, channel, minute)
            n, low, total, high = sums.get(key, (0, value, 0.0, value))
            sums[key] = (n + 1, min(low, value), total + value, max(high, value))
    return [(*key, *lot) for key, lot in sums.items()]


def _values(frame: DatedFrame) -> list[tuple[int, float]]:
    believed = [
        (channel, degC)
        for channel, (degC, word) in enumerate(zip(frame.t, frame.s, strict=True))
        if degC is not None and word in BELIEVED
    ]
    return [(DUTY, float(frame.duty)), *believed]
