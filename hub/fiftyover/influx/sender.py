"""Empties the outbox into the database: in order, again and again until each lot is taken, saying a trouble once.

A server's yes is not durability: one that is killed may lose the last seconds of what it acknowledged (measured with
VictoriaMetrics 1.79). So the cursor follows `SETTLE_S` behind, and after any failure all beyond it is sent again;
points that are there already replace themselves.

A thread of its own with a connection of its own: the smoker is held, and the record kept, whatever this does.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from ..errors import HubError
from ..store import Lot, Outbox
from . import schema
from .server import CLOCK_APART_S, NotTakenError

LOG = logging.getLogger("fiftyover.influx")
LOT_ROWS = 500
LOOK_S = 2.0
SETTLE_S = 60.0
BACK_OFF_S = (1.0, 60.0)  # the first wait after a failure, and the longest

Tell = Callable[[str | None], None]


class Database(Protocol):
    """What the sender needs of a server."""

    def write(self, lines: list[str]) -> None:
        """Take the lines or raise NotTakenError."""

    def clock_ahead_s(self) -> float:
        """The server's clock minus ours, s."""

    def close(self) -> None:
        """Let go."""


class Sender:
    """Sends what is in the outbox of the record at `path` to `server`; `tell` gets a sentence, or None when it is over.

    `sent` rows were taken, those sent again counted again; `looks`: how often nothing was left to send; `too_old` rows
    the server refused for good as older than it keeps (they stay in the record).
    """

    def __init__(self, path: Path, server: Database, tell: Tell, back_off_s: tuple[float, float] = BACK_OFF_S) -> None:
        self.sent = self.too_old = self.failures = self.looks = 0
        self._position = 0  # sent up to here; the cursor on the disk follows
        self._unsettled: deque[tuple[float, Lot]] = deque()
        self._server, self._tell = server, tell
        self._first_s, self._longest_s = back_off_s
        self._told: str | None = None
        self._outbox = Outbox(path)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send_for_ever, name="influx", daemon=True)

    def start(self) -> None:
        """Begin; from now on what is recorded goes into the outbox."""
        self._outbox.sign_in()
        self._thread.start()

    def stop(self) -> None:
        """End after the lot that is under way; what waits is sent after the next start."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(15.0)
        if not self._thread.is_alive():
            self._outbox.close()
            self._server.close()

    def waiting(self) -> int:
        """How many rows wait; for the sender's own thread, or before it runs."""
        return self._outbox.waiting()

    def step(self) -> bool:
        """Send one lot; True if there was one and it is off the outbox. HubError: not now."""
        self._settle()
        lot = self._outbox.next_lot(LOT_ROWS, self._position)
        if lot is None:
            self.looks += 1
            return False
        if lot.rows:
            try:
                self._server.write([line for row in lot.rows for line in schema.lines(row)])
                self.sent += len(lot.rows)
            except NotTakenError as fault:
                if not fault.too_old:
                    raise
                self._pass_over(lot, fault)
        self._position = lot.up_to_id
        self._unsettled.append((time.monotonic(), Lot([], lot.up_to_id)))
        return True

    def _settle(self) -> None:
        """Move the cursor over what was taken long enough ago."""
        last = None
        while self._unsettled and time.monotonic() - self._unsettled[0][0] >= SETTLE_S:
            last = self._unsettled.popleft()[1]
        if last is not None:
            self._outbox.sent(last)

    def _failed(self) -> None:
        """Go back to the cursor: nobody knows what the server kept of the last minute."""
        self.failures += 1
        self._position = 0
        self._unsettled.clear()

    def _pass_over(self, lot: Lot, fault: NotTakenError) -> None:
        """The server will never take some of these: one by one, so as to count them and to lose no other."""
        for row in lot.rows:
            try:
                self._server.write(schema.lines(row))
                self.sent += 1
            except NotTakenError as again:
                if not again.too_old:
                    raise
                self.too_old += 1
        LOG.warning("%s So far %d rows were passed over.", fault, self.too_old)

    def _send_for_ever(self) -> None:
        wait_s = self._first_s
        while not self._stop.is_set():
            try:
                more = self.step()
                self._say(self._clock_trouble())
                wait_s = self._first_s
                pause_s = 0.0 if more else LOOK_S
            except HubError as fault:
                self._failed()
                self._say(f"{fault} Nothing is lost: it is tried again.")
                pause_s, wait_s = wait_s, min(2 * wait_s, self._longest_s)
            except Exception:  # must not end the thread unseen
                self._failed()
                LOG.exception("copying to the database failed")
                self._say("Copying to the database failed; see the log. Nothing is lost: it is tried again.")
                pause_s, wait_s = wait_s, min(2 * wait_s, self._longest_s)
            self._stop.wait(pause_s)

    def _clock_trouble(self) -> str | None:
        ahead_s = self._server.clock_ahead_s()
        if abs(ahead_s) < CLOCK_APART_S:
            return None
        side = "behind" if ahead_s > 0 else "ahead of"
        return f"This machine's clock is {abs(ahead_s):.0f} s {side} the database's: set the one that is wrong."

    def _say(self, sentence: str | None) -> None:
        if sentence == self._told:
            return
        if sentence is not None:
            LOG.warning("%s", sentence)
        elif self._told is not None:
            LOG.warning("Copying to the database works again.")
        self._told = sentence
        self._tell(sentence)
