"""Dating a frame by the hub's steady clock, from the kit's ticks alone. Pure: no clock is read here.

Per kit start ("boot") the offset is the least of (arrival - unwrapped ticks) over about the last ten minutes in which
something was heard: a frame that waited on its way only makes its own difference larger, so it does not count, and a
kit clock that runs slow is followed. Only live frames teach the offset; older frames are dated by it.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass

from fiftyover_kit.contract.limits import TICK_PERIOD

BLOCK_S = 60.0
BLOCKS = 10  # of minutes in which something was heard; silence ages nothing, a stall must not make us forget
BOOTS_MAX = 64  # kit starts remembered, or BOOTS_A_KIT for each kit where there are many
BOOTS_A_KIT = 4


@dataclass(frozen=True)
class Dated:
    """A place on the steady clock, and whether the frame is news of a kit start that is still going on."""

    at_s: float
    current: bool


class BootDating:
    """The offset (s) of one kit start; `heard_s` is the date of its newest live frame."""

    def __init__(self, offset_s: float | None = None, heard_s: float = -math.inf) -> None:
        self._blocks: OrderedDict[int, float] = OrderedDict()
        self.offset_s = offset_s
        self.heard_s = heard_s
        if offset_s is not None:
            self._blocks[math.floor(heard_s / BLOCK_S)] = offset_s

    def hear(self, up_ms: int, arrived_s: float) -> float:
        """Learn from a live frame: its ticks (ms, wrapping) and its arrival on the steady clock (s); its date (s)."""
        gone_s = arrived_s - self._unwrapped_s(up_ms, arrived_s)
        block = math.floor(arrived_s / BLOCK_S)
        self._blocks[block] = min(gone_s, self._blocks.get(block, math.inf))
        while len(self._blocks) > BLOCKS:
            self._blocks.popitem(last=False)
        self.offset_s = min(self._blocks.values())
        at_s = self.at_s(up_ms, arrived_s)
        self.heard_s = max(self.heard_s, at_s)
        return at_s

    def at_s(self, up_ms: int, near_s: float) -> float:
        """Date (s) of the ticks: of all dates that they can mean, the nearest to `near_s`."""
        if self.offset_s is None:
            raise ValueError("no live frame of this start was heard yet")
        return self.offset_s + self._unwrapped_s(up_ms, near_s)

    def _unwrapped_s(self, up_ms: int, near_s: float) -> float:
        if self.offset_s is None:
            return up_ms / 1000  # the first one heard: whole periods before it go into the offset
        expected_ms = (near_s - self.offset_s) * 1000
        return (up_ms + TICK_PERIOD * round((expected_ms - up_ms) / TICK_PERIOD)) / 1000


class Dating:
    """The starts of all kits: which is going on, and how each is dated. `kits`: how many are expected."""

    def __init__(self, kits: int = 1) -> None:
        self._boots_max = max(BOOTS_MAX, BOOTS_A_KIT * kits)
        self._boots: OrderedDict[tuple[str, str], BootDating] = OrderedDict()
        self._current: dict[str, str] = {}

    def restore(self, kit: str, boot: str, offset_s: float, heard_s: float, exact: bool) -> None:
        """Take back what was saved, oldest first. Not `exact` (the hub's machine restarted since): good enough for a
        start that ended, while one that still goes on is learnt anew from its next live frame."""
        dating = BootDating(offset_s, heard_s)
        self._boots[kit, boot] = dating
        if exact:
            self._current[kit] = boot
        self._bound()

    def current(self, kit: str) -> str | None:
        """The start of the kit that is going on, as far as it was heard."""
        return self._current.get(kit)

    def knows(self, kit: str, boot: str) -> bool:
        """True if an older frame of this start can be dated now: a live one was heard, or it ended and was saved."""
        return (kit, boot) in self._boots and kit in self._current

    def ended(self, kit: str, boot: str) -> bool:
        """True if a later start of the kit was heard."""
        current = self._current.get(kit)
        return current is not None and current != boot and (kit, boot) in self._boots

    def hear(self, kit: str, boot: str, up_ms: int, arrived_s: float) -> Dated:
        """Date of a live frame (s), learnt from first; a start that ended teaches nothing and is no news."""
        if self.ended(kit, boot):
            return Dated(self.at_s(kit, boot, up_ms), False)
        if self._current.get(kit) != boot:
            self._current[kit] = boot
            self._boots[kit, boot] = BootDating()
            self._boots.move_to_end((kit, boot))
            self._bound()
        return Dated(self._boots[kit, boot].hear(up_ms, arrived_s), True)

    def at_s(self, kit: str, boot: str, up_ms: int) -> float:
        """Date (s) of an older frame of a start that `knows`."""
        dating = self._boots[kit, boot]
        return dating.at_s(up_ms, dating.heard_s)

    def offset(self, kit: str, boot: str) -> tuple[float, float]:
        """(offset_s, heard_s) of a start that `knows`, to be saved."""
        dating = self._boots[kit, boot]
        return dating.offset_s or 0.0, dating.heard_s

    def _bound(self) -> None:
        while len(self._boots) > self._boots_max:
            ended = (key for key in self._boots if self._current.get(key[0]) != key[1])
            oldest = next(ended, next(iter(self._boots)))
            del self._boots[oldest]
            if self._current.get(oldest[0]) == oldest[1]:
                del self._current[oldest[0]]
