"""Reading the record: read-only connections of one's own, so that a page never waits for a commit nor delays one."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote

from ..batch.events import Event
from .frames import BELIEVED, DatedFrame
from .outbox import EventRow
from .rollup import DUTY, MINUTE_MS
from .trouble import opening
from .waiting import BootLine

RAW_UP_TO_MS = 3_600_000  # spans to this are drawn from single frames, longer ones from the minutes


class Bucket(NamedTuple):
    """A stretch of a curve: its start, and the least, mean and greatest believed value in it."""

    utc_ms: int
    low: float
    mean: float
    high: float


class BatchLine(NamedTuple):
    """A batch that the record knows: when its first and last event were, and how many it has."""

    batch_id: str
    first_utc_ms: int
    last_utc_ms: int
    events: int


class Gap(NamedTuple):
    """Frames that are not there: numbers after_seq+1 .. before_seq-1 of one boot."""

    boot: str
    after_seq: int
    before_seq: int
    from_ms: int
    to_ms: int


class Reader:
    """Queries on pooled read-only connections, for any number of threads.

    `utc_zero_ms` (a call) and `machine` are the present steady clock's: rows are dated in it.
    """

    def __init__(self, path: Path, utc_zero_ms: Callable[[], int], machine: str) -> None:
        self.path = path
        self._utc_zero_ms = utc_zero_ms
        self._machine = machine
        self._idle: list[sqlite3.Connection] = []
        self._lock = threading.Lock()
        self._closed = False

    def series(self, kit: str, channel: int, from_ms: int, to_ms: int, points: int = 500) -> list[Bucket]:
        """At most `points` buckets of a channel (0 chamber, 1.. cores, -1 duty) from from_ms up to before to_ms.

        °C (duty: 0..1) by UTC ms; empty stretches are left out. Up to an hour from single frames, else from minutes.
        """
        if to_ms <= from_ms or points < 1:
            return []
        width_ms = -(-(to_ms - from_ms) // points)
        if to_ms - from_ms <= RAW_UP_TO_MS:
            return self._raw(kit, channel, from_ms, to_ms, width_ms)
        return self._minutes(kit, channel, from_ms, to_ms, width_ms)

    def _raw(self, kit: str, channel: int, from_ms: int, to_ms: int, width_ms: int) -> list[Bucket]:
        value = "duty" if channel == DUTY else f"json_extract(t, '$[{int(channel)}]')"
        believed = "1" if channel == DUTY else f"json_extract(s, '$[{int(channel)}]') IN {BELIEVED}"
        # Only an integer and constants are put into the text; what comes from outside is bound.
        sql = f"""SELECT ? + ((utc_ms - ?) / ?) * ? AS start, min(value), avg(value), max(value) FROM
            (SELECT utc_ms, {value} AS value FROM frames
             WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? AND {believed})
            WHERE value IS NOT NULL GROUP BY start ORDER BY start"""  # noqa: S608
        given = (from_ms, from_ms, width_ms, width_ms, kit, from_ms, to_ms)
        return [Bucket(*row) for row in self.rows(sql, given)]

    def _minutes(self, kit: str, channel: int, from_ms: int, to_ms: int, width_ms: int) -> list[Bucket]:
        first, last = from_ms // MINUTE_MS, -(-to_ms // MINUTE_MS)
        step = max(1, -(-width_ms // MINUTE_MS))
        sql = """SELECT (? + ((minute - ?) / ?) * ?) * 60000 AS start, min(low), sum(total) / sum(n), max(high)
            FROM minutes WHERE kit = ? AND channel = ? AND minute >= ? AND minute < ? GROUP BY start ORDER BY start"""
        return [Bucket(*row) for row in self.rows(sql, (first, first, step, step, kit, channel, first, last))]

    def frames(self, kit: str, from_ms: int, to_ms: int, limit: int = 100_000) -> list[DatedFrame]:
        """The kit's frames from from_ms up to before to_ms (UTC ms), the newest `limit`, in order of time."""
        sql = """SELECT kit, boot, seq, up_ms, utc_ms, t, s, element_on, duty, why, live FROM frames
            WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? ORDER BY utc_ms DESC, boot DESC, seq DESC LIMIT ?"""
        zero_ms = self._utc_zero_ms()
        return [_frame(row, zero_ms) for row in reversed(self.rows(sql, (kit, from_ms, to_ms, limit)))]

    def events(self, batch_id: str) -> list[Event]:
        """The batch's events in the order they were written. `at_s` is in the present steady clock, whatever
        machine start they are from (then by their UTC), so that ages and durations come out right."""
        sql = """SELECT kind, at_s, events.utc_ms, data, uuid FROM events JOIN machines ON machines.id = machine
            WHERE batch = ? ORDER BY events.id"""
        zero_ms = self._utc_zero_ms()
        return [
            Event(
                kind=kind,
                at_s=at_s if uuid == self._machine else (utc_ms - zero_ms) / 1000,
                utc_ms=utc_ms,
                data=json.loads(data),
            )
            for kind, at_s, utc_ms, data, uuid in self.rows(sql, (batch_id,))
        ]

    def newest_event(self, batch_id: str) -> int:
        """The number of the batch's newest event in the record, 0 for none: whether `events` would tell more."""
        [(number,)] = self.rows("SELECT coalesce(max(id), 0) FROM events WHERE batch = ?", (batch_id,))
        return int(number)

    def event_rows(self, batch_id: str) -> list[EventRow]:
        """The batch's events as they are copied out, each with its number in the record."""
        sql = "SELECT id, batch, kind, utc_ms, data FROM events WHERE batch = ? ORDER BY id"
        return [
            EventRow(n, batch, kind, ms, json.loads(data)) for n, batch, kind, ms, data in self.rows(sql, (batch_id,))
        ]

    def batches(self, kit: str = "") -> list[BatchLine]:
        """Every batch with an event, the newest first; with `kit`, those that were ever planned for this kit."""
        sql = "SELECT batch, min(utc_ms), max(utc_ms), count(*) FROM events{} GROUP BY batch ORDER BY max(id) DESC"
        if not kit:
            return [BatchLine(*row) for row in self.rows(sql.format(""))]
        # The words of the index `batches_of_kits`, so that it is used.
        own = "SELECT batch FROM events WHERE kind IN ('planned', 'kit-chosen') AND json_extract(data, '$.kit') = ?"
        return [BatchLine(*row) for row in self.rows(sql.format(f" WHERE batch IN ({own})"), (kit,))]

    def gaps(self, kit: str, from_ms: int, to_ms: int, missing: int = 1) -> list[Gap]:
        """Where at least `missing` frames of one boot are not there, between frames of the span (UTC ms)."""
        sql = """SELECT boot, before, seq, since, utc_ms FROM
            (SELECT boot, seq, utc_ms, lag(seq) OVER line AS before, lag(utc_ms) OVER line AS since FROM frames
             WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? WINDOW line AS (PARTITION BY boot ORDER BY seq))
            WHERE seq - before > ? ORDER BY since"""
        return [Gap(*row) for row in self.rows(sql, (kit, from_ms, to_ms, missing))]

    def targets(self, kit: str, from_ms: int, to_ms: int) -> list[tuple[int, float | None]]:
        """(utc_ms, target °C or None for no heat) at each change in the span, and the one in force at its start."""
        sql = """SELECT utc_ms, target_degC FROM targets WHERE kit = ?1 AND utc_ms < ?3 AND utc_ms >= coalesce(
            (SELECT max(utc_ms) FROM targets WHERE kit = ?1 AND utc_ms <= ?2), ?2) ORDER BY utc_ms"""
        return [(utc_ms, degC) for utc_ms, degC in self.rows(sql, (kit, from_ms, to_ms))]

    def boots(self) -> list[BootLine]:
        """Every kit start that was heard, in the present steady clock, the one heard last at the end."""
        sql = """SELECT kit, boot, offset_s, heard_s, thinned, dropped, uuid, utc_zero_ms
            FROM boots JOIN machines ON machines.id = machine"""
        zero_ms = self._utc_zero_ms()
        lines = []
        for kit, boot, offset_s, heard_s, thinned, dropped, uuid, their_zero_ms in self.rows(sql):
            same = uuid == self._machine
            shift_s = 0.0 if same else (their_zero_ms - zero_ms) / 1000
            lines.append(BootLine(kit, boot, offset_s + shift_s, heard_s + shift_s, thinned, dropped, same))
        return sorted(lines, key=lambda line: line.heard_s)

    def conflicts(self) -> int:
        """How many second contents under a taken key were kept as evidence."""
        return int(self.rows("SELECT count(*) FROM conflicts", ())[0][0])

    def close(self) -> None:
        """Close all connections, those in use once their query is done."""
        with self._lock:
            idle, self._idle = self._idle, []
            self._closed = True
        for connection in idle:
            connection.close()

    def rows(self, sql: str, given: tuple[Any, ...] = ()) -> list[Any]:
        """All rows of a query of this package's own; StoreError when the record cannot be read."""
        with self._connection() as connection:
            return connection.execute(sql, given).fetchall()

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            connection = self._idle.pop() if self._idle else None
        try:
            connection = connection or self._open()
            yield connection
        except sqlite3.Error as error:
            if connection is not None:
                connection.close()
            raise opening(error, self.path) from error
        with self._lock:
            closed = self._closed
            if not closed:
                self._idle.append(connection)
        if closed:
            connection.close()

    def _open(self) -> sqlite3.Connection:
        uri = f"file:{quote(str(self.path.absolute()))}?mode=ro"
        return sqlite3.connect(uri, uri=True, timeout=5, isolation_level=None, check_same_thread=False)


def _frame(row: Any, zero_ms: int) -> DatedFrame:
    kit, boot, seq, up_ms, utc_ms, t, s, on, duty, why, live = row
    at_s = (utc_ms - zero_ms) / 1000
    return DatedFrame(kit, boot, seq, up_ms, utc_ms, at_s, json.loads(t), json.loads(s), on, duty, why, bool(live))
