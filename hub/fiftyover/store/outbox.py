"""What has still to be copied to an outside database, and a cursor that moves only once that database has it.

The outbox fills in the same transaction as the record (triggers, `schema/v002.sql`), from the moment that a taker
signed in. It names rows and holds none, so that a batch deleted for good is not sent any more. Any number of
days fit in it: a row takes some 60 bytes.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from . import database, trouble
from .frames import DatedFrame

TAKER = "influx"

_FRAMES = """SELECT o.id, f.kit, f.boot, f.seq, up_ms, utc_ms, t, s, element_on, duty, why, live FROM outbox AS o
JOIN frames AS f ON f.kit = o.owner AND f.boot = o.boot AND f.seq = o.number
WHERE what = 'frame' AND o.id > ? AND o.id <= ?"""
_TARGETS = """SELECT o.id, kit, utc_ms, target_degC FROM outbox AS o JOIN targets ON kit = owner AND utc_ms = number
WHERE what = 'target' AND o.id > ? AND o.id <= ?"""
_EVENTS = """SELECT o.id, e.id, batch, kind, utc_ms, data FROM outbox AS o JOIN events AS e ON e.id = o.number
WHERE what = 'event' AND o.id > ? AND o.id <= ?"""


class TargetRow(NamedTuple):
    """What the chamber was asked to be from utc_ms on; None: no heat wanted."""

    kit: str
    utc_ms: int
    target_degC: float | None


class EventRow(NamedTuple):
    """One event of a batch; `number` counts all events of the record."""

    number: int
    batch: str
    kind: str
    utc_ms: int
    data: dict[str, Any]


Row = DatedFrame | TargetRow | EventRow


class Lot(NamedTuple):
    """Rows in the order they were written, and the cursor to move to once they have arrived."""

    rows: list[Row]
    up_to_id: int


class Outbox:
    """The outbox of the record at `path`, on a connection of its own; for one thread. StoreError when it cannot be
    read or written; a lot that was not `sent` is handed out again."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._told():
            self._connection = database.connect(path)

    def sign_in(self, name: str = TAKER) -> None:
        """From now on everything new goes into the outbox as well; harmless when done before."""
        with self._told():
            self._connection.execute(
                "INSERT INTO takers SELECT ?, coalesce((SELECT max(id) FROM outbox), 0) WHERE true "
                "ON CONFLICT DO NOTHING",
                (name,),
            )

    def sign_out(self, name: str = TAKER) -> None:
        """Nobody takes any more: what waits is forgotten (the record keeps it, and a backfill can send it)."""
        with self._told(), self._transaction():
            self._connection.execute("DELETE FROM takers WHERE name = ?", (name,))
            self._connection.execute("DELETE FROM outbox WHERE NOT EXISTS (SELECT 1 FROM takers)")

    def next_lot(self, most: int, after_id: int = 0, name: str = TAKER) -> Lot | None:
        """At most `most` rows after the cursor, and after `after_id`; None when there are none. Rows that are gone from
        the record are passed over."""
        with self._told():
            after = max(self._cursor(name), after_id)
            up_to = self._connection.execute(
                "SELECT max(id) FROM (SELECT id FROM outbox WHERE id > ? ORDER BY id LIMIT ?)", (after, most)
            ).fetchone()[0]
            if up_to is None:
                return None
            found: list[tuple[int, Row]] = []
            run = self._connection.execute
            found += [(row[0], _frame(row[1:])) for row in run(_FRAMES, (after, up_to))]
            found += [(row[0], TargetRow(*row[1:])) for row in run(_TARGETS, (after, up_to))]
            found += [
                (row[0], EventRow(row[1], row[2], row[3], row[4], json.loads(row[5])))
                for row in run(_EVENTS, (after, up_to))
            ]
        return Lot([row for _, row in sorted(found, key=lambda pair: pair[0])], int(up_to))

    def sent(self, lot: Lot, name: str = TAKER) -> None:
        """The lot has arrived: move the cursor, and drop what every taker has."""
        with self._told(), self._transaction():
            self._connection.execute(
                "UPDATE takers SET sent_id = ? WHERE name = ? AND sent_id < ?", (lot.up_to_id, name, lot.up_to_id)
            )
            self._connection.execute("DELETE FROM outbox WHERE id <= (SELECT min(sent_id) FROM takers)")

    def waiting(self, name: str = TAKER) -> int:
        """How many rows lie after the cursor."""
        with self._told():
            return int(
                self._connection.execute("SELECT count(*) FROM outbox WHERE id > ?", (self._cursor(name),)).fetchone()[
                    0
                ]
            )

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def _cursor(self, name: str) -> int:
        row = self._connection.execute("SELECT sent_id FROM takers WHERE name = ?", (name,)).fetchone()
        return int(row[0]) if row else 0

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._connection.execute("COMMIT")
        finally:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise trouble.opening(error, self.path) from error


def _frame(row: Iterable[Any]) -> DatedFrame:
    kit, boot, seq, up_ms, utc_ms, t, s, on, duty, why, live = row
    return DatedFrame(kit, boot, seq, up_ms, utc_ms, 0.0, json.loads(t), json.loads(s), on, duty, why, bool(live))
