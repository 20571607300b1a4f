"""The disk fills up under a running cook: control goes on, it is said, nothing promised is lost, and it heals."""

import contextlib
import errno
import json
import os
import sqlite3
import subprocess
import tempfile
import time
from pathlib import Path

from faults.stand import Stand

DISK_MIB, RESERVE_BYTES = 6, 1 << 20
FULL_S = 10.0
HEAL_S = 60.0
FILLERS = ("filler-1", "filler-2", "filler-3")


def fill(folder, name):
    """Take every free block."""
    file = os.open(folder / name, os.O_WRONLY | os.O_CREAT)
    size = 1 << 16
    try:
        while size:
            try:
                os.write(file, bytes(size))
            except OSError as fault:
                if fault.errno != errno.ENOSPC:
                    raise
                size >>= 1
    finally:
        os.close(file)


def run(seed):
    with tempfile.TemporaryDirectory(prefix="fiftyover-disk-") as folder:
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={DISK_MIB}m", "none", folder], capture_output=True, text=True
        )
        if mounted.returncode != 0:
            return {"not_run": f"a disk of its own needs root: {mounted.stderr.strip()}"}
        try:
            return _on_disk(Path(folder), seed)
        finally:
            subprocess.run(["umount", "-l", folder], check=True)


def _problem(stand):
    return stand.hub.last_state().get("problem", "")


def _on_disk(disk, seed):
    with Stand(seed, store_folder=disk, reserve_bytes=RESERVE_BYTES) as stand:
        stand.start()
        stand.wait(lambda: stand.is_on, 30.0)
        stand.wait(lambda: False, 3.0)
        for name in FILLERS:  # the first makes the hub use what it kept back, the others take that too
            fill(disk, name)
            stand.wait(lambda: bool(_problem(stand)), 8.0, 0.1)
        full = time.monotonic()
        told = _problem(stand)
        stand.wait(lambda: False, FULL_S, 0.1)
        granted = [at for at, _ in stand.hub.sent("heater/grant/set") if full < at < full + FULL_S]
        offs = len(stand.switched(full, 0))
        whole_full = _integrity(stand)
        still = bool(_problem(stand))
        for name in FILLERS:
            (disk / name).unlink(missing_ok=True)
        healed = time.monotonic()
        heal_s = stand.wait(lambda: stand.hub.last_state()["at"] > healed and not _problem(stand), HEAL_S, 0.1)
        stand.drain()
        stand.hub.stop()
        rows, promised = stand.rows(), stand.acknowledged()
        alarms = {text for line in stand.hub.lines("state") for text in line["alarms"]}
        return {
            "full_told": told,
            "reserve_told": any("kept back" in text for text in alarms),
            "full_throughout": still,
            "grants_while_full": len(granted),
            "offs_while_full": offs,
            "integrity": [whole_full, _integrity(stand)],
            "heal_s": heal_s,
            "rows": len(rows),
            "missing": stand.missing(),
            "lost": len([key for key in promised if key not in rows]),
            "alarms": json.dumps(sorted(alarms))[:400],
        }


def _integrity(stand):
    with contextlib.closing(sqlite3.connect(f"file:{stand.store_path}?mode=ro", uri=True, timeout=10)) as base:
        return base.execute("PRAGMA integrity_check").fetchone()[0]
