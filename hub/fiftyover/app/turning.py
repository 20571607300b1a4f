"""A hub's two threads: one takes message after message and decides, one commits once a second.

What either raises is counted and logged, and ends neither.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable

from ..broker.notes import Link, Message

LOG = logging.getLogger("fiftyover.hub")
WAIT_S = 0.1

Step = Callable[["Message | Link | None"], None]


class Turning:
    """`step` gets each item of the inbox, or None when there was none for a while; `write` runs in between."""

    def __init__(
        self, inbox: queue.Queue[Message | Link], step: Step, write: Callable[[], None], failed: Callable[[], None]
    ) -> None:
        self._inbox = inbox
        self._step = step
        self._write = write
        self._failed = failed
        self._commit_s = 1.0
        self._stop = threading.Event()
        self.threads = [
            threading.Thread(target=self._decide_for_ever, name="hub", daemon=True),
            threading.Thread(target=self._write_for_ever, name="hub-writer", daemon=True),
        ]

    def start(self, commit_s: float) -> None:
        """Begin; a commit every `commit_s` (s)."""
        self._commit_s = commit_s
        for thread in self.threads:
            thread.start()

    def stop(self) -> None:
        """End both, once what they are at is done."""
        self._stop.set()
        for thread in self.threads:
            if thread.ident is not None:
                thread.join(10.0)

    def _decide_for_ever(self) -> None:
        while not self._stop.is_set():
            try:
                item: Message | Link | None = self._inbox.get(timeout=WAIT_S)
            except queue.Empty:
                item = None
            try:
                self._step(item)
            except Exception:
                self._failed()
                LOG.exception("a message or a decision failed; the kit's permit runs out if this goes on")

    def _write_for_ever(self) -> None:
        while not self._stop.wait(self._commit_s):
            try:
                self._write()
            except Exception:
                self._failed()
                LOG.exception("saving failed; nothing is acknowledged, so the kit keeps its readings")
