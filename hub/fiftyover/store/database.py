"""The database file: made, opened, brought to the newest schema, and the lines that say who and where this hub is."""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

from fiftyover_kit.contract.limits import GRANT_RUN_SHIFT, SEQ_MAX

from ..clock import AnyClock
from ..errors import StoreError
from .migrate import migrate, scripts, version

RUN_MAX = SEQ_MAX >> GRANT_RUN_SHIFT  # the run is the high part of every grant's number
AGREE_MS = 2000  # a wall clock nearer than this to the saved one has not jumped
TORN_S = 3600.0  # readings younger than this would be torn apart by a new UTC


class Identity(NamedTuple):
    """Who this hub is (`hub_id`, `run`), the row of this machine start, and what a person should hear about it."""

    hub_id: str
    run: int
    machine: int
    notices: list[str]


def connect(path: Path) -> sqlite3.Connection:
    """An open connection for writing: autocommit, WAL, every commit on the disk before it returns. sqlite3.Error."""
    uri = f"file:{quote(str(path.absolute()))}?mode=rw"
    connection = sqlite3.connect(uri, uri=True, timeout=5, isolation_level=None, check_same_thread=False)
    try:
        mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise StoreError(f"{path} lies on a disk that cannot share it between programs: name a local disk instead.")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA journal_size_limit = 4194304")
    except BaseException:
        connection.close()
        raise
    return connection


def create_file(path: Path) -> None:
    """Make the folder (0700) and the empty database file (0600) where they are missing; StoreError if that fails."""
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
    except OSError as error:
        why = (error.strerror or "unknown").lower()
        raise StoreError(f"The record {path} cannot be made ({why}): check the folder and its rights.") from error


def upgrade(connection: sqlite3.Connection, path: Path, utc_ms: int) -> int:
    """Bring the schema to the newest version, with a copy of an older database beside it; returns the version."""
    files = scripts()
    before = version(connection, path.name)
    if 0 < before < len(files):
        _copy(connection, path.with_name(f"{path.name}.before-v{len(files):03d}"))
    return migrate(connection, path.name, utc_ms, files)[1]


def _copy(connection: sqlite3.Connection, to: Path) -> None:
    to.unlink(missing_ok=True)
    os.close(os.open(to, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
    copy = sqlite3.connect(to)
    try:
        connection.backup(copy)
    finally:
        copy.close()


def sign_in(connection: sqlite3.Connection, clock: AnyClock, new_id: Callable[[], str] | None = None) -> Identity:
    """Count this start, and anchor the clock as the record knows it; committed before it returns. sqlite3.Error."""
    notices: list[str] = []
    connection.execute("BEGIN IMMEDIATE")
    try:
        fresh = new_id or (lambda: secrets.token_hex(6))
        connection.execute("INSERT INTO hub (one, hub_id, run) VALUES (1, ?, 0) ON CONFLICT DO NOTHING", (fresh(),))
        hub_id, run = connection.execute("SELECT hub_id, run FROM hub").fetchone()
        run += 1
        if run > RUN_MAX:  # smaller grant numbers are refused until the kit forgets the larger ones: off, not on
            run = 1
            notices.append("The count of this hub's starts began anew: restart the kit, or it refuses heat.")
        connection.execute("UPDATE hub SET run = ?", (run,))
        machine = _machine(connection, clock, notices)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return Identity(hub_id, run, machine, notices)


def next_run(connection: sqlite3.Connection) -> int:
    """Count one more run while the hub goes on; committed before it returns. sqlite3.Error; StoreError: none left."""
    run = int(connection.execute("SELECT run FROM hub").fetchone()[0]) + 1
    if run > RUN_MAX:
        raise StoreError("The numbers of permits are used up: restart the hub, and then the kit.")
    connection.execute("UPDATE hub SET run = ?", (run,))
    return run


def _machine(connection: sqlite3.Connection, clock: AnyClock, notices: list[str]) -> int:
    """Row of this machine start. A UTC that was saved for it stays, unless it is wrong and nobody's curve is torn."""
    uuid, zero_ms = clock.boot_uuid(), clock.utc_zero_ms()
    row = connection.execute("SELECT id, utc_zero_ms FROM machines WHERE uuid = ?", (uuid,)).fetchone()
    if row is None:
        done = connection.execute("INSERT INTO machines (uuid, utc_zero_ms) VALUES (?, ?)", (uuid, zero_ms))
        return int(done.lastrowid or 0)
    machine, saved_ms = row
    heard = connection.execute("SELECT max(heard_s) FROM boots WHERE machine = ?", (machine,)).fetchone()[0]
    jumped = abs(zero_ms - saved_ms) > AGREE_MS
    if jumped and (heard is None or clock.monotonic_s() - heard > TORN_S):
        connection.execute("UPDATE machines SET utc_zero_ms = ? WHERE id = ?", (zero_ms, machine))
        return int(machine)
    clock.anchor(saved_ms)
    if jumped:
        notices.append(
            f"This machine's clock was moved by {(zero_ms - saved_ms) / 1000:+.0f} s; the record goes on by the old "
            "time, so that no curve is torn."
        )
    return int(machine)
