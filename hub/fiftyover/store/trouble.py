"""What to tell a person when the disk or the database fails: one sentence, what, where, what to do."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from ..errors import StoreError

LITTLE_BYTES = 64 << 10  # with less free than this a write may fail for want of room

_WHY = {
    sqlite3.SQLITE_FULL: ("the disk is full", "free some space there; saving goes on by itself"),
    sqlite3.SQLITE_IOERR: ("the disk reports an error", "check the disk and its cable or card; saving is tried again"),
    sqlite3.SQLITE_BUSY: ("another program keeps the database locked", "close it; saving is tried again"),
    sqlite3.SQLITE_READONLY: ("it may not be written", "check the rights of the file and its folder"),
    sqlite3.SQLITE_CANTOPEN: ("it cannot be opened", "check the path and the folder's rights"),
    sqlite3.SQLITE_CORRUPT: ("its contents are damaged", "stop the hub and put back a copy"),
    sqlite3.SQLITE_NOTADB: ("it is not a database", "name another file under [store] path"),
}


def cause(error: Exception) -> int:
    """SQLite's primary result code of the error, 0 when it has none."""
    return int(getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF


def needs_room(error: Exception) -> bool:
    """True if the error is one that more free space may cure."""
    return cause(error) in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)


def _told(error: Exception, path: Path, otherwise: str) -> tuple[str, str]:
    """(why, remedy). What SQLite calls an I/O error is, on a disk without room, the lack of room."""
    code = cause(error)
    if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN) and _free_bytes(path) < LITTLE_BYTES:
        code = sqlite3.SQLITE_FULL
    return _WHY.get(code, (str(error), otherwise))


def _free_bytes(path: Path) -> int:
    try:
        disk = os.statvfs(path.parent)
    except OSError:
        return LITTLE_BYTES
    return disk.f_bavail * disk.f_frsize


def opening(error: Exception, path: Path) -> StoreError:
    """Why the record cannot be opened."""
    why, remedy = _told(error, path, "check the file")
    return StoreError(f"The record {path} cannot be used: {why}; {remedy}.")


def saving(error: Exception, path: Path) -> StoreError:
    """Why nothing is saved for now; the hub goes on meanwhile."""
    why, remedy = _told(error, path, "check the disk")
    return StoreError(
        f"Nothing is saved to {path}: {why}; the smoker is held all the same, and the kit keeps its readings; {remedy}."
    )


def moved(path: Path) -> StoreError:
    """The database was removed or replaced under the running hub."""
    return StoreError(f"Nothing is saved: {path} was removed or replaced in use; put it back and restart the hub.")
