"""One transaction: everything that waits goes to its table, or nothing does."""

from __future__ import annotations

import json
import sqlite3

from . import rollup
from .frames import Content, DatedFrame
from .waiting import CONFLICTS_MAX, Waiting

_FRAME = """INSERT INTO frames (kit, boot, seq, utc_ms, live, up_ms, element_on, duty, why, t, s)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"""
_CONTENT = "SELECT up_ms, element_on, duty, why, t, s FROM frames WHERE kit = ? AND boot = ? AND seq = ?"
# At most so many: a kit gone mad must not fill the disk with evidence.
_CONFLICT = """INSERT INTO conflicts (kit, boot, seq, content, utc_ms)
SELECT ?, ?, ?, ?, ? WHERE (SELECT count(*) FROM conflicts) < ?
ON CONFLICT DO NOTHING"""
_TARGET = """INSERT INTO targets (kit, utc_ms, target_degC) VALUES (?, ?, ?)
ON CONFLICT DO UPDATE SET target_degC = excluded.target_degC"""
_BOOT = """INSERT INTO boots (kit, boot, machine, offset_s, heard_s, thinned, dropped) VALUES (?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET machine = excluded.machine, offset_s = excluded.offset_s, heard_s = excluded.heard_s,
thinned = excluded.thinned, dropped = excluded.dropped"""
_EVENT = "INSERT INTO events (batch, kind, machine, at_s, utc_ms, data) VALUES (?, ?, ?, ?, ?, ?)"


def write(connection: sqlite3.Connection, work: Waiting, machine: int) -> list[DatedFrame]:
    """Write and commit `work`; returns the frames whose key was taken by other content (kept as evidence).

    `machine` is the row of this machine start. sqlite3.Error: nothing was written.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        fresh, conflicts = _put_frames(connection, list(work.frames.values()))
        connection.executemany(rollup.ADD, rollup.rows(fresh))
        evidence = [(*f.key, json.dumps(f.content()), f.utc_ms, CONFLICTS_MAX) for f in work.conflicts + conflicts]
        connection.executemany(_CONFLICT, evidence)
        connection.executemany(_TARGET, work.targets)
        boots = [(b.kit, b.boot, machine, b.offset_s, b.heard_s, b.thinned, b.dropped) for b in work.boots.values()]
        connection.executemany(_BOOT, boots)
        events = [(batch, e.kind, machine, e.at_s, e.utc_ms, json.dumps(e.data)) for batch, e in work.events]
        connection.executemany(_EVENT, events)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return conflicts


def _put_frames(
    connection: sqlite3.Connection, frames: list[tuple[DatedFrame, Content]]
) -> tuple[list[DatedFrame], list[DatedFrame]]:
    """Insert what is not there yet; (those inserted, those whose key holds other content)."""
    rows = [(*frame.key, frame.utc_ms, int(frame.live), *content) for frame, content in frames]
    connection.execute("SAVEPOINT lot")
    if connection.executemany(_FRAME, rows).rowcount == len(rows):  # nearly always: none was there
        connection.execute("RELEASE lot")
        return [frame for frame, _ in frames], []
    connection.execute("ROLLBACK TO lot")
    connection.execute("RELEASE lot")
    fresh, conflicts = [], []
    for (frame, content), row in zip(frames, rows, strict=True):
        if connection.execute(_FRAME, row).rowcount == 1:
            fresh.append(frame)
        elif content != connection.execute(_CONTENT, frame.key).fetchone():
            conflicts.append(frame)
    return fresh, conflicts
