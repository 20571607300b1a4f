"""A batch that nobody ends for days: what is remembered of it stays small, and its clocks right."""

import queue
from types import SimpleNamespace

import pytest

from fiftyover.app.history import MINUTES_MAX, Curves
from fiftyover.batch.outlook import SEEN_MOST, Memory
from fiftyover.batch.state import Block

DAYS_S = 5 * 86_400


def test_warm_up_clock_of_five_days_is_right_and_keeps_few_readings() -> None:
    curves = Curves(None)
    curves.begin(0)
    for at_s in range(0, DAYS_S + 1, 60):
        curves.add(SimpleNamespace(at_s=float(at_s), t=[57.0, 30.0]))
    assert len(curves._rows) <= MINUTES_MAX
    assert curves.warmup_s() == pytest.approx(DAYS_S, abs=120.0)


def test_forecast_looks_at_two_days_of_a_longer_batch() -> None:
    memory = Memory()
    for at_s in range(0, DAYS_S, 30):
        memory.heed(SimpleNamespace(blocks=(Block(float(at_s), 57.0, (None, 30.0)),), duty=0.5))
    assert SEEN_MOST <= len(memory.rows) <= 1.1 * SEEN_MOST
    assert memory.rows[-1].at_s == DAYS_S - 30
    assert memory.rows[-1].at_s - memory.rows[0].at_s >= 2 * 86_400 - 30


def test_what_days_says_is_read_anew_only_when_the_record_has_more(tmp_path) -> None:
    from fiftyover.app.days import Days
    from fiftyover.batch.day import STUFFED
    from fiftyover.batch.plan import Chub, Plan
    from fiftyover.clock import VirtualClock
    from fiftyover.store import Store

    clock = VirtualClock(at_s=5000.0)
    store = Store(tmp_path / "record.sqlite", clock, 0)
    days, asked = Days(store, clock), queue.SimpleQueue()
    events = store.reader.events
    store.reader.events = lambda batch_id: (asked.put(batch_id), events(batch_id))[1]
    days.begin(Plan("7f2c0001", "endless", (Chub(1, "slim", 45.0, "left", 1),), 85.0), "kit-1", {})
    first = days.of("7f2c0001")
    assert days.of("7f2c0001") is first
    assert asked.qsize() == 1
    assert days.mark("7f2c0001", STUFFED, {}, "cook")[0]
    assert days.of("7f2c0001").stuffed_s == 5000.0
    clock.anchor(clock.utc_zero_ms() + 3_600_000)
    reads = asked.qsize()
    days.of("7f2c0001")
    assert asked.qsize() == reads + 1
    store.close()
