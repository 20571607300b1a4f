"""How old the newest news of each kit is: by its date, not its arrival, so that a stalled broker freshens nothing."""

from __future__ import annotations

import math

from fiftyover_kit.contract.limits import FRAME_MAX_AGE_S

from ..store.frames import DatedFrame

SILENT_S = 60.0  # the kit's own sounder starts after as long without the hub


class Freshness:
    """The newest live frame of each kit."""

    def __init__(self) -> None:
        self._newest: dict[str, DatedFrame] = {}

    def hear(self, frame: DatedFrame) -> None:
        """Take a live frame of the start that is going on; one older than the newest changes nothing."""
        newest = self._newest.get(frame.kit)
        if newest is None or newest.boot != frame.boot or frame.seq > newest.seq:
            self._newest[frame.kit] = frame

    def newest(self, kit: str) -> DatedFrame | None:
        """The newest live frame of the kit, however old."""
        return self._newest.get(kit)

    def age_s(self, kit: str, now_s: float) -> float:
        """Seconds since the kit's newest live frame was read; infinite before the first."""
        newest = self._newest.get(kit)
        return math.inf if newest is None else max(0.0, now_s - newest.at_s)

    def fresh(self, kit: str, now_s: float) -> bool:
        """True if the newest frame may be ground for a decision about heat."""
        return self.age_s(kit, now_s) <= FRAME_MAX_AGE_S

    def silent(self, kit: str, now_s: float) -> bool:
        """True if a person should hear that the kit has gone quiet (or was never heard)."""
        return self.age_s(kit, now_s) > SILENT_S
