"""What a hub is made of, and the small pieces that hold it together."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from ..broker.client import BrokerClient
from ..clock import AnyClock
from ..heater import Heater
from ..ingest import Inbox
from ..store import Store
from ..web.live import Live


@dataclass(frozen=True)
class Parts:
    """Everything with a life of its own that the hub uses. `kit` "" takes the first kit that is heard."""

    clock: AnyClock
    store: Store
    inbox: Inbox
    client: BrokerClient
    heater: Heater
    live: Live
    kit: str = ""
    simulated_only: bool = False
    refrigerator: str = ""  # the small kit in the refrigerator: never the one that heats
    record_of: str = ""  # the kit whose batches count, where several share the record; "": all of them


def new_batch_id() -> str:
    """A short id, new each time."""
    return secrets.token_hex(4)
