"""What is hung into paho beside the session itself: it must never raise, and never be slow."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable
from typing import Any


class Ear(logging.Logger):
    """Tells by paho's log that a packet came, the answer to a ping included; the line's text is not made for it."""

    def __init__(self, heard: Callable[[], None]) -> None:
        super().__init__("paho")
        self._heard = heard

    def log(self, level: int, msg: object, *_: object, **__: Any) -> None:  # noqa: ARG002 - a logger's own names
        """Take one line that paho writes."""
        if str(msg).startswith("Received "):
            self._heard()


def counted(note_fault: Callable[[BaseException], None], call: Callable[..., None]) -> Callable[..., None]:
    """Wrap a callback so that whatever it raises is noted and goes no further: it would end the network thread."""

    def guarded(*args: object) -> None:
        try:
            call(*args)
        except Exception as fault:
            note_fault(fault)

    return guarded


def without_delay(_client: object, _data: object, line: socket.socket) -> None:
    """Let a permit not wait for the acknowledgement of the packet before it (Nagle's rule: up to 40 ms)."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def ignore(*_: object) -> None:
    """Do nothing."""
