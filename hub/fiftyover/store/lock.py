"""One hub a store: a lock file beside the database, let go by the system when the process ends, however it ends."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from ..errors import StoreError


class Lock:
    """Held from the start to `release`; StoreError when another process holds it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            why = (error.strerror or "unknown").lower()
            raise StoreError(f"The lock file {path} cannot be made ({why}): check the folder's rights.") from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = os.read(self._file, 32).decode("ascii", "replace").strip()
            os.close(self._file)
            who = f" (process {holder})" if holder else ""
            raise StoreError(
                f"Another hub{who} already works with {path.with_suffix('')}: stop it, or name another file under "
                "[store] path."
            ) from None
        self._note()

    def _note(self) -> None:
        try:  # the number is only for the sentence above; a full disk must not keep the hub from starting
            os.ftruncate(self._file, 0)
            os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)
        except OSError:
            return

    def release(self) -> None:
        """Let go. The file stays: to remove it would let two hubs in."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
