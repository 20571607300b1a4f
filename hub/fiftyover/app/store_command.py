"""`fiftyover store`: old batches copied to a database of one's own, what still waits, a backup of the record."""

from __future__ import annotations

import argparse
import os
import sqlite3
import sys
import time
from pathlib import Path

from .. import settings as hub_settings
from ..batch.opening import opened
from ..clock import Clock
from ..errors import HubError, PlanError, SettingsError, StoreError
from ..influx.backfill import Progress, Span, backfill
from ..influx.sender import Database
from ..influx.server import NotTakenError, Server
from ..reports.report_command import span_ms
from ..settings import Settings
from ..store import Outbox, Reader, database
from ..store.carry import writing

TRIES = 6
FIRST_WAIT_S = 1.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--settings", type=Path, metavar="HUB.TOML", help="settings file (default: hub.toml here)")
    works = parser.add_subparsers(dest="work", required=True, metavar="WORK")
    fill = works.add_parser("backfill", help="send old batches to the database in [influx] once more")
    fill.add_argument("batch", nargs="*", help="their ids, or the beginnings of them (default: all)")
    works.add_parser("waiting", help="how many rows the database in [influx] has not got yet")
    works.add_parser("forget", help="[influx] is used no more: drop what waits for it; the record keeps everything")
    backup = works.add_parser("backup", help="copy the record to a file, also while the hub runs")
    backup.add_argument("file", type=Path, metavar="FILE")


def run(args: argparse.Namespace) -> int:
    """Do the one work that was asked for."""
    settings = _settings(args.settings)
    path = settings.store.path
    if not path.exists():
        raise StoreError(f"There is no record {path}: name the settings that the hub runs with (--settings).")
    if args.work == "backup":
        return _backup(path, args.file)
    if args.work == "forget":
        with writing(path, Clock().utc_ms()):
            outbox = Outbox(path)
            outbox.sign_out()
            outbox.close()
        sys.stdout.write("Nothing waits for a database any more. Take [influx] url out of the settings.\n")
        return 0
    if args.work == "waiting":
        outbox = Outbox(path)
        sys.stdout.write(f"{outbox.waiting()} rows wait.\n")
        outbox.close()
        return 0
    return _backfill(settings, args.batch)


def _backfill(settings: Settings, words: list[str]) -> int:
    if not settings.influx.url:
        raise SettingsError("There is no database to send to: write its address into [influx] url of hub.toml.")
    clock = Clock()
    reader = Reader(settings.store.path, clock.utc_zero_ms, clock.boot_uuid())
    server = _Patient(Server(settings.influx))
    try:
        for batch_id in _chosen(reader, words):
            try:
                found = opened(batch_id, reader.events(batch_id))
            except HubError as fault:
                sys.stderr.write(f"Batch {batch_id} is passed over: {fault}\n")
                continue
            rows = backfill(reader, Span(batch_id, found.kit, *span_ms(found)), server, _progress(batch_id))
            sys.stdout.write(f"\rBatch {batch_id} ({found.plan.name}): {rows} rows are there.\n")
    finally:
        server.close()
        reader.close()
    return 0


class _Patient:
    """A server that is asked again, with longer and longer waits, before the work is given up."""

    def __init__(self, server: Database) -> None:
        self._server = server

    def write(self, lines: list[str]) -> None:
        """Take the lines, or raise NotTakenError after the last try."""
        wait_s = FIRST_WAIT_S
        for left in range(TRIES - 1, -1, -1):
            try:
                return self._server.write(lines)
            except NotTakenError as fault:
                if not left or fault.too_old:
                    raise
                sys.stderr.write(f"\n{fault} Again in {wait_s:.0f} s.\n")
                time.sleep(wait_s)
                wait_s *= 2
        return None

    def clock_ahead_s(self) -> float:
        """As the server says."""
        return self._server.clock_ahead_s()

    def close(self) -> None:
        """Let go."""
        self._server.close()


def _progress(batch_id: str) -> Progress:
    def show(rows: int, about: int) -> None:
        sys.stdout.write(f"\rBatch {batch_id}: {rows} of {about} rows")
        sys.stdout.flush()

    return show


def _chosen(reader: Reader, words: list[str]) -> list[str]:
    known = [line.batch_id for line in reader.batches()]
    if not words:
        return known[::-1]
    found = []
    for word in words:
        fits = [one for one in known if one.startswith(word)]
        if len(fits) != 1:
            raise PlanError(f"Which batch is {word!r}? Known are {', '.join(known[:8]) or 'none'}.")
        found += fits
    return found


def _backup(path: Path, to: Path) -> int:
    """A whole copy at one moment, made by SQLite itself; never over a file that is there."""
    try:
        os.close(os.open(to, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))
        source, copy = database.connect(path), sqlite3.connect(to)
        try:
            source.backup(copy)
            sound = copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        finally:
            copy.close()
            source.close()
    except (OSError, sqlite3.Error) as fault:
        raise StoreError(f"The backup {to} cannot be made ({fault}): name a new file on a disk with room.") from fault
    if not sound:
        raise StoreError(f"The record {path} is damaged: the copy {to} is no better; put back an older one.")
    sys.stdout.write(f"The record is copied to {to}. To restore: stop the hub, put the copy in place of {path.name}.\n")
    return 0


def _settings(path: Path | None) -> Settings:
    usual = Path("hub.toml")
    if path is None and not usual.exists():
        raise SettingsError("There is no hub.toml here: name the hub's settings with --settings.")
    return hub_settings.load(path or usual)
