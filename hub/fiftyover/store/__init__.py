"""The record: frames, minutes, events and kit starts in one SQLite file, written by one hub, read by any number."""

from .frames import DatedFrame, Key
from .outbox import EventRow, Lot, Outbox, TargetRow
from .reader import BatchLine, Bucket, Gap, Reader
from .rollup import DUTY
from .store import Store
from .waiting import BootLine

__all__ = [
    "DUTY",
    "BatchLine",
    "BootLine",
    "Bucket",
    "DatedFrame",
    "EventRow",
    "Gap",
    "Key",
    "Lot",
    "Outbox",
    "Reader",
    "Store",
    "TargetRow",
]
