"""What the broker's client puts on the hub's inbox, and what it counts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came: its payload unread, its arrival on the hub's own clock in seconds."""

    topic: str
    payload: bytes
    retained: bool
    arrived_s: float


@dataclass(frozen=True, slots=True)
class Link:
    """The session came up or went down, and why in one sentence."""

    up: bool
    why: str


@dataclass
class Counters:
    """What was dropped or went wrong since the start; only ever grows."""

    oversized: int = 0  # messages over 8 KB, dropped unread
    lost_in: int = 0  # messages the inbox had no room for (never acknowledged, so the kit sends them again)
    refused_out: int = 0  # messages not taken: no session, or OUT_MAX waiting
    faults: int = 0  # exceptions caught in callbacks or in the network loop
    sessions: int = 0  # sessions that came up
    last_fault: str = ""
    oversized_topic: str = ""  # where the last oversized one came from
