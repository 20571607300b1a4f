"""Numbered schema files: bring a database to the newest version, or refuse it with a sentence.

`schema/vNNN.sql` takes version NNN-1 to NNN. Each file runs in one transaction with its line in `schema_version`, so a
cut in the middle leaves the old version whole. What is there before must be exactly what the files of its version make.
"""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

from ..errors import StoreError

FOLDER = Path(__file__).parent / "schema"


def scripts(folder: Path = FOLDER) -> list[str]:
    """The schema files' texts in order, v001 first; StoreError where a number is missing."""
    found = sorted(folder.glob("v[0-9][0-9][0-9].sql"))
    if not found or [path.stem for path in found] != [f"v{n:03d}" for n in range(1, len(found) + 1)]:
        raise StoreError(f"The schema files in {folder} are not complete: install fiftyover again.")
    return [path.read_text(encoding="utf-8") for path in found]


def migrate(connection: sqlite3.Connection, name: str, utc_ms: int, files: list[str]) -> tuple[int, int]:
    """Bring the open database `name` to version len(files); returns (version before, version now).

    The connection must be in autocommit (isolation_level None). StoreError: the database is newer than this program,
    is not one of ours, or its tables are not those of its version. sqlite3.Error passes through.
    """
    before = version(connection, name)
    if before > len(files):
        raise StoreError(
            f"{name} was written by a newer fiftyover (schema {before}, this one knows {len(files)}): "
            "update this program."
        )
    if before:
        _compare(connection, name, files[:before])
    for number in range(before + 1, len(files) + 1):
        _apply(connection, files[number - 1], number, utc_ms)
    return before, len(files)


def version(connection: sqlite3.Connection, name: str) -> int:
    """Schema version of the open database, 0 for an empty one; StoreError if it holds tables but not ours."""
    tables = shape(connection)
    if not tables:
        return 0
    if "table schema_version" not in tables:
        raise StoreError(f"{name} is a database of something else: name another file under [store] path.")
    row = connection.execute("SELECT max(version) FROM schema_version").fetchone()
    return int(row[0] or 0)


def shape(connection: sqlite3.Connection) -> dict[str, str]:
    """What the database consists of: "table frames" -> its definition without comments and blanks."""
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
    return {f"{kind} {name}": _bare(sql or "") for kind, name, sql in rows}


def statements(text: str) -> list[str]:
    """The single statements of a schema file; triggers, which hold semicolons themselves, stay whole."""
    parts, part = [], ""
    for line in text.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            parts.append(part.strip())
            part = ""
    if re.sub(r"--[^\n]*", "", part).strip():
        raise StoreError("A schema file ends in the middle of a statement: install fiftyover again.")
    return parts


def _bare(sql: str) -> str:
    return " ".join(re.sub(r"--[^\n]*", " ", sql).split())


def _apply(connection: sqlite3.Connection, text: str, number: int, utc_ms: int) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        for statement in statements(text):
            connection.execute(statement)
        connection.execute("INSERT INTO schema_version (version, applied_utc_ms) VALUES (?, ?)", (number, utc_ms))
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _compare(connection: sqlite3.Connection, name: str, files: list[str]) -> None:
    """Refuse a database whose version line and tables disagree: someone else changed it, or a migration was faulty."""
    model = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for text in files:
            for statement in statements(text):
                model.execute(statement)
        wanted = shape(model)
    finally:
        model.close()
    found = shape(connection)
    for part in sorted(set(wanted) | set(found)):
        if wanted.get(part) != found.get(part):
            fault = "is missing" if part not in found else "does not belong" if part not in wanted else "is altered"
            raise StoreError(
                f"{name} says schema {len(files)}, but its {part} {fault}: put back a copy, or name another file."
            )
