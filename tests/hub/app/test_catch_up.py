"""Frames after a restart: the kit's own order, no waiting for what is gone, and no heat on what is past."""

from __future__ import annotations

from fiftyover.app.catch_up import WAIT_S, CatchUp
from fiftyover.store import DatedFrame


def frame(seq: int, live: bool = True, boot: str = "b1", at_s: float | None = None) -> DatedFrame:
    at_s = float(seq) if at_s is None else at_s
    return DatedFrame("kit-3f2a", boot, seq, 0, 0, at_s, [60.0], ["ok"], 0, 0.0, "off", live)


def begun(last_seq: int) -> CatchUp:
    catch_up = CatchUp()
    catch_up.begin(frame(last_seq))
    return catch_up


def seqs(frames: list[DatedFrame]) -> list[int]:
    return [one.seq for one in frames]


def test_without_a_restart_live_frames_pass_and_old_ones_do_not() -> None:
    assert seqs(CatchUp().take(frame(7), 7.0)) == [7]
    assert CatchUp().take(frame(7, live=False), 7.0) == []


def test_live_frames_wait_for_what_comes_before_them() -> None:
    catch_up = begun(10)
    assert catch_up.take(frame(13), 13.0) == []
    assert seqs(catch_up.take(frame(11, live=False), 13.1)) == [11]
    assert catch_up.take(frame(14), 14.0) == []
    assert seqs(catch_up.take(frame(12, live=False), 14.1)) == [12, 13, 14]
    assert not catch_up.waiting
    assert seqs(catch_up.take(frame(15), 15.0)) == [15]


def test_frames_that_the_record_has_count_no_second_time() -> None:
    catch_up = begun(10)
    assert catch_up.take(frame(9, live=False), 11.0) == []
    assert catch_up.take(frame(10, live=False), 11.0) == []
    assert seqs(catch_up.take(frame(11), 11.0)) == [11]
    assert not catch_up.waiting


def test_a_hole_that_stays_is_waited_for_some_seconds_only() -> None:
    catch_up = begun(10)
    assert catch_up.take(frame(13), 13.0) == []
    assert catch_up.take(frame(20), 13.0 + WAIT_S - 0.5) == []
    assert seqs(catch_up.take(frame(21), 13.0 + WAIT_S)) == [13, 20, 21]
    assert not catch_up.waiting


def test_another_start_or_a_long_absence_is_an_outage_and_not_caught_up_with() -> None:
    assert seqs(begun(10).take(frame(0, boot="b2", at_s=12.0), 12.0)) == [0]
    away = begun(10)
    for seq in range(11, 140):
        assert away.take(frame(seq, live=False), 150.0) == [], "whether it was an outage, the first live frame tells"
    assert seqs(away.take(frame(140), 150.1)) == [140]
    assert not away.waiting
    assert seqs(begun(10).take(frame(200), 200.0)) == [200]


def test_old_frames_that_come_first_wait_for_the_live_one() -> None:
    catch_up = begun(10)
    assert catch_up.take(frame(11, live=False), 13.0) == []
    assert catch_up.take(frame(12, live=False), 13.0) == []
    assert seqs(catch_up.take(frame(13), 13.1)) == [11, 12, 13]
    assert not catch_up.waiting
