"""Space kept back for the hour when the disk is full: a file of real blocks, removed when a commit needs its room."""

from __future__ import annotations

import os
from pathlib import Path


class Reserve:
    """`size_bytes` of disk in a file at `path`; nothing here raises: a reserve that cannot be had is just not there."""

    def __init__(self, path: Path, size_bytes: int) -> None:
        self.path = path
        self.size_bytes = size_bytes

    def held(self) -> bool:
        """True while the space is kept."""
        try:
            return self.path.stat().st_size >= self.size_bytes > 0
        except OSError:
            return False

    def take(self) -> bool:
        """Keep the space, if at least as much again stays free for others; True while it is kept."""
        if self.size_bytes <= 0 or self.held():
            return self.held()
        try:
            disk = os.statvfs(self.path.parent)
            if disk.f_bavail * disk.f_frsize < 2 * self.size_bytes:
                return False
            file = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
            try:
                os.posix_fallocate(file, 0, self.size_bytes)
            finally:
                os.close(file)
        except OSError:
            self.release()
            return False
        return True

    def release(self) -> bool:
        """Give the space back; True if there was any."""
        had = self.held()
        try:
            self.path.unlink(missing_ok=True)
        except OSError:
            return False
        return had
