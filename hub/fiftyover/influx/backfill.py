"""Old batches copied again, straight from the record: for a new database, or a lost one. May run beside a hub."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from ..store import DatedFrame, EventRow, Reader, TargetRow
from . import schema
from .sender import LOT_ROWS, Database

WINDOW_MS = 600_000

Progress = Callable[[int, int], None]


class Span(NamedTuple):
    """A batch, the kit it was cooked with ("" for none), and from when to when, UTC ms."""

    batch: str
    kit: str
    from_ms: int
    to_ms: int


def backfill(reader: Reader, span: Span, server: Database, progress: Progress) -> int:
    """Send the batch's events and its kit's readings and targets; how many rows. `progress` gets (rows, of about).

    Rows that are there already replace themselves, so one that was cut off is simply run again.
    NotTakenError, StoreError.
    """
    about = _count(reader, span)
    sent, lot = 0, list[DatedFrame | TargetRow | EventRow]()
    for row in _rows(reader, span):
        lot.append(row)
        if len(lot) == LOT_ROWS:
            sent += _send(server, lot)
            progress(sent, about)
    sent += _send(server, lot)
    progress(sent, about)
    return sent


def _send(server: Database, lot: list[DatedFrame | TargetRow | EventRow]) -> int:
    if lot:
        server.write([line for row in lot for line in schema.lines(row)])
    rows = len(lot)
    lot.clear()
    return rows


def _count(reader: Reader, span: Span) -> int:
    sql = """SELECT (SELECT count(*) FROM frames WHERE kit = ?1 AND utc_ms >= ?2 AND utc_ms < ?3)
        + (SELECT count(*) FROM targets WHERE kit = ?1 AND utc_ms >= ?2 AND utc_ms < ?3)
        + (SELECT count(*) FROM events WHERE batch = ?4)"""
    return int(reader.rows(sql, (span.kit, span.from_ms, span.to_ms, span.batch))[0][0])


def _rows(reader: Reader, span: Span) -> Iterator[DatedFrame | TargetRow | EventRow]:
    yield from reader.event_rows(span.batch)
    sql = "SELECT kit, utc_ms, target_degC FROM targets WHERE kit = ? AND utc_ms >= ? AND utc_ms < ? ORDER BY utc_ms"
    for row in reader.rows(sql, (span.kit, span.from_ms, span.to_ms)):
        yield TargetRow(*row)
    for from_ms in range(span.from_ms, span.to_ms, WINDOW_MS):
        yield from reader.frames(span.kit, from_ms, min(from_ms + WINDOW_MS, span.to_ms))
