"""A clock that stands still, a store in a fresh folder, frames to put into it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fiftyover.clock import VirtualClock
from fiftyover.store import DatedFrame, Store

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ZERO_MS = 1_764_028_800_000  # 2025-11-25 00:00 UTC, a whole minute

MakeFrame = Callable[..., DatedFrame]


@pytest.fixture
def frame() -> MakeFrame:
    """A frame of number `seq`, read `seq` seconds after the clock's zero; every field can be given."""

    def make(seq: int, **given: object) -> DatedFrame:
        fields: dict[str, object] = {
            "kit": KIT,
            "boot": BOOT,
            "seq": seq,
            "up_ms": seq * 1000,
            "utc_ms": ZERO_MS + seq * 1000,
            "at_s": float(seq),
            "t": [80.0, 40.25, None],
            "s": ["ok", "uncalibrated", "open"],
            "on": 1,
            "duty": 0.35,
            "why": "on",
            "live": True,
        }
        return DatedFrame(**{**fields, **given})  # type: ignore[arg-type]

    return make


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(at_s=0.0, utc_zero_ms=ZERO_MS)


@pytest.fixture
def store(tmp_path: Path, clock: VirtualClock) -> Iterator[Store]:
    made = Store(tmp_path / "record.sqlite", clock, reserve_bytes=0)
    yield made
    made.close()
