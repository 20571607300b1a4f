"""A kit played by hand, a hub's inbox in a fresh folder on a clock that stands still."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fiftyover.clock import VirtualClock
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover_kit.contract import messages

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ZERO_MS = 1_764_028_800_000


def content(seq: int, up_ms: int | None = None, **given: Any) -> dict[str, Any]:
    """What a frame says; number `seq` is read at `seq` seconds of the kit unless told otherwise."""
    up = (seq * 1000 if up_ms is None else up_ms) % 2**30
    t = [80.0 + seq % 50 / 100, None]
    return {"seq": seq, "up": up, "t": t, "s": ["ok", "open"], "on": 0, "duty": 0.25, "why": "on", **given}


class Hub:
    """Store and inbox, and what the broker client would hand them."""

    def __init__(self, path: Path, clock: VirtualClock) -> None:
        self.path = path
        self.clock = clock
        self.start()

    def start(self) -> None:
        self.store = Store(self.path, self.clock, reserve_bytes=0)
        self.inbox = Inbox(self.store, self.clock)

    def restart(self, clock: VirtualClock | None = None) -> None:
        """End and start the hub, on another start of the machine if a clock is given."""
        self.store.close()
        self.clock = clock or self.clock
        self.start()

    def message(self, rest: str, payload: bytes, retained: bool = False, kit: str = KIT) -> list[Any]:
        return self.inbox.handle(f"homie/5/{kit}/{rest}", payload, retained, self.clock.monotonic_s())

    def live(self, seq: int, up_ms: int | None = None, boot: str = BOOT, kit: str = KIT, **given: Any) -> list[Any]:
        raw = {"v": 1, "boot": boot, "left": 0, "thinned": 0, "dropped": 0, **content(seq, up_ms, **given)}
        return self.message("frame/sample", messages.encode_frame(raw), kit=kit)

    def backlog(self, seqs: list[int], boot: str = BOOT, kit: str = KIT, shift_ms: int = 0) -> list[Any]:
        frames = [content(seq, seq * 1000 + shift_ms) for seq in seqs]
        return self.message("frame/backlog", messages.encode_backlog({"v": 1, "boot": boot, "frames": frames}), kit=kit)

    def dates(self, boot: str = BOOT) -> dict[int, float]:
        """Steady seconds of the stored frames by number."""
        return {one.seq: one.at_s for one in self.store.frames(KIT, 0, 2**60) if one.boot == boot}


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(at_s=5000.0, utc_zero_ms=ZERO_MS)


@pytest.fixture
def hub(tmp_path: Path, clock: VirtualClock) -> Iterator[Hub]:
    made = Hub(tmp_path / "record.sqlite", clock)
    yield made
    made.store.close()


MakeHub = Callable[[Path], Hub]


@pytest.fixture(scope="session")
def make_hub() -> MakeHub:
    """A hub at a path of the test's own; the test closes it."""
    return lambda path: Hub(path, VirtualClock(5000.0, ZERO_MS))
