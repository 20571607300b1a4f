"""The copy as a part of the running hub: begun and ended with it, or left alone where no database is set up."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..settings import InfluxSettings
from .sender import Sender, Tell
from .server import Server


@contextmanager
def copying(settings: InfluxSettings, record: Path, tell: Tell) -> Iterator[Sender | None]:
    """Copy what is recorded in `record` while this lasts. HubError at the start: no token file, or no package."""
    if not settings.url:
        yield None
        return
    sender = Sender(record, Server(settings), tell)
    sender.start()
    try:
        yield sender
    finally:
        sender.stop()
