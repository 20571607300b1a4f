"""Time, handed in to everything else: one steady clock for durations, and the UTC that belongs to it.

Durations come from CLOCK_BOOTTIME alone: it counts through suspend and no one can set it. UTC is that clock plus the
UTC of its zero, read once, so that a wall clock that jumps (NTP, summer time, a person) moves no row and no duration.
"""

from __future__ import annotations

import time
import uuid
from pathlib import Path
from typing import Protocol

BOOT_ID_FILE = Path("/proc/sys/kernel/random/boot_id")
# Linux has BOOTTIME; elsewhere the monotonic clock is the nearest thing (it may stop during suspend).
_STEADY = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


class AnyClock(Protocol):
    """What the hub asks of a clock; `Clock` and `VirtualClock` have it."""

    def monotonic_s(self) -> float:
        """Seconds of the steady clock."""

    def utc_ms(self) -> int:
        """Milliseconds since 1970 UTC, by the steady clock."""

    def utc_zero_ms(self) -> int:
        """UTC (ms) at which the steady clock read zero."""

    def wall_ahead_s(self) -> float:
        """Seconds by which the machine's wall clock now runs ahead of `utc_ms`."""

    def anchor(self, utc_zero_ms: int) -> None:
        """Take another UTC for the steady clock's zero (one that was saved, or the wall clock's)."""

    def boot_uuid(self) -> str:
        """Name of this run of the steady clock: two readings compare only under one name."""


def _machine_boot() -> str:
    try:
        return BOOT_ID_FILE.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return f"process-{uuid.uuid4()}"  # no name for this boot: saved readings of the steady clock are not reused


class Clock:
    """The machine's clock, optionally `speed` times as fast (a demo); the start of the object is its fixed point."""

    def __init__(self, speed: float = 1.0) -> None:
        if not 0 < speed < float("inf"):
            raise ValueError(f"a clock's speed is a positive number, not {speed!r}")
        self.speed = speed
        self._start_s = time.clock_gettime(_STEADY)
        # A sped-up clock starts anew with each object, so it may not share the machine's name.
        self._uuid = _machine_boot() if speed == 1.0 else f"speed-{speed:g}-{uuid.uuid4()}"
        self._utc_zero_ms = round(time.time() * 1000) - round(self.monotonic_s() * 1000)

    def monotonic_s(self) -> float:
        """Seconds of CLOCK_BOOTTIME; past the start of this object they run `speed` times as fast."""
        now_s = time.clock_gettime(_STEADY)
        return now_s if self.speed == 1.0 else self._start_s + (now_s - self._start_s) * self.speed

    def utc_ms(self) -> int:
        """Milliseconds since 1970 UTC by the steady clock; a jump of the wall clock does not show here."""
        return self._utc_zero_ms + round(self.monotonic_s() * 1000)

    def utc_zero_ms(self) -> int:
        """UTC (ms) at which the steady clock read zero, as taken at the start or by `anchor`."""
        return self._utc_zero_ms

    def wall_ahead_s(self) -> float:
        """Seconds the wall clock runs ahead of `utc_ms`: other than about 0 once it was set or jumped."""
        if self.speed != 1.0:
            return 0.0
        return time.time() - self.utc_ms() / 1000

    def anchor(self, utc_zero_ms: int) -> None:
        """Take this UTC (ms) for the steady clock's zero from now on."""
        self._utc_zero_ms = utc_zero_ms

    def boot_uuid(self) -> str:
        """The machine's boot id; a name of this object alone where there is none or the clock is sped up."""
        return self._uuid


class VirtualClock:
    """A clock that stands still until it is moved: for rehearsals and tests."""

    def __init__(self, at_s: float = 0.0, utc_zero_ms: int = 1_700_000_000_000, boot_uuid: str = "virtual") -> None:
        self.at_s = at_s
        self.wall_jump_s = 0.0
        self._utc_zero_ms = utc_zero_ms
        self._uuid = boot_uuid

    def set(self, at_s: float) -> None:
        """Move to this reading (s); a steady clock does not go back."""
        if at_s < self.at_s:
            raise ValueError(f"a steady clock does not go back from {self.at_s} s to {at_s} s")
        self.at_s = at_s

    def advance(self, by_s: float) -> None:
        """Move on by this many seconds, not below zero."""
        self.set(self.at_s + by_s)

    def monotonic_s(self) -> float:
        """The reading (s)."""
        return self.at_s

    def utc_ms(self) -> int:
        """Milliseconds since 1970 UTC of the reading."""
        return self._utc_zero_ms + round(self.at_s * 1000)

    def utc_zero_ms(self) -> int:
        """UTC (ms) of the reading zero."""
        return self._utc_zero_ms

    def wall_ahead_s(self) -> float:
        """Seconds the imagined wall clock runs ahead: set `wall_jump_s` to play a jump."""
        return self.wall_jump_s

    def anchor(self, utc_zero_ms: int) -> None:
        """Take this UTC (ms) for the reading zero."""
        self.wall_jump_s += (self._utc_zero_ms - utc_zero_ms) / 1000
        self._utc_zero_ms = utc_zero_ms

    def boot_uuid(self) -> str:
        """The name given at the start."""
        return self._uuid
