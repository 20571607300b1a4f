"""What a hub is made of, and the small pieces that hold it together."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from ..batch.state import Reading
from ..broker.client import BrokerClient
from ..clock import AnyClock
from ..heater import Heater
from ..ingest import Inbox
from ..store import DatedFrame, Store
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


def reading_of(frame: DatedFrame) -> Reading:
    """The batch's view of a frame."""
    return Reading(
        at_s=round(frame.at_s * 1000.0) / 1000.0,  # as it is read again from the record
        utc_ms=frame.utc_ms,
        chamber_degC=frame.t[0] if frame.t else None,
        probe_degC=tuple(frame.t),
        status=tuple(frame.s),
        on=frame.on,
        duty=frame.duty,
        why=frame.why,
        seq=frame.seq,
        boot=frame.boot,
    )


def new_batch_id() -> str:
    """A short id, new each time."""
    return secrets.token_hex(4)
