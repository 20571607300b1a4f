"""A dated frame and its key: what ingest hands to the store and to the control."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

BELIEVED = ("ok", "uncalibrated")  # status words whose number counts in the rollup

Content = tuple[int, int, float, str, str, str]


class Key(NamedTuple):
    """What makes a frame the same frame, however often it arrives."""

    kit: str
    boot: str
    seq: int


@dataclass(frozen=True, slots=True)
class DatedFrame:
    """One reading of all channels of a kit, with the hub's date on it.

    `up_ms` is the kit's masked tick as sent (a grant echoes it); `utc_ms` and `at_s` (steady clock) are the hub's
    dating. `t` is °C or None and `s` the status word by channel, index 0 the chamber. `live`: sent as it was read.
    """

    kit: str
    boot: str
    seq: int
    up_ms: int
    utc_ms: int
    at_s: float
    t: list[float | None]
    s: list[str]
    on: int
    duty: float
    why: str
    live: bool

    @property
    def key(self) -> Key:
        """What makes it the same frame, however often it arrives."""
        return Key(self.kit, self.boot, self.seq)

    def moved(self, at_s: float, utc_ms: int) -> DatedFrame:
        """The same reading with another date."""
        return DatedFrame(
            self.kit, self.boot, self.seq, self.up_ms, utc_ms, at_s,
            self.t, self.s, self.on, self.duty, self.why, self.live,
        )  # fmt: skip

    def content(self) -> Content:
        """What must be equal when the same key arrives again: (up_ms, on, duty, why, t, s), lists as JSON."""
        t = [None if degC is None else float(degC) for degC in self.t]
        return (self.up_ms, self.on, float(self.duty), self.why, _json(t), _words(tuple(self.s)))


_json = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode


@lru_cache(maxsize=256)  # a kit says the same words for hours
def _words(words: tuple[str, ...]) -> str:
    return _json(words)
