"""A whole batch out of the record as one JSON object, and into another record again, to the last digit.

Minutes are not carried: they are added up again from the frames. A batch or a frame that is there already with other
content is refused, never overwritten.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ..errors import StoreError
from . import database, rollup
from .frames import DatedFrame
from .lock import Lock
from .reader import Reader
from .trouble import opening

FORMAT = "fiftyover-batch"
VERSION = 2  # 1 had no readings beside the smoker's
READ = (1, 2)
_FRAME = "boot, seq, utc_ms, live, up_ms, element_on, duty, why, t, s"
_FRAME_COLUMNS = len(_FRAME.split(","))


Span = tuple[str, int, int]


def taken_out(
    reader: Reader, batch_id: str, kit: str, from_ms: int, to_ms: int, beside: Iterable[Span] = ()
) -> dict[str, Any]:
    """The batch's events, the kit's frames and targets of its span (UTC ms), and the clocks that dated them.

    ``beside`` are other readings that belong to it, for instance of the refrigerator: (kit, from and to in UTC ms).
    """
    events = reader.rows(
        """SELECT kind, uuid, at_s, utc_ms, data FROM events JOIN machines ON machines.id = machine
        WHERE batch = ? ORDER BY events.id""",
        (batch_id,),
    )
    if not events:
        raise StoreError(f"Batch {batch_id} is not in {reader.path}.")
    span = (kit, from_ms, to_ms)
    return {
        "format": FORMAT,
        "version": VERSION,
        "batch": batch_id,
        "kit": kit,
        "from_ms": from_ms,
        "to_ms": to_ms,
        "machines": [list(row) for row in reader.rows("SELECT uuid, utc_zero_ms FROM machines ORDER BY id")],
        "events": [[kind, uuid, at_s, ms, json.loads(data)] for kind, uuid, at_s, ms, data in events],
        "frames": _frames(reader, span),
        "beside": [{"kit": other[0], "frames": _frames(reader, other)} for other in beside],
        "targets": [
            list(row)
            for row in reader.rows(
                "SELECT utc_ms, target_degC FROM targets WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? ORDER BY utc_ms",
                span,
            )
        ],
    }


def _frames(reader: Reader, span: Span) -> list[list[Any]]:
    query = f"SELECT {_FRAME} FROM frames WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? "  # noqa: S608 - a constant
    return [list(row) for row in reader.rows(query + "ORDER BY utc_ms, boot, seq", span)]


def put_in(path: Path, data: Mapping[str, Any], utc_ms: int) -> str:
    """Put a batch that was taken out into the record at `path`, in one transaction; its id.

    StoreError: no file of ours; the batch, or other content of its frames, is there already; a hub has the record.
    """
    _check(data)
    with writing(path, utc_ms) as connection:
        try:
            connection.execute("BEGIN IMMEDIATE")
            _put(connection, data)
            connection.execute("COMMIT")
        except (TypeError, ValueError, KeyError, IndexError) as fault:
            connection.execute("ROLLBACK")
            raise StoreError(f"The batch file is damaged ({fault}): export it again.") from fault
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    return str(data["batch"])


@contextmanager
def writing(path: Path, utc_ms: int) -> Iterator[sqlite3.Connection]:
    """The record opened for one piece of work while no hub has it; StoreError if one does, or it cannot be opened."""
    database.create_file(path)
    lock = Lock(path.with_name(path.name + ".lock"))
    try:
        connection = database.connect(path)
        try:
            database.upgrade(connection, path, utc_ms)
            yield connection
        finally:
            connection.close()
    except (sqlite3.Error, OSError) as error:
        raise opening(error, path) from error
    finally:
        lock.release()


def _check(data: Mapping[str, Any]) -> None:
    if data.get("format") != FORMAT:
        raise StoreError("That is not a batch exported by fiftyover: name the file that `report --export` wrote.")
    if data.get("version") not in READ:
        raise StoreError(f"The batch was exported by another version ({data.get('version')!r}): update this program.")


def _put(connection: sqlite3.Connection, data: Mapping[str, Any]) -> None:
    batch_id, kit = str(data["batch"]), str(data["kit"])
    if connection.execute("SELECT 1 FROM events WHERE batch = ? LIMIT 1", (batch_id,)).fetchone():
        raise StoreError(f"Batch {batch_id} is in the record already: nothing was changed.")
    for uuid, zero_ms in data["machines"]:
        connection.execute(
            "INSERT INTO machines (uuid, utc_zero_ms) VALUES (?, ?) ON CONFLICT DO NOTHING", (uuid, zero_ms)
        )
    for kind, uuid, at_s, utc_ms, words in data["events"]:
        machine = connection.execute("SELECT id FROM machines WHERE uuid = ?", (uuid,)).fetchone()[0]
        connection.execute(
            "INSERT INTO events (batch, kind, machine, at_s, utc_ms, data) VALUES (?, ?, ?, ?, ?, ?)",
            (batch_id, kind, machine, at_s, utc_ms, json.dumps(words)),
        )
    for one in [{"kit": kit, "frames": data["frames"]}, *data.get("beside", ())]:
        fresh = [row for row in one["frames"] if _put_frame(connection, str(one["kit"]), row)]
        connection.executemany(rollup.ADD, rollup.rows(_dated(str(one["kit"]), row) for row in fresh))
    connection.executemany(
        "INSERT INTO targets (kit, utc_ms, target_degC) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
        [(kit, utc_ms, degC) for utc_ms, degC in data["targets"]],
    )


def _put_frame(connection: sqlite3.Connection, kit: str, row: list[Any]) -> bool:
    """Whether the frame was not there before."""
    marks = ", ".join("?" * (_FRAME_COLUMNS + 1))
    insert = f"INSERT INTO frames (kit, {_FRAME}) VALUES ({marks}) ON CONFLICT DO NOTHING"  # noqa: S608 - constants
    if connection.execute(insert, (kit, *row)).rowcount == 1:
        return True
    known = connection.execute(
        f"SELECT {_FRAME} FROM frames WHERE kit = ? AND boot = ? AND seq = ?",  # noqa: S608 - a constant
        (kit, row[0], row[1]),
    ).fetchone()
    if list(known) != list(row):
        raise StoreError(
            f"Reading {row[1]} of start {row[0]} is in the record with other content: nothing was changed."
        )
    return False


def _dated(kit: str, row: list[Any]) -> DatedFrame:
    boot, seq, utc_ms, live, up_ms, on, duty, why, t, s = row
    return DatedFrame(kit, boot, seq, up_ms, utc_ms, 0.0, json.loads(t), json.loads(s), on, duty, why, bool(live))
