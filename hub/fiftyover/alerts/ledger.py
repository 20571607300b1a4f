"""Who is told of what, and when: each thing once, the second person when nobody answered. Pure.

An alarm is answered when what it says is done (it goes away) or when somebody says "I heard it".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from .rules import ACT, SOON, Alert

FORGET_S = 600.0  # an alarm that was away for so long is a new one; shorter, it only flickered
FIRST, SECOND = "first", "second"


@dataclass(frozen=True, slots=True)
class Tell:
    """One message to one of the two persons: the alarm's name and priority, and the sentence."""

    to: str
    key: str
    priority: str
    text: str


@dataclass(slots=True)
class _Standing:
    since_s: float
    seen_s: float
    told: set[str] = field(default_factory=set)
    heard: bool = False


class Ledger:
    """Remembers what was told. Not locked."""

    def __init__(self) -> None:
        self._standing: dict[str, _Standing] = {}

    def step(self, alerts: Sequence[Alert], now_s: float, escalate_after_s: float) -> list[Tell]:
        """What is to be told now (s of a steady clock), given all alarms that stand now."""
        told = []
        for alert in alerts:
            if alert.priority not in (ACT, SOON):
                continue
            one = self._standing.setdefault(alert.key, _Standing(now_s, now_s))
            one.seen_s = now_s
            late = alert.priority == ACT and not one.heard and now_s - one.since_s >= escalate_after_s
            for to in (FIRST, *((SECOND,) if late else ())):
                if to not in one.told:
                    one.told.add(to)
                    told.append(Tell(to, alert.key, alert.priority, alert.text))
        self._standing = {key: one for key, one in self._standing.items() if now_s - one.seen_s < FORGET_S}
        return told

    def heard(self) -> None:
        """Somebody heard what stands now: the second person is left in peace with it."""
        for one in self._standing.values():
            one.heard = True

    def unanswered(self, alerts: Sequence[Alert]) -> Alert | None:
        """The first alarm among `alerts` that wants somebody at once and that nobody heard yet."""
        for alert in alerts:
            one = self._standing.get(alert.key)
            if alert.priority == ACT and not (one is not None and one.heard):
                return alert
        return None

    def kept(self) -> dict[str, Any]:
        """What a restarted hub must know so that nobody is told twice, JSON-able."""
        return {
            key: {"since_s": one.since_s, "seen_s": one.seen_s, "told": sorted(one.told), "heard": one.heard}
            for key, one in self._standing.items()
        }

    def take_up(self, kept: Mapping[str, Any], now_s: float) -> None:
        """Go on from `kept`; what is damaged is left out. After a restart of the machine the clock began anew."""
        for key, one in kept.items():
            try:
                since_s, seen_s = float(one["since_s"]), float(one["seen_s"])
                told = {to for to in one["told"] if to in (FIRST, SECOND)}
                heard = one["heard"] is True
            except (TypeError, KeyError, ValueError):
                continue
            if not since_s <= seen_s <= now_s:
                since_s = seen_s = now_s
            self._standing[str(key)] = _Standing(since_s, seen_s, told, heard)
