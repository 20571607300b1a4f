"""Frames in their order after a restart: what the kit kept while the hub was away comes before what it says now.

A hub that was killed for some seconds lacks the frames since its last commit. The kit sends them again, but as old ones
and perhaps after the first live one; decided on in order they lead to what they would have led to. No heat rests on
them, and the live ones are held back for a few seconds at most.
"""

from __future__ import annotations

from ..batch.state import GAP_S
from ..store import DatedFrame

WAIT_S = 4.0  # a kit drains some seconds of backlog in less, and heat must be back within ten


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
        if frame.boot != last.boot or frame.at_s - last.at_s > GAP_S + WAIT_S:
            return [*(one for one in self._rest() if one.live), frame] if frame.live else []
        if frame.seq > last.seq:
            known = self._held.get(frame.seq)
            self._held[frame.seq] = frame if known is None or not known.live else known
        if frame.live and self._until_s == float("inf"):
            self._until_s = now_s + WAIT_S
            if frame.at_s - last.at_s > GAP_S:  # an outage: what is live stands for itself
                self._held = {frame.seq: frame}
                return self._rest()
        return self._in_order(last, now_s) if self._until_s < float("inf") else []

    def _in_order(self, last: DatedFrame, now_s: float) -> list[DatedFrame]:
        """What follows on the newest frame without a hole; all there is when there was no more time."""
        if now_s >= self._until_s:
            return self._rest()
        found: list[DatedFrame] = []
        while last.seq + 1 in self._held:
            last = self._held.pop(last.seq + 1)
            found.append(last)
        self._last = last if self._held or not (found and found[-1].live) else None
        return found

    def _rest(self) -> list[DatedFrame]:
        """Everything held; nothing is waited for any more."""
        held = [self._held[seq] for seq in sorted(self._held)]
        self._last, self._held = None, {}
        return held
