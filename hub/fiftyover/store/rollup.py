"""One-minute minimum, mean and maximum of believed readings, added up before they go to the table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import zip_longest

from .frames import BELIEVED, DatedFrame

DUTY = -1  # the duty's channel number in `minutes`; 0 is the chamber
MINUTE_MS = 60_000

Row = tuple[str, int, int, int, float, float, float]

# Two lots of one minute add up in any order.
ADD = """INSERT INTO minutes (kit, channel, minute, n, low, total, high) VALUES (?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (kit, channel, minute) DO UPDATE SET n = n + excluded.n, low = min(low, excluded.low),
total = total + excluded.total, high = max(high, excluded.high)"""


def rows(frames: Iterable[DatedFrame]) -> list[Row]:
    """(kit, channel, minute, n, low, total, high) of these frames, each of which must count once only.

    ValueError if a frame has not one status word for each temperature.
    """
    lots: dict[tuple[str, int], list[DatedFrame]] = {}
    for frame in frames:
        lots.setdefault((frame.kit, frame.utc_ms // MINUTE_MS), []).append(frame)
    found: list[Row] = []
    for (kit, minute), lot in lots.items():
        for channel, values in _values(lot):
            found.append((kit, channel, minute, len(values), min(values), sum(values), max(values)))
    return found


def _values(lot: list[DatedFrame]) -> Iterator[tuple[int, list[float]]]:
    """(channel, its believed values) of the frames of one minute, channel by channel, those with any."""
    yield DUTY, [float(frame.duty) for frame in lot]
    if any(len(frame.t) != len(frame.s) for frame in lot):
        raise ValueError("a frame has not one status word for each temperature")
    temperatures, words = zip_longest(*[frame.t for frame in lot]), zip_longest(*[frame.s for frame in lot])
    for channel, (degC, said) in enumerate(zip(temperatures, words, strict=True)):
        values = [value for value, word in zip(degC, said, strict=True) if value is not None and word in BELIEVED]
        if values:
            yield channel, values
