"""Shut while a smoker's batch is still to be taken up after a restart: a stop is taken all the same, and kept."""

from __future__ import annotations

import threading


class Gate:
    """`why` says why nothing can be marked yet; "": open. Any thread may call."""

    def __init__(self) -> None:
        self.why = ""
        self._stop_by: str | None = None
        self._lock = threading.Lock()

    def shut(self, why: str) -> None:
        """Let nothing but a stop through until `open`."""
        with self._lock:
            self.why, self._stop_by = why, None

    def stop(self, who: str) -> bool:
        """Keep a person's stop for the batch that is not taken up yet; False if the gate is open by now."""
        with self._lock:
            if self.why:
                self._stop_by = who
            return bool(self.why)

    def open(self) -> str | None:
        """Open; who asked for a stop meanwhile, None if nobody did."""
        with self._lock:
            self.why = ""
            return self._stop_by
