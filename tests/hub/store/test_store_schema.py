"""Schema changes: every old database is kept as data, read by today's program, twice; what does not fit is refused."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from fiftyover.batch.events import Event
from fiftyover.clock import VirtualClock
from fiftyover.errors import StoreError
from fiftyover.store import Bucket, Store, database, migrate

DATABASES = Path(__file__).parent / "databases"
KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ZERO_MS = 1_764_028_800_000
NEXT = """ALTER TABLE hub ADD COLUMN nickname TEXT NOT NULL DEFAULT '';
CREATE TABLE spare (id INTEGER PRIMARY KEY) STRICT;
"""


def old(path: Path, version: str = "v001") -> Path:
    with closing(sqlite3.connect(path)) as made:
        made.executescript((DATABASES / f"{version}.sql").read_text(encoding="utf-8"))
    return path


def open_store(path: Path) -> Store:
    return Store(path, VirtualClock(1000.0, ZERO_MS, "machine-one"), reserve_bytes=0)


def versions(path: Path) -> list[int]:
    with closing(sqlite3.connect(path)) as other:
        return [row[0] for row in other.execute("SELECT version FROM schema_version ORDER BY version")]


def with_next(monkeypatch, text=NEXT):
    files = [*migrate.scripts(), text]
    monkeypatch.setattr(database, "scripts", lambda: files)
    return len(files)


def test_an_old_database_is_kept_for_every_schema_version():
    kept = sorted(path.stem for path in DATABASES.glob("v*.sql"))
    assert kept == [f"v{number:03d}" for number in range(1, len(migrate.scripts()) + 1)]


@pytest.mark.parametrize("version", sorted(path.stem for path in DATABASES.glob("v*.sql")))
def test_old_database_is_read_in_full_and_opened_again_without_change(tmp_path, version):
    path = old(tmp_path / "record.sqlite", version)
    for opened in (1, 2):
        store = open_store(path)
        assert (store.hub_id, store.run_number) == ("c01d5a11ab1e", 41 + opened)
        assert [(f.boot, f.seq, f.t[0], f.on, f.live) for f in store.frames(KIT, 0, 2**60)] == [
            (BOOT, 0, 80.0, 0, True),
            (BOOT, 1, 81.0, 1, True),
            (BOOT, 2, 82.0, 0, False),
            ("0a1b2c3d4e5f", 0, 80.0, 0, True),
        ]
        assert store.events("7f2c") == [
            Event("hung", 5.0, ZERO_MS + 5000, {"chubs": [1, 2, 3]}),
            Event("called", 70.5, ZERO_MS + 70500, {"chub": 2, "core_degC": 66.9}),
        ]
        assert store.targets(KIT, ZERO_MS, ZERO_MS + 90_000) == [(ZERO_MS, 71.1), (ZERO_MS + 60_000, None)]
        curve = store.series(KIT, 0, ZERO_MS, ZERO_MS + 7_200_000)
        assert curve == [Bucket(ZERO_MS, 80.0, 81.0, 82.0), Bucket(ZERO_MS + 60_000, 80.0, 80.0, 80.0)]
        assert [(line.boot, line.offset_s, line.thinned) for line in store.boots()] == [
            (BOOT, -1.0, 0),
            ("0a1b2c3d4e5f", 88.5, 4),
        ]
        assert store.reader.conflicts() == 1
        assert versions(path) == list(range(1, len(migrate.scripts()) + 1))
        store.close()


def test_next_version_keeps_every_row_and_a_copy_of_the_old_file(tmp_path, monkeypatch, frame):
    path = old(tmp_path / "record.sqlite", f"v{len(migrate.scripts()):03d}")
    newest = with_next(monkeypatch)
    for _ in range(2):
        store = open_store(path)
        assert len(store.frames(KIT, 0, 2**60)) == 4
        assert len(store.events("7f2c")) == 2
        store.close()
    assert versions(path)[-1] == newest
    copy = tmp_path / f"record.sqlite.before-v{newest:03d}"
    assert versions(copy) == list(range(1, newest))
    assert copy.stat().st_mode & 0o777 == 0o600
    with closing(sqlite3.connect(copy)) as other:
        assert other.execute("SELECT count(*) FROM frames").fetchone() == (4,)


def test_migration_that_breaks_in_the_middle_leaves_the_old_version_whole(tmp_path, monkeypatch):
    path = old(tmp_path / "record.sqlite")
    with_next(monkeypatch, "CREATE TABLE spare (id INTEGER PRIMARY KEY) STRICT;\nDROP TABLE frames;\nNONSENSE;\n")
    with pytest.raises(StoreError, match=r"record.sqlite cannot be used"):
        open_store(path)
    monkeypatch.undo()
    store = open_store(path)
    assert len(store.frames(KIT, 0, 2**60)) == 4
    store.close()


def test_database_of_a_newer_program_is_refused(tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        newest = with_next(patch)
        open_store(tmp_path / "record.sqlite").close()
    with pytest.raises(StoreError, match=f"newer fiftyover .schema {newest}, this one knows {newest - 1}.: update"):
        open_store(tmp_path / "record.sqlite")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("DROP TABLE minutes", "table minutes is missing"),
        ("DROP TRIGGER events_are_not_changed", "trigger events_are_not_changed is missing"),
        ("ALTER TABLE frames ADD COLUMN x TEXT", "table frames is altered"),
        ("CREATE TABLE extra (x)", "table extra does not belong"),
        ("DROP INDEX frames_by_time", "index frames_by_time is missing"),
    ],
)
def test_database_whose_tables_are_not_those_of_its_version_is_refused(tmp_path, change, said):
    path = old(tmp_path / "record.sqlite")
    with closing(sqlite3.connect(path)) as other:
        other.execute(change)
    with pytest.raises(StoreError, match=re.escape(said)):
        open_store(path)


def test_version_line_that_claims_more_than_the_tables_is_refused(tmp_path, monkeypatch):
    path = old(tmp_path / "record.sqlite", f"v{len(migrate.scripts()):03d}")
    newest = with_next(monkeypatch)
    with closing(sqlite3.connect(path)) as other, other:
        other.execute("INSERT INTO schema_version VALUES (?, 0)", (newest,))
    with pytest.raises(StoreError, match=f"says schema {newest}, but its table hub is altered"):
        open_store(path)


def test_database_of_something_else_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "record.sqlite"
    with closing(sqlite3.connect(path)) as other, other:
        other.execute("CREATE TABLE songs (name)")
    with pytest.raises(StoreError, match="database of something else: name another file"):
        open_store(path)
    with closing(sqlite3.connect(path)) as other:
        assert [row[0] for row in other.execute("SELECT name FROM sqlite_master")] == ["songs"]


def test_schema_files_with_a_hole_or_a_torn_end_are_refused(tmp_path):
    (tmp_path / "v001.sql").write_text("CREATE TABLE a (b);")
    (tmp_path / "v003.sql").write_text("CREATE TABLE c (d);")
    with pytest.raises(StoreError, match="not complete: install"):
        migrate.scripts(tmp_path)
    with pytest.raises(StoreError, match="middle of a statement"):
        migrate.statements("CREATE TABLE a (b);\nCREATE TABLE c (")


def test_statements_keep_triggers_whole():
    text = """CREATE TABLE a (b); -- first; second
CREATE TRIGGER t BEFORE DELETE ON a
BEGIN
  SELECT 1;
  SELECT 2;
END;
"""
    assert [part.split()[1] for part in migrate.statements(text)] == ["TABLE", "TRIGGER"]
