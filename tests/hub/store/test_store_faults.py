"""The disk fails: nothing acknowledged is lost, nothing remembered is forgotten, and saving resumes by itself."""

import os
import random
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from fiftyover.batch.events import Event
from fiftyover.clock import Clock, VirtualClock
from fiftyover.errors import StoreError
from fiftyover.store import Store, database
from fiftyover.store import store as store_module

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"


def whole(path) -> bool:
    with closing(sqlite3.connect(path)) as other:
        return other.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def stored(path) -> list[int]:
    with closing(sqlite3.connect(path)) as other:
        return [row[0] for row in other.execute("SELECT seq FROM frames ORDER BY seq")]


@pytest.fixture
def small_disk(tmp_path):
    """A folder on a disk of 1 MiB where one can be mounted; else None."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "fiftyover-test", str(folder)]
    try:
        mounted = subprocess.run(mount, capture_output=True, timeout=20, check=False).returncode == 0
    except OSError:
        mounted = False
    yield folder if mounted else None
    if mounted:
        subprocess.run(["umount", "-l", str(folder)], check=True, timeout=20)


class Pages:
    """A disk that is full at the present size of the database: SQLite's own page limit."""

    def __init__(self, store):
        self.store = store

    def fill(self):
        used = self.store._connection.execute("PRAGMA page_count").fetchone()[0]
        self.store._connection.execute(f"PRAGMA max_page_count = {used}")

    def free(self):
        self.store._connection.execute("PRAGMA max_page_count = 1000000")


class Disk:
    """A real small disk, filled to the last block with a file."""

    def __init__(self, folder):
        self.filler = folder / "filler"

    def fill(self):
        with open(self.filler, "ab", buffering=0) as out:
            for size in (65536, 4096, 512):
                try:
                    while out.write(b"x" * size):
                        pass
                except OSError:
                    continue

    def free(self):
        self.filler.unlink()


def test_full_disk_pauses_saving_and_loses_nothing(small_disk, tmp_path, clock, frame):
    path = (small_disk or tmp_path) / "record.sqlite"
    store = Store(path, clock, reserve_bytes=200_000)
    disk = Disk(small_disk) if small_disk else Pages(store)
    store.add_frames([frame(0)])
    assert len(store.commit()) == 1
    disk.fill()
    acknowledged, number = {0}, 0
    for _ in range(2000):
        number += 1
        store.add_frames([frame(number, t=[80.0] * 31, s=["ok"] * 31)])
        acknowledged |= {key.seq for key in store.commit()}
        if store.problem:
            break
    assert isinstance(store.problem, StoreError)
    assert "the disk is full" in str(store.problem)
    assert "saving goes on by itself" in str(store.problem)
    notices = store.take_notices()
    if small_disk:
        assert len(acknowledged) > 10, "the space kept back carried some commits"
        assert "space kept back" in notices[0]
    assert str(store.problem) in notices
    store.add_event("7f2c", Event("stop-heat", 1.0, 1, {}))
    for _ in range(5):  # a minute of it: the same frames again and again, and new ones
        store.add_frames([frame(number, t=[80.0] * 31, s=["ok"] * 31), frame(number + 1)])
        assert store.commit() == []
    assert store.waiting() == (2, 1)
    assert store.take_notices() == [], "one sentence, not one a second"
    assert [f.seq for f in store.frames(KIT, 0, 2**60)] == sorted(acknowledged), "reading goes on"
    disk.free()
    assert {key.seq for key in store.commit()} == {number, number + 1}
    assert store.problem is None
    assert "works again" in store.take_notices()[0]
    assert [event.kind for event in store.events("7f2c")] == ["stop-heat"]
    clock.advance(61)
    store.commit()
    store.add_frames([frame(number + 2)])
    store.commit()
    assert store._reserve.held(), "space is kept back for the next time"
    store.close()
    assert whole(path)
    assert stored(path) == list(range(number + 3))


def test_disk_that_is_full_at_the_start_gives_the_kept_space_or_a_sentence(small_disk, tmp_path, clock):
    if small_disk is None:  # what can be shown without a mount: a full database refuses to open with a sentence
        with pytest.raises(StoreError, match="the disk is full; free some space there"):
            raise_full(tmp_path, clock)
        return
    path = small_disk / "record.sqlite"
    Store(path, clock, reserve_bytes=100_000).close()
    disk = Disk(small_disk)
    disk.fill()
    store = Store(path, clock, reserve_bytes=100_000)
    assert store.run_number == 2
    store.close()
    disk.fill()
    (small_disk / "record.sqlite.reserve").unlink(missing_ok=True)
    with pytest.raises(StoreError, match="the disk is full; free some space there"):
        Store(path, clock, reserve_bytes=0)


def raise_full(tmp_path, clock):
    from fiftyover.store import trouble

    connection = sqlite3.connect(tmp_path / "a.sqlite", isolation_level=None)
    connection.execute("CREATE TABLE a (b)")
    connection.execute("PRAGMA max_page_count = 2")
    try:
        connection.execute("INSERT INTO a VALUES (zeroblob(100000))")
    except sqlite3.Error as error:
        raise trouble.opening(error, tmp_path / "a.sqlite") from error
    finally:
        connection.close()


def test_memory_is_bounded_while_nothing_can_be_saved_but_events_are_all_kept(tmp_path, clock, frame):
    store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0, waiting_max=10)
    pages = Pages(store)
    pages.fill()
    for number in range(30):
        store.add_frames([frame(number, t=[80.0] * 31, s=["ok"] * 31)])
        store.add_event("7f2c", Event("note", 0.0, number, {"text": "x" * 500}))
    assert store.commit() == []
    assert store.waiting() == (10, 30)
    assert store.turned_away == 20
    pages.free()
    assert [key.seq for key in store.commit()] == list(range(10))
    assert len(store.events("7f2c")) == 30
    store.close()


def test_what_comes_while_a_commit_is_failing_follows_what_the_commit_had(store, frame, monkeypatch):
    def fail(*_):
        store.add_frames([frame(0), frame(1), frame(2, duty=0.9)])
        store.add_event("7f2c", Event("second", 0.0, 0, {}))
        store.add_target(KIT, 7, 80.0)
        raise sqlite3.OperationalError("disk I/O error")

    store.add_frames([frame(0), frame(2)])
    store.add_event("7f2c", Event("first", 0.0, 0, {}))
    with monkeypatch.context() as patch:
        patch.setattr(store_module, "write", fail)
        assert store.commit() == []
    assert {key.seq for key in store.commit()} == {0, 1, 2}
    assert [one.duty for one in store.frames(KIT, 0, 2**60)] == [0.35, 0.35, 0.35]
    assert store.reader.conflicts() == 1
    assert [event.kind for event in store.events("7f2c")] == ["first", "second"]
    assert store.targets(KIT, 0, 10) == [(7, 80.0)]


def test_fault_of_the_program_itself_during_a_commit_forgets_nothing(store, frame, monkeypatch):
    store.add_frames([frame(0)])
    with monkeypatch.context() as patch:
        patch.setattr(store_module, "write", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            store.commit()
    assert [key.seq for key in store.commit()] == [0]


class Failing(sqlite3.Connection):
    """A connection whose operation number `fail_at` fails as a broken disk does."""

    fail_at = -1
    count = 0

    def _tick(self):
        Failing.count += 1
        if Failing.count == Failing.fail_at:
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR
            raise error

    def execute(self, *given):
        self._tick()
        return super().execute(*given)

    def executemany(self, *given):
        self._tick()
        return super().executemany(*given)


def test_whichever_operation_of_a_commit_fails_the_next_commit_writes_all_of_it_once(
    tmp_path, clock, frame, monkeypatch
):
    real = sqlite3.connect
    monkeypatch.setattr(database.sqlite3, "connect", lambda *a, **k: real(*a, **{"factory": Failing, **k}))
    monkeypatch.setattr(Failing, "fail_at", -1)
    store = Store(tmp_path / "a.sqlite", clock, reserve_bytes=0)
    failures = number = 0
    for fail_at in range(1, 40):
        store.add_frames([frame(number), frame(number + 1)])
        store.add_event("7f2c", Event("n", 0.0, number, {}))
        monkeypatch.setattr(Failing, "count", 0)
        monkeypatch.setattr(Failing, "fail_at", fail_at)
        keys = store.commit()
        monkeypatch.setattr(Failing, "fail_at", -1)
        if store.problem:
            failures += 1
            assert keys == []
            assert "the disk reports an error" in str(store.problem)
            keys = store.commit()
        assert [key.seq for key in keys] == [number, number + 1]
        number += 2
        assert store.problem is None
    store.close()
    assert failures >= 9, "begin, two frames, six tables or more, and the commit itself each failed once"
    assert whole(tmp_path / "a.sqlite")
    assert stored(tmp_path / "a.sqlite") == list(range(number))
    with closing(sqlite3.connect(tmp_path / "a.sqlite")) as other:
        assert other.execute("SELECT sum(n) FROM minutes WHERE channel = 0").fetchone() == (number,)
        assert other.execute("SELECT utc_ms FROM events").fetchall() == [(n,) for n in range(0, number, 2)]


def test_database_that_is_taken_away_while_in_use_is_noticed(store, frame):
    store.add_frames([frame(0)])
    store.commit()
    away = store.path.with_name("away")
    os.rename(store.path, away)
    store.add_frames([frame(1)])
    assert store.commit() == []
    assert "removed or replaced" in str(store.problem)
    os.rename(away, store.path)
    assert [key.seq for key in store.commit()] == [1]
    assert store.problem is None


WRITER = """
import sys
from fiftyover.batch.events import Event
from fiftyover.clock import Clock
from fiftyover.store import DatedFrame, Store
clock = Clock()
store = Store(sys.argv[1], clock, reserve_bytes=0)
seq = int(sys.argv[2])
while True:
    now = clock.utc_ms()
    store.add_frames([DatedFrame("kit-3f2a", "9f3c1a02b7e4", seq + i, (seq + i) * 1000 % 2**30, now, 0.0,
                                 [80.0, 40.0], ["ok", "ok"], 1, 0.5, "on", True) for i in range(3)])
    store.add_event("7f2c", Event("n", clock.monotonic_s(), now, {"n": seq}))
    print(*[key.seq for key in store.commit()], flush=True)
    seq += 3
"""


def test_hub_killed_at_any_moment_has_kept_all_that_it_acknowledged_and_starts_again(tmp_path):
    path, acknowledged, chance = tmp_path / "record.sqlite", set(), random.Random(7)
    for kill in range(5):
        start = max(stored(path), default=-1) + 1 if kill else 0
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(start)], stdout=subprocess.PIPE, text=True, bufsize=1
        )
        try:
            for _ in range(chance.randrange(1, 60)):
                acknowledged |= {int(word) for word in writer.stdout.readline().split()}
        finally:
            writer.kill()
            rest, _ = writer.communicate(timeout=20)
        for line in rest.splitlines(keepends=True):
            if line.endswith("\n"):
                acknowledged |= {int(word) for word in line.split()}
    rows = stored(path)
    assert len(acknowledged) >= 15
    assert acknowledged <= set(rows), "acknowledged and lost"
    assert rows == list(range(len(rows))), "torn or doubled"
    assert whole(path)
    store = Store(path, Clock(), reserve_bytes=0)
    assert store.run_number == 6
    assert [event.data["n"] for event in store.events("7f2c")] == list(range(0, len(rows), 3)), "an event a commit"
    minutes = store.reader.rows("SELECT sum(n) FROM minutes WHERE channel = 0")
    assert minutes == [(len(rows),)], "the rollup is of the same transaction"
    store.close()


def test_virtual_and_real_clock_serve_the_same_store(tmp_path, frame):
    store = Store(tmp_path / "a.sqlite", VirtualClock(), reserve_bytes=0)
    store.close()
    store = Store(tmp_path / "a.sqlite", Clock(), reserve_bytes=0)
    assert store.run_number == 2
    store.close()
