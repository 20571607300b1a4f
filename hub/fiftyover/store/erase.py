"""A batch deleted for good: no byte of it stays in the database, its log, or a copy made before an upgrade."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from . import rollup
from .carry import writing
from .frames import DatedFrame
from .rollup import MINUTE_MS

TRIGGER = "events_are_not_removed"
Span = tuple[int, int]


class Part(NamedTuple):
    """A kit's readings of a span (UTC ms) that go, but for those in ``keep``."""

    kit: str
    span_ms: Span
    keep: Sequence[Span]


def erase(path: Path, batch_id: str, parts: Sequence[Part], utc_ms: int) -> list[Path]:
    """Delete the batch's events and the kits' frames and targets of its spans.

    Returns the older copies of the record that were removed with it. StoreError: a hub has the record, or it cannot be
    written. What SQLite freed is overwritten, the file is rebuilt and its log emptied.
    """
    with writing(path, utc_ms) as connection:
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        try:
            _events(connection, batch_id)
            for part in parts:
                _frames(connection, *part)
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    copies = sorted(path.parent.glob(f"{path.name}.before-v*"))
    for copy in copies:
        copy.unlink()
    return copies


def _events(connection: sqlite3.Connection, batch_id: str) -> None:
    """Events are append-only for everyone else: the trigger is taken away for this, and put back."""
    sql = connection.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (TRIGGER,)).fetchone()
    if sql:
        connection.execute(f"DROP TRIGGER {TRIGGER}")
    connection.execute("DELETE FROM events WHERE batch = ?", (batch_id,))
    connection.execute("DELETE FROM outbox WHERE what = 'event' AND owner = ?", (batch_id,))
    if sql:
        connection.execute(sql[0])


def _frames(connection: sqlite3.Connection, kit: str, span_ms: Span, keep: Sequence[Span]) -> None:
    inside = "kit = ? AND utc_ms >= ? AND utc_ms < ?" + " AND NOT (utc_ms >= ? AND utc_ms < ?)" * len(keep)
    given = (kit, *span_ms, *(edge for span in keep for edge in span))
    connection.execute(
        f"DELETE FROM conflicts WHERE (kit, boot, seq) IN (SELECT kit, boot, seq FROM frames WHERE {inside})",  # noqa: S608 - made of constants
        given,
    )
    frames = f"SELECT kit, boot, seq FROM frames WHERE {inside}"  # noqa: S608 - made of constants
    targets = f"SELECT kit, utc_ms FROM targets WHERE {inside}"  # noqa: S608 - made of constants
    connection.execute(f"DELETE FROM outbox WHERE what = 'frame' AND (owner, boot, number) IN ({frames})", given)  # noqa: S608
    connection.execute(f"DELETE FROM outbox WHERE what = 'target' AND (owner, number) IN ({targets})", given)  # noqa: S608
    connection.execute(f"DELETE FROM frames WHERE {inside}", given)  # noqa: S608 - made of constants
    connection.execute(f"DELETE FROM targets WHERE {inside}", given)  # noqa: S608 - made of constants
    _minutes(connection, kit, span_ms)


def _minutes(connection: sqlite3.Connection, kit: str, span_ms: Span) -> None:
    """Add the minutes of the span up again from what is left."""
    first, last = span_ms[0] // MINUTE_MS, -(-span_ms[1] // MINUTE_MS)
    connection.execute("DELETE FROM minutes WHERE kit = ? AND minute >= ? AND minute < ?", (kit, first, last))
    left = connection.execute(
        "SELECT boot, seq, utc_ms, t, s, duty FROM frames WHERE kit = ? AND utc_ms >= ? AND utc_ms < ?",
        (kit, first * MINUTE_MS, last * MINUTE_MS),
    )
    frames = [
        DatedFrame(kit, boot, seq, 0, utc_ms, 0.0, json.loads(t), json.loads(s), 0, duty, "", False)
        for boot, seq, utc_ms, t, s, duty in left
    ]
    connection.executemany(rollup.ADD, rollup.rows(frames))
