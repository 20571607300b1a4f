"""What the page shows now: one snapshot, written by the hub's thread and read by every open page."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from typing import Any

POLL_S = 0.2
KEEP_ALIVE_S = 15.0


class Live:
    """The latest snapshot and its number. Thread-safe; a page that missed some simply gets the newest."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._number = 0
        self._text = "{}"
        self._snapshot: Mapping[str, Any] = {}
        self._closed = False
        self._readers = 0

    @property
    def watched(self) -> bool:
        """Whether a page is open that shows each new snapshot."""
        return self._readers > 0

    def publish(self, snapshot: Mapping[str, Any]) -> None:
        """Replace the snapshot (JSON-able, no NaN)."""
        text = json.dumps(snapshot, allow_nan=False, separators=(",", ":"))
        with self._lock:
            self._snapshot = snapshot
            if text != self._text:
                self._text = text
                self._number += 1

    def latest(self) -> tuple[int, str]:
        """Number and JSON text of the newest snapshot."""
        with self._lock:
            return self._number, self._text

    def snapshot(self) -> Mapping[str, Any]:
        """The newest snapshot itself, to be read only."""
        return self._snapshot

    def close(self) -> None:
        """End every open stream, so that the server can stop."""
        self._closed = True

    async def stream(self, shown: Callable[[str], str] = str) -> AsyncIterator[str]:
        """Server-sent events: the newest snapshot at once, then each newer one; a comment when nothing changes.

        `shown` makes of the snapshot's JSON what this reader is to see of it.
        """
        sent, quiet_s = -1, 0.0
        self._readers += 1  # on the server's one thread
        try:
            while not self._closed:
                number, text = self.latest()
                if number != sent:
                    sent, quiet_s = number, 0.0
                    yield f"id: {number}\ndata: {shown(text)}\n\n"
                elif quiet_s >= KEEP_ALIVE_S:
                    quiet_s = 0.0
                    yield ": still here\n\n"
                await asyncio.sleep(POLL_S)
                quiet_s += POLL_S
        finally:
            self._readers -= 1
