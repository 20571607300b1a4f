"""What the next commit will write: bounded, each frame once. Not locked: `Store` does that."""

from __future__ import annotations

from typing import NamedTuple

from ..batch.events import Event
from .frames import Content, DatedFrame, Key

CONFLICTS_MAX = 1000  # second contents kept as evidence


class BootLine(NamedTuple):
    """How the ticks of one kit start are dated: `offset_s` and `heard_s` in the present steady clock.

    `same_machine`: the steady clock has not restarted since, so the offset is exact and not by way of UTC.
    """

    kit: str
    boot: str
    offset_s: float
    heard_s: float
    thinned: int
    dropped: int
    same_machine: bool


class Waiting:
    """Frames by key (at most `frames_max`) with their content, second contents, events, targets, kit starts."""

    def __init__(self, frames_max: int) -> None:
        self.frames_max = frames_max
        self.frames: dict[Key, tuple[DatedFrame, Content]] = {}
        self.conflicts: list[DatedFrame] = []
        self.events: list[tuple[str, Event]] = []
        self.targets: list[tuple[str, int, float | None]] = []
        self.boots: dict[tuple[str, str], BootLine] = {}

    def __bool__(self) -> bool:
        return bool(self.frames or self.conflicts or self.events or self.targets or self.boots)

    def remember(self, frame: DatedFrame) -> str:
        """What became of the frame: "kept", "again", "conflict" (other content under a key that waits), "full"."""
        content = frame.content()  # here, so that nothing unwritable ever reaches a commit
        key = frame.key
        known = self.frames.get(key)
        if known is None:
            if len(self.frames) >= self.frames_max:
                return "full"
            self.frames[key] = (frame, content)
            return "kept"
        if known[1] == content:
            return "again"
        self.conflicts = [*self.conflicts, frame][:CONFLICTS_MAX]
        return "conflict"

    def follow_with(self, later: Waiting) -> None:
        """Take up what was remembered while a commit of this failed."""
        for frame, _ in later.frames.values():
            self.remember(frame)
        self.conflicts = (self.conflicts + later.conflicts)[:CONFLICTS_MAX]
        self.events += later.events
        self.targets = (self.targets + later.targets)[: self.frames_max]
        self.boots.update(later.boots)
