"""What the page asks of an old record, timed: at first with nothing of the file in memory, then again and again."""

from __future__ import annotations

import argparse
import os
import statistics
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from typing import Any, NamedTuple

from weeks import KIT, PROBES, WEEK_S, ZERO_MS, batch_name

from fiftyover.app import desk_record, store_command
from fiftyover.clock import VirtualClock
from fiftyover.reports import record as records
from fiftyover.reports import report_command
from fiftyover.store import Store

AGAIN = 9
POINTS = 500
DAY_MS = 86_400_000


class Asked(NamedTuple):
    """Milliseconds: of the first time, the median and most of the further ones, their least processor time; and how
    many things came back."""

    cold_ms: float
    median_ms: float
    most_ms: float
    cpu_ms: float
    things: int


def ask(path: Path, weeks: int) -> dict[str, Asked]:
    """Each question by name."""
    clock = VirtualClock(at_s=weeks * WEEK_S, utc_zero_ms=ZERO_MS)
    store = Store(path, clock)
    old, last_ms = batch_name(weeks // 2), ZERO_MS + round((weeks - 1) * WEEK_S * 1000)

    def day_of_curves() -> int:
        return sum(len(store.series(KIT, ch, last_ms, last_ms + DAY_MS, POINTS)) for ch in range(PROBES))

    def page() -> int:
        found, frames = records.read(store.reader, old)
        assert frames
        return len(report_command.page(records.record(found, frames), frames, "us"))

    def table() -> int:
        told = desk_record.batch(store, old, "us")
        assert told is not None
        return len(told["blocks"])

    questions: dict[str, Callable[[], int]] = {
        "list of batches": lambda: len(desk_record.batches(store)),
        "curves of an old batch": lambda: _values(desk_record.past(store, old, POINTS)),
        "24 h of 12 series": day_of_curves,
        "an old batch's record": table,
        "the same as a page": page,
    }
    try:
        return {name: _timed(path, question) for name, question in questions.items()}
    finally:
        store.close()


def back_up(path: Path, to: Path) -> float:
    """Seconds that `fiftyover store backup` takes, its check of the copy included."""
    settings = path.with_suffix(".toml")
    settings.write_text(f'[store]\npath = "{path}"\n', "utf-8")
    began = time.perf_counter()
    with redirect_stdout(StringIO()):
        code = store_command.run(argparse.Namespace(work="backup", settings=settings, file=to))
    assert code == 0
    return time.perf_counter() - began


def _values(told: dict[str, Any]) -> int:
    return sum(value is not None for curve in told["curves"] for value in curve["v"])


def _timed(path: Path, question: Callable[[], int]) -> Asked:
    _out_of_memory(path)
    cold_ms, _, things = _once(question)
    again = [_once(question) for _ in range(AGAIN if cold_ms < 2000.0 else 3)]
    wall = [one[0] for one in again]
    return Asked(cold_ms, statistics.median(wall), max(wall), min(one[1] for one in again), things)


def _once(question: Callable[[], int]) -> tuple[float, float, int]:
    wall, cpu = time.perf_counter(), time.thread_time()
    things = question()
    return (time.perf_counter() - wall) * 1000, (time.thread_time() - cpu) * 1000, things


def _out_of_memory(path: Path) -> None:
    """Let the system forget what it holds of the file; the connection's own few pages stay."""
    with path.open("rb") as file:
        os.fsync(file.fileno())
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
