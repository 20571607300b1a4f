"""Frames in their order after a restart: what the kit kept while the hub was away comes before what it says now.

A hub that was killed for some seconds lacks the frames since its last commit. The kit sends them again, but as old ones
and perhaps after the first live one; decided on in order they lead to what they would have led to. No heat rests on
them, and the live ones are held back for a few seconds at most.
"""

from __future__ import annotations

from ..batch.state import GAP_S
from ..store import DatedFrame

WAIT_S = 8.0  # a kit drains a minute's backlog in less; meanwhile its permit runs out, which is nothing


class CatchUp:
    """Put frames of one kit in order; idle unless `begin` was told the newest frame of the record."""

    def __init__(self) -> None:
        self._last: DatedFrame | None = None
        self._held: dict[int, DatedFrame] = {}
        self._until_s = float("inf")

    def begin(self, last: DatedFrame | None) -> None:
        """The record ends with this frame."""
        self._last, self._held, self._until_s = last, {}, float("inf")

    @property
    def waiting(self) -> bool:
        """Whether the first live frame that follows without a hole is still to come."""
        return self._last is not None

    def take(self, frame: DatedFrame, now_s: float) -> list[DatedFrame]:
        """Frames to decide on now, oldest first. A frame that is not live counts only while something is missing."""
        last = self._last
        if last is None:
            return [frame] if frame.live else []
        if frame.boot != last.boot or frame.at_s - last.at_s > GAP_S:
            return self._give_up(frame)
        if frame.seq > last.seq:
            known = self._held.get(frame.seq)
            self._held[frame.seq] = frame if known is None or not known.live else known
        if frame.live:
            self._until_s = min(self._until_s, now_s + WAIT_S)
        found: list[DatedFrame] = []
        while last.seq + 1 in self._held:
            last = self._held.pop(last.seq + 1)
            found.append(last)
        self._last = last
        if found and found[-1].live and not self._held:
            self._last = None  # caught up
        elif now_s >= self._until_s:
            return found + self._rest()
        return found

    def _give_up(self, frame: DatedFrame) -> list[DatedFrame]:
        """Another start of the kit, or too long away: that is an outage, and what is live stands for itself."""
        if not frame.live:
            return []
        held = [one for one in self._rest() if one.live]
        return [*held, frame]

    def _rest(self) -> list[DatedFrame]:
        held = [self._held[seq] for seq in sorted(self._held)]
        self._last, self._held = None, {}
        return held
