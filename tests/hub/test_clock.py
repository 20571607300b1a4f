"""The steady clock: durations and UTC that no wall clock can move."""

import time
import uuid

import pytest

from fiftyover import clock as clock_module
from fiftyover.clock import Clock, VirtualClock


@pytest.fixture
def wall(monkeypatch):
    """A wall clock that the test can move: wall["ahead_s"]."""
    state = {"ahead_s": 0.0}
    real = time.time
    monkeypatch.setattr(clock_module.time, "time", lambda: real() + state["ahead_s"])
    return state


def test_steady_clock_is_the_machines_boot_time():
    before = time.clock_gettime(time.CLOCK_BOOTTIME)
    read = Clock().monotonic_s()
    assert before <= read <= time.clock_gettime(time.CLOCK_BOOTTIME)


def test_utc_is_the_wall_clock_at_the_start():
    assert abs(Clock().utc_ms() - time.time() * 1000) < 50


@pytest.mark.parametrize("jump_s", [7200.0, -7200.0, 3600.0])
def test_wall_clock_that_jumps_moves_neither_a_duration_nor_a_date(wall, jump_s):
    clock = Clock()
    start_s, start_ms = clock.monotonic_s(), clock.utc_ms()
    wall["ahead_s"] = jump_s
    assert 0 <= clock.monotonic_s() - start_s < 1
    assert 0 <= clock.utc_ms() - start_ms < 1000
    assert clock.wall_ahead_s() == pytest.approx(jump_s, abs=0.1)


def test_anchor_gives_the_steady_clocks_zero_another_utc():
    clock = Clock()
    clock.anchor(1_000_000)
    assert clock.utc_zero_ms() == 1_000_000
    assert clock.utc_ms() == pytest.approx(1_000_000 + clock.monotonic_s() * 1000, abs=50)


def test_fast_clock_runs_as_many_times_faster_in_seconds_and_in_utc():
    clock = Clock(speed=1000.0)
    real_s, fast_s, fast_ms = time.monotonic(), clock.monotonic_s(), clock.utc_ms()
    time.sleep(0.02)
    gone_s, fast_gone_s, fast_gone_ms = (
        time.monotonic() - real_s,
        clock.monotonic_s() - fast_s,
        clock.utc_ms() - fast_ms,
    )
    assert fast_gone_s == pytest.approx(gone_s * 1000, rel=0.2)
    assert fast_gone_ms == pytest.approx(fast_gone_s * 1000, rel=0.2)


def test_two_clocks_of_one_machine_start_share_its_name_but_fast_ones_do_not():
    assert Clock().boot_uuid() == Clock().boot_uuid() == str(uuid.UUID(Clock().boot_uuid()))
    assert len({Clock().boot_uuid(), Clock(speed=60).boot_uuid(), Clock(speed=60).boot_uuid()}) == 3


def test_machine_without_a_boot_id_gets_a_name_that_is_never_met_again(monkeypatch, tmp_path):
    monkeypatch.setattr(clock_module, "BOOT_ID_FILE", tmp_path / "missing")
    assert Clock().boot_uuid() != Clock().boot_uuid()


@pytest.mark.parametrize("speed", [0, -1, float("inf"), float("nan")])
def test_speed_that_no_clock_can_have_is_refused(speed):
    with pytest.raises(ValueError, match="speed"):
        Clock(speed=speed)


def test_virtual_clock_moves_only_when_it_is_moved_and_never_back():
    clock = VirtualClock(at_s=100.0, utc_zero_ms=5_000)
    clock.advance(2.5)
    assert (clock.monotonic_s(), clock.utc_ms()) == (102.5, 107_500)
    clock.set(200)
    assert clock.monotonic_s() == 200
    with pytest.raises(ValueError, match="does not go back"):
        clock.set(199)
