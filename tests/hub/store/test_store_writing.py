"""The writer: exactly once, durable when it says so, one hub a file."""

import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from fiftyover.batch.events import Event
from fiftyover.clock import VirtualClock
from fiftyover.errors import StoreError
from fiftyover.store import DUTY, BootLine, Store, database

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"


def table(store, sql):
    with closing(sqlite3.connect(store.path)) as other:
        return other.execute(sql).fetchall()


def test_nothing_is_durable_before_the_commit_and_everything_after(store, frame):
    store.add_frames([frame(0), frame(1)])
    assert table(store, "SELECT count(*) FROM frames") == [(0,)]
    assert [key.seq for key in store.commit()] == [0, 1]
    assert table(store, "SELECT kit, boot, seq FROM frames") == [(KIT, BOOT, 0), (KIT, BOOT, 1)]


def test_every_commit_waits_for_the_disk(store):
    assert store._connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert store._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_duplicate_is_one_row_and_is_acknowledged_again(store, frame):
    store.add_frames([frame(7)])
    assert len(store.commit()) == 1
    store.add_frames(
        [frame(7, live=False, utc_ms=1, at_s=0.0), frame(7)]
    )  # what the date and the way were is no content
    assert [key.seq for key in store.commit()] == [7]
    assert table(store, "SELECT count(*), max(live) FROM frames") == [(1, 1)]
    assert store.take_notices() == []
    assert table(store, "SELECT sum(n) FROM minutes WHERE channel = 0") == [(1,)]


@pytest.mark.parametrize("together", [True, False])
@pytest.mark.parametrize(
    "other", [{"duty": 0.4}, {"t": [80.01, 40.25, None]}, {"s": ["ok", "ok", "open"]}, {"on": 0}, {"why": "cap"}]
)
def test_same_key_with_other_content_is_an_alarm_and_no_overwrite(store, frame, together, other):
    store.add_frames([frame(3)])
    if not together:
        store.commit()
    store.add_frames([frame(3, **other)])
    assert [key.seq for key in store.commit()] == [3]
    assert store.frames(KIT, 0, 2**60) == [frame(3)]
    assert ["twice with different content" in sentence for sentence in store.take_notices()] == [True]
    assert store.reader.conflicts() == 1, "the second content is kept as evidence before it is acknowledged"


def test_same_number_of_another_start_or_kit_is_another_frame(store, frame):
    store.add_frames([frame(3), frame(3, boot="0" * 12, duty=0.1), frame(3, kit="kit-2", duty=0.2)])
    assert len(store.commit()) == 3
    assert table(store, "SELECT count(*) FROM frames") == [(3,)]


def test_minutes_hold_least_mean_and_greatest_of_believed_readings_only(store, frame):
    degC = [80.0, 81.0, 85.0]
    store.add_frames([frame(i, t=[degC[i], 40.0, None]) for i in range(2)])
    store.commit()
    store.add_frames([frame(2, t=[85.0, 40.0, None])])
    store.add_frames([frame(3, t=[300.0, 40.0, None], s=["jump", "ok", "open"])])  # not believed: not in the curve
    store.add_frames([frame(60, t=[20.0, 40.0, None])])  # the next minute
    store.commit()
    rows = table(store, "SELECT n, low, total / n, high FROM minutes WHERE channel = 0 ORDER BY minute")
    assert rows == [(3, 80.0, 82.0, 85.0), (1, 20.0, 20.0, 20.0)]
    assert table(store, "SELECT n FROM minutes WHERE channel = 1 ORDER BY minute") == [(4,), (1,)]
    assert table(store, "SELECT count(*) FROM minutes WHERE channel = 2") == [(0,)]
    assert table(store, f"SELECT sum(n) FROM minutes WHERE channel = {DUTY}") == [(5,)]


def test_events_are_append_only(store):
    store.add_event("7f2c", Event("hung", 1.0, 2, {"chubs": [1, 2]}))
    store.commit()
    with closing(sqlite3.connect(store.path)) as other:
        for sql in ("UPDATE events SET kind = 'x'", "DELETE FROM events"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                other.execute(sql)
    assert [event.kind for event in store.events("7f2c")] == ["hung"]


@pytest.mark.parametrize(
    "event",
    [Event("x", 0.0, 0, {"a": {1, 2}}), Event("x", 0.0, 0, {"a": float("nan")}), Event("x", float("inf"), 0, {})],
)
def test_event_that_cannot_be_written_is_refused_when_it_is_given(store, event):
    with pytest.raises(StoreError, match="event x of batch 7f2c cannot be kept"):
        store.add_event("7f2c", event)
    store.commit()
    assert store.events("7f2c") == []


def test_frame_with_a_nan_is_refused_when_it_is_given_and_hurts_no_other(store, frame):
    with pytest.raises(ValueError, match="not JSON compliant"):
        store.add_frames([frame(0), frame(1, t=[float("nan"), 1.0, None])])
    assert [key.seq for key in store.commit()] == [0]


def test_hub_id_is_made_once_and_the_run_number_grows_by_one_a_start(tmp_path, clock):
    seen = []
    for _ in range(3):
        store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
        seen.append((store.hub_id, store.run_number))
        store.close()
    other = Store(tmp_path / "b.sqlite", clock, reserve_bytes=0)
    other.close()
    assert [run for _, run in seen] == [1, 2, 3]
    assert len({hub_id for hub_id, _ in seen}) == 1
    assert other.hub_id != seen[0][0]


def test_run_number_stays_within_what_a_grant_can_carry(tmp_path, clock):
    store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
    store._connection.execute("UPDATE hub SET run = ?", (database.RUN_MAX,))
    store.close()
    again = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
    assert ((database.RUN_MAX << 16) | 0xFFFF) == 2**30 - 1
    assert again.run_number == 1
    assert any("restart the kit" in sentence for sentence in again.take_notices())
    again.close()


def test_second_hub_on_one_record_is_refused_with_a_sentence(store, clock):
    program = (
        "import sys; from fiftyover.clock import Clock; from fiftyover.store import Store; "
        "from fiftyover.errors import StoreError\n"
        "try: Store(sys.argv[1], Clock())\n"
        "except StoreError as error: print(error)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(store.path)], capture_output=True, text=True, timeout=30, check=True
    )
    assert done.stdout.startswith("Another hub (process ")
    assert str(store.path) in done.stdout
    with pytest.raises(StoreError, match="Another hub"):  # from within the same process too
        Store(store.path, clock)
    store.close()
    Store(store.path, clock, reserve_bytes=0).close()


def test_files_are_for_the_owner_only(tmp_path, clock, frame):
    store = Store(tmp_path / "new" / "record.sqlite", clock, reserve_bytes=4096)
    store.add_frames([frame(0)])
    store.commit()
    modes = {path.name: path.stat().st_mode & 0o777 for path in store.path.parent.iterdir()}
    assert set(modes) == {"record.sqlite" + end for end in ("", "-wal", "-shm", ".lock", ".reserve")}
    assert set(modes.values()) == {0o600}
    assert store.path.parent.stat().st_mode & 0o777 == 0o700
    store.close()


def test_path_that_cannot_be_a_record_is_a_sentence(tmp_path, clock):
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError, match=r"file/a.sqlite cannot be made"):
        Store(tmp_path / "file" / "a.sqlite", clock)
    (tmp_path / "text.sqlite").write_text("no database " * 1000)
    with pytest.raises(StoreError, match=r"text.sqlite cannot be used: it is not a database; name another"):
        Store(tmp_path / "text.sqlite", clock)
    (tmp_path / "text.sqlite").unlink()
    Store(tmp_path / "text.sqlite", clock, reserve_bytes=0).close()  # the lock of the refused start is let go


def test_odd_characters_in_the_path_are_part_of_the_path(tmp_path, clock, frame):
    store = Store(tmp_path / "a b?c#d%20.sqlite", clock, reserve_bytes=0)
    store.add_frames([frame(0)])
    store.commit()
    assert len(store.frames(KIT, 0, 2**60)) == 1
    assert (tmp_path / "a b?c#d%20.sqlite").exists()
    store.close()


def test_wall_clock_that_jumps_while_the_hub_runs_is_told_once(store, clock):
    store.commit()
    clock.wall_jump_s = 7200.0
    store.commit()
    store.commit()
    told = store.take_notices()
    assert len(told) == 1
    assert "+7200 s" in told[0]


def boot_line(heard_s):
    return BootLine(KIT, BOOT, 5.0, heard_s, 0, 0, True)


def test_restart_in_the_middle_of_a_cook_keeps_the_utc_it_began_with(tmp_path, clock):
    store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
    store.save_boot(boot_line(heard_s=100.0))
    store.close()
    moved = VirtualClock(at_s=130.0, utc_zero_ms=clock.utc_zero_ms() + 7_200_000)
    again = Store(tmp_path / "a.sqlite", moved, reserve_bytes=0)
    assert moved.utc_zero_ms() == clock.utc_zero_ms()
    assert ["moved by +7200 s" in sentence for sentence in again.take_notices()] == [True]
    again.close()


def test_restart_long_after_the_last_reading_takes_the_new_utc(tmp_path, clock):
    store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
    store.save_boot(boot_line(heard_s=100.0))
    store.close()
    new_ms = clock.utc_zero_ms() + 7_200_000
    moved = VirtualClock(at_s=100.0 + 3601, utc_zero_ms=new_ms)
    again = Store(tmp_path / "a.sqlite", moved, reserve_bytes=0)
    assert moved.utc_zero_ms() == new_ms
    assert again.take_notices() == []
    again.close()
