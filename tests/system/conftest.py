"""Whole cooks with real parts, and programs of this machine that the tests of this folder need."""

import argparse
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from fiftyover.app.cook import KIT
from fiftyover.app.demo import RECORD, World, demo
from fiftyover_kit.contract import messages

SEED = 7


@pytest.fixture(scope="session")
def part() -> Callable[[str], str]:
    """Path of a program; where it is missing the test fails in CI and is skipped elsewhere."""

    def find(name: str) -> str:
        found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
        if found:
            return found
        if os.environ.get("CI") == "true":
            pytest.fail(f"{name} is missing, and in CI no part may be")
        return pytest.skip(f"{name} is not installed here")

    return find


@pytest.fixture
def crowding() -> float:
    """How many times longer than alone two busy processes take on this machine now (1.0: it is ours alone)."""
    code = "import time\nbegan = time.perf_counter()\nfor _ in range(12_000_000): pass\n"
    code += "print((time.perf_counter() - began) / time.process_time())"
    running = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(2)]
    told = [float(one.communicate(timeout=60)[0]) for one in running]
    return max(1.0, sum(told) / len(told))


class Cook:
    """One demo of the command line's own making, watched from beside it."""

    def __init__(self, world: World, speed: float) -> None:
        self.world = world
        self.speed = speed
        self.store = world.hub.parts.store
        self.acknowledged: set[tuple[str, int]] = set()
        self.committed: Counter[tuple[str, int]] = Counter()
        self.links: list[bool] = []
        client = world.hub.parts.client
        publish, link = client.publish, world.hub._link

        def watched(topic: str, payload: bytes, *how: Any) -> bool:
            taken = publish(topic, payload, *how)
            if topic.endswith("frame/ack/set"):
                ack = messages.decode_ack(payload)
                self.acknowledged |= {(ack["boot"], n) for first, last in ack["got"] for n in range(first, last + 1)}
            return taken

        def linked(note: Any) -> None:
            self.links.append(note.up)
            link(note)

        client.publish = watched
        world.hub._link = linked
        self.store.listeners.append(lambda keys: self.committed.update((key.boot, key.seq) for key in keys))

    def kill_broker_at(self, simulated_s: float) -> threading.Thread:
        """Kill -9 the broker when so much of the cook has gone; the demo's own watch starts it again."""

        def wait_and_kill() -> None:
            while self.world.plant.now_s < simulated_s:
                time.sleep(0.05)
            os.kill(self.world.broker.pid, signal.SIGKILL)

        thread = threading.Thread(target=wait_and_kill, daemon=True)
        thread.start()
        return thread

    def rows(self) -> list[tuple[str, int]]:
        """(boot, seq) of every frame on the disk, as another program reads it."""
        with closing(sqlite3.connect(f"file:{self.store.path}?mode=ro", uri=True)) as other:
            return other.execute("SELECT boot, seq FROM frames WHERE kit = ?", (KIT,)).fetchall()

    def settled_losses(self, limit_s: float = 20.0) -> tuple[int, int]:
        """(frames missing between the first and the newest now, frames that the kit says it thinned or dropped), as
        soon as they agree: what waits in the kit comes within that time."""
        newest = self.world.hub.last_frame.seq
        until_s = time.monotonic() + limit_s
        while True:
            gaps = self.store.gaps(KIT, 0, 1 << 62)
            first = min(seq for _, seq in self.rows())
            missing = first + sum(g.before_seq - g.after_seq - 1 for g in gaps if g.before_seq <= newest)
            line = next(line for line in self.store.boots() if line.kit == KIT)
            if missing == line.thinned + line.dropped or time.monotonic() > until_s:
                return missing, line.thinned + line.dropped
            time.sleep(0.25)


MakeCook = Callable[..., Any]


@pytest.fixture
def cooking(tmp_path: Path, micropython: Path, crowding: float) -> MakeCook:
    """Start a demo at `speed` (slower on a machine that others crowd), with options of the plant."""

    @contextmanager
    def begin(broker: str, speed: float, **smoker: Any) -> Iterator[Cook]:
        slower = speed if crowding < 1.3 else min(speed, max(20.0, speed / crowding))
        args = argparse.Namespace(
            speed=slower, port=0, seed=SEED, broker=broker, keep=tmp_path / "kept", cpython_kit=False
        )
        with demo(args, **smoker) as world:
            assert world.kit.runtime == "MicroPython"
            assert "heapsize=190k" in world.kit._command()
            yield Cook(world, slower)
        assert (tmp_path / "kept" / RECORD).exists()

    return begin
