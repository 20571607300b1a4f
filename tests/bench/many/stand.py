"""One stand: mosquitto, a hub of N smokers, N simulated kits, each a process, on 127.0.0.1; and what was measured."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from fiftyover.broker import accounts
from fiftyover.broker.child import ChildBroker

HERE = Path(__file__).parent
BEGIN_LIMIT_S = 90.0
DRAIN_LIMIT_S = 30.0


class Program:
    """A process that answers each line with a line of JSON."""

    def __init__(self, script: str, config: dict[str, Any], folder: Path) -> None:
        file = folder / f"{script}.json"
        file.write_text(json.dumps(config), "utf-8")
        self._errors = (folder / f"{script}.err").open("ab")
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / script), str(file)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
            env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        )
        self.hello = self._answer()

    def ask(self, word: str) -> dict[str, Any]:
        assert self.process.stdin is not None
        self.process.stdin.write(word + "\n")
        self.process.stdin.flush()
        return self._answer()

    def _answer(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            self._errors.flush()
            raise RuntimeError(f"{self.process.args} ended: {Path(self._errors.name).read_text('utf-8')[-2000:]}")
        return dict(json.loads(line))

    def end(self) -> None:
        with contextlib.suppress(OSError):
            if self.process.stdin is not None:
                self.process.stdin.close()
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(5)
        self._errors.close()
        if self.process.stdout is not None:
            self.process.stdout.close()

    def cpu_s(self) -> float:
        """Processor seconds so far."""
        return cpu_s(self.process.pid)


def cpu_s(pid: int) -> float:
    """Processor seconds of a process so far, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass
class Figures:
    """What one number of kits showed. Times in seconds."""

    kits: int
    seconds: float = 0.0
    load: float = 0.0  # of the machine at the end, all programs
    hub_cores: float = 0.0
    broker_cores: float = 0.0
    kits_cores: float = 0.0
    grants: int = 0
    interval_p99_s: float = 0.0
    interval_max_s: float = 0.0
    handed_p99_s: float = 0.0  # from the frame's arrival in the hub to the client
    written_p50_s: float = 0.0  # the same, to the socket
    written_p99_s: float = 0.0
    written_max_s: float = 0.0
    answered_p99_s: float = 0.0  # from the kit's publishing to the permit's arrival at the kit
    acked_p99_s: float = 0.0
    commit_p50_s: float = 0.0
    commit_p99_s: float = 0.0
    memory_mib: float = 0.0
    frames: int = 0
    lost: int = 0
    doubled: int = 0
    conflicts: int = 0
    never_acked: int = 0
    again: int = 0
    expired: int = 0
    lost_in: int = 0
    refused_out: int = 0
    faults: int = 0
    forecasts: int = 0
    late_s: float = 0.0  # the load generator's own delay, at worst
    refused: dict[str, int] = field(default_factory=dict)
    whys: list[str] = field(default_factory=list)


def part(values: list[float], share: float) -> float:
    """The value below which this share of the values lies; nothing is invented between two of them."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else float("nan")


@contextlib.contextmanager
def stand(folder: Path, names: list[str], *, together: bool = False, profile: str = "") -> Iterator[Any]:
    """(broker, hub, kits) of so many kits, all signed in."""
    made = accounts.fresh(*names)
    broker = ChildBroker("mosquitto", folder / "broker", made)
    with contextlib.ExitStack() as stack:
        broker.start()
        stack.callback(broker.stop)
        config = {"store": str(folder / "record.sqlite"), "broker": asdict(broker.address), "kits": names}
        hub = Program("hub_process.py", {**config, "profile": profile}, folder)
        stack.callback(hub.end)
        secrets = [(name, broker.address_for(name).secret) for name in names]
        kits = Program(
            "kits.py", {"kits": secrets, "port": broker.address.port, "seed": 7, "together": together}, folder
        )
        stack.callback(kits.end)
        yield broker, hub, kits


def until(look: Any, limit_s: float, what: str) -> None:
    """Wait for a condition; RuntimeError if it does not come."""
    began_s = time.monotonic()
    while not look():
        if time.monotonic() - began_s > limit_s:
            raise RuntimeError(f"{what} did not come within {limit_s:.0f} s")
        time.sleep(0.5)


def measured(folder: Path, count: int, seconds: float, *, together: bool = False, profile: str = "") -> Figures:
    """Run a stand of `count` kits and watch it for so long after every batch has a permit."""
    names = [f"kit-{number:03d}" for number in range(count)]
    figures = Figures(count)
    with stand(folder, names, together=together, profile=profile) as (broker, hub, kits):
        until(lambda: hub.ask("ready")["ready"] == count, BEGIN_LIMIT_S, "the first reading of each kit")
        assert hub.ask("begin")["begun"] == count
        until(lambda: kits.ask("look")["permitted"] == count, BEGIN_LIMIT_S, "a permit for each kit")
        kits.ask("watch")
        hub.ask("watch")
        before = (cpu_s(broker.pid), kits.cpu_s(), time.monotonic())
        time.sleep(seconds)
        told = hub.ask("report")
        seen = kits.ask("report")
        gone_s = time.monotonic() - before[2]
        figures.broker_cores = (cpu_s(broker.pid) - before[0]) / gone_s
        figures.kits_cores = (kits.cpu_s() - before[1]) / gone_s
        figures.load = os.getloadavg()[0]
        kits.ask("quiet")
        with contextlib.suppress(RuntimeError):
            until(lambda: kits.ask("look")["kept"] == 0, DRAIN_LIMIT_S, "the last acknowledgement")
        end = kits.ask("report")
    fill(figures, told, seen)
    figures.never_acked, figures.again = end["kept"], end["again"]
    count_rows(figures, folder / "record.sqlite", end["frames"])
    return figures


def fill(figures: Figures, told: dict[str, Any], seen: dict[str, Any]) -> None:
    """Take what hub and kits report."""
    figures.seconds = told["wall_s"]
    figures.hub_cores = told["cpu_s"] / told["wall_s"]
    figures.handed_p99_s = part(told["handed_s"], 0.99)
    figures.written_p50_s, figures.written_p99_s = part(told["written_s"], 0.5), part(told["written_s"], 0.99)
    figures.written_max_s = max(told["written_s"], default=float("nan"))
    figures.commit_p50_s, figures.commit_p99_s = part(told["commits_s"], 0.5), part(told["commits_s"], 0.99)
    for name in ("memory_mib", "lost_in", "refused_out", "faults", "forecasts", "whys"):
        setattr(figures, name, told[name])
    figures.interval_p99_s = part(seen["intervals_s"], 0.99)
    figures.interval_max_s = max(seen["intervals_s"], default=float("nan"))
    figures.answered_p99_s, figures.acked_p99_s = part(seen["answered_s"], 0.99), part(seen["acked_s"], 0.99)
    for name in ("grants", "expired", "late_s", "refused"):
        setattr(figures, name, seen[name])


def count_rows(figures: Figures, record: Path, frames: dict[str, int]) -> None:
    """Compare the record, row by row, with what the kits made."""
    with contextlib.closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as base:
        rows = base.execute("SELECT kit || ' ' || boot, seq FROM frames").fetchall()
        figures.conflicts = base.execute("SELECT count(*) FROM conflicts").fetchone()[0]
    made = {(kit, seq) for kit, count in frames.items() for seq in range(count)}
    figures.frames, figures.lost = len(made), len(made - set(rows))
    figures.doubled = len(rows) - len(set(rows)) + len(set(rows) - made)
