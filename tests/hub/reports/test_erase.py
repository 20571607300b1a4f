"""A deleted batch is gone: no byte of it in the database or its log; the others stand whole."""

import json
import sqlite3
from pathlib import Path

import pytest

from fiftyover.cli import main
from hub.reports.batches import SECRET, put_batch


def rows(file: Path, sql: str) -> list[tuple[object, ...]]:
    connection = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def test_no_byte_of_a_deleted_batch_is_left(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "record.sqlite"
    put_batch(file, "feedbeef", 10_000.0, "aaaaaaaaaaaa", "Only once said")
    marks = [word.encode() for word in ("feedbeef", "Only once said", json.dumps(SECRET)[1:-1], "aaaaaaaaaaaa")]
    before = b"".join(one.read_bytes() for one in tmp_path.iterdir())
    size = file.stat().st_size
    assert all(mark in before for mark in marks), "the test must be able to find them"
    assert main(["report", "--store", str(file), "feedbeef", "--delete", "--yes"]) == 0
    assert "is gone" in capsys.readouterr().out
    after = b"".join(one.read_bytes() for one in tmp_path.iterdir())
    assert [mark for mark in marks if mark in after] == []
    assert file.stat().st_size < size / 3, "the file was rebuilt"
    assert rows(file, "SELECT count(*) FROM frames")[0][0] == 0
    assert rows(file, "SELECT count(*) FROM minutes")[0][0] == 0


def test_readings_of_its_refrigerator_go_too_but_not_those_of_another_hold(tmp_path: Path) -> None:
    file = tmp_path / "record.sqlite"
    put_batch(file, "feedbeef", 200_000.0, "aaaaaaaaaaaa", hold=("kit-cold", -72_000.0))
    put_batch(file, "0ther001", 400_000.0, "bbbbbbbbbbbb", hold=("kit-cold", -72_000.0))
    cold = "SELECT count(*) FROM frames WHERE kit = 'kit-cold'"
    assert rows(file, cold)[0][0] == 200
    assert main(["report", "--store", str(file), "feedbeef", "--delete", "--yes"]) == 0
    assert rows(file, cold)[0][0] == 100
    assert (
        rows(file, "SELECT count(*) FROM frames WHERE kit = 'kit-cold' AND utc_ms < 1764028800000 + 200000000")[0][0]
        == 0
    )


def test_the_other_batch_stands_as_it_was(record_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", "--store", str(record_file), "bbbb", "--json"]) == 0
    before = capsys.readouterr().out
    minutes = rows(record_file, "SELECT * FROM minutes WHERE minute >= 110000 / 60 + 29400480 ORDER BY channel, minute")
    assert main(["report", "--store", str(record_file), "aaaa", "--delete", "--yes"]) == 0
    capsys.readouterr()
    assert main(["report", "--store", str(record_file), "--json"]) == 0
    assert capsys.readouterr().out == before
    assert (
        rows(record_file, "SELECT * FROM minutes WHERE minute >= 110000 / 60 + 29400480 ORDER BY channel, minute")
        == minutes
    )
    assert len(minutes) > 1000


def test_events_are_append_only_again_afterwards(record_file: Path) -> None:
    assert main(["report", "--store", str(record_file), "aaaa", "--delete", "--yes"]) == 0
    connection = sqlite3.connect(record_file)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute("DELETE FROM events")
    connection.close()


def test_readings_that_another_batch_needs_are_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "record.sqlite"
    put_batch(file, "aaaa0001", 10_000.0, "9f3c1a02b7e4")
    put_batch(file, "bbbb0002", 34_000.0, "9f3c1a02b7e5")  # hung while the first still chilled
    assert main(["report", "--store", str(file), "bbbb", "--json"]) == 0
    before = capsys.readouterr().out
    assert main(["report", "--store", str(file), "aaaa", "--delete", "--yes"]) == 0
    capsys.readouterr()
    assert main(["report", "--store", str(file), "bbbb", "--json"]) == 0
    assert capsys.readouterr().out == before


def test_a_record_that_a_hub_works_with_is_not_touched(record_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from fiftyover.clock import VirtualClock
    from fiftyover.store import Store

    store = Store(record_file, VirtualClock(), reserve_bytes=0)
    assert main(["report", "--store", str(record_file), "aaaa", "--delete", "--yes"]) == 2
    assert "Another hub" in capsys.readouterr().err
    store.close()


def test_copies_made_before_an_upgrade_go_too(record_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = record_file.with_name(record_file.name + ".before-v003")
    copy.write_bytes(record_file.read_bytes())
    assert main(["report", "--store", str(record_file), "aaaa", "--delete", "--yes"]) == 0
    assert "before-v003" in capsys.readouterr().out
    assert not copy.exists()
