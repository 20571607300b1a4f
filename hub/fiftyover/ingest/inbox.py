"""From a kit's message to a dated frame, once: decode, refuse, date, hand to the store, acknowledge what it committed.

A live frame comes back from `handle` at once, for the control. To the store it goes at the next commit, dated by what
was learnt until then: of a burst out of a stalled broker only the last frame knows how late the first was.
"""

from __future__ import annotations

import threading
from collections import Counter, OrderedDict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from fiftyover_kit.contract import messages, topics
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.limits import MESSAGE_MAX_BYTES

from ..clock import AnyClock
from ..store import BootLine, DatedFrame, Key, Store
from .acks import Acks
from .dating import Dating
from .freshness import Freshness

UNDATED_MAX = 7200  # older frames kept until a live one of their start tells how to date them
UNDATED_BOOTS_MAX = 8  # or one for each kit
NAMED_MAX = 8  # of this hub's kits, in a sentence
NAMES_MAX = 1000  # kits and starts that counts are kept of: twice the most smokers of one hub


@dataclass(frozen=True)
class KitNote:
    """Any other property of a kit: what stands below its id in the topic, and its text."""

    kit: str
    property: str
    text: str


@dataclass(frozen=True)
class Refused:
    """A message that was left out, and one sentence for a person: why, and what to do. `kit` is "" where unreadable."""

    kit: str
    sentence: str


Result = DatedFrame | KitNote | Refused
Raw = dict[str, Any]


class Inbox:
    """Messages of the kits named in `kits` (None: of any kit). `handle` and `Store.commit` may run on two threads."""

    def __init__(self, store: Store, clock: AnyClock, kits: Collection[str] | None = None) -> None:
        self.freshness = Freshness()
        self.refused: Counter[str] = Counter()  # by kit, "" for what is no kit's
        self._store = store
        self._clock = clock
        self._kits = kits
        many = 0 if kits is None else len(kits)
        self._undated_boots_max = max(UNDATED_BOOTS_MAX, many)
        self._dating = Dating(many)
        self._acks = Acks(store.hub_id)
        self._undated: OrderedDict[tuple[str, str], dict[int, Raw]] = OrderedDict()
        self._to_store: dict[Key, DatedFrame] = {}
        self._losses: dict[tuple[str, str], tuple[int, int]] = {}
        self._guard = threading.RLock()
        for line in store.boots():
            self._dating.restore(line.kit, line.boot, line.offset_s, line.heard_s, line.same_machine)
            self._losses[line.kit, line.boot] = (line.thinned, line.dropped)
        store.feeders.append(self._feed)
        store.listeners.append(self._committed)

    def handle(self, topic: str, payload: bytes, retained: bool, arrived_s: float) -> list[Result]:
        """What the message means, oldest first; never raises. `arrived_s`: steady clock when it came in (s)."""
        kit = ""
        try:
            kit, rest = topics.parse(topic)
            with self._guard:
                results = self._message(kit, rest, payload, retained, arrived_s)
        except ContractError as error:
            results = [Refused(kit, f"Kit {kit}: {error}" if kit else f"Left out: {error}")]
        for result in results:
            if isinstance(result, Refused):
                known = result.kit in self.refused or (self._ours(result.kit) and len(self.refused) < NAMES_MAX)
                self.refused[result.kit if known else ""] += 1
        return results

    def acks_due(self) -> list[tuple[str, dict[str, Any]]]:
        """(kit, acknowledgement) for every frame committed since the last call, duplicates among them."""
        with self._guard:
            return self._acks.take()

    def _ours(self, kit: str) -> bool:
        return self._kits is None or kit in self._kits

    def _message(self, kit: str, rest: str, payload: bytes, retained: bool, arrived_s: float) -> list[Result]:
        if not self._ours(kit):
            known = _named(self._kits or ())
            return [Refused(kit, f"Kit {kit} is not this hub's ({known}): to add it, run `fiftyover kit setup`.")]
        if rest.endswith("/set"):
            return []  # the hub's own
        if rest not in ("frame/sample", "frame/backlog"):
            return [_note(kit, rest, payload)]
        if retained:
            return [Refused(kit, f"Kit {kit}: {rest} came retained, so it may be old: clear it at the broker.")]
        if rest == "frame/sample":
            return self._live(kit, messages.decode_frame(payload), arrived_s)
        return self._backlog(kit, messages.decode_backlog(payload))

    def _live(self, kit: str, raw: Raw, arrived_s: float) -> list[Result]:
        boot = raw["boot"]
        dated = self._dating.hear(kit, boot, raw["up"], arrived_s)
        frame = self._dated(Key(kit, boot, raw["seq"]), raw, dated.at_s, dated.current)
        results: list[Result] = list(self._date_waiting(kit))
        self._queue(frame)
        if dated.current:
            self.freshness.hear(frame)
            results += self._losses_told(kit, boot, raw)
        return [*results, frame]

    def _backlog(self, kit: str, raw: Raw) -> list[Result]:
        boot = raw["boot"]
        if self._dating.knows(kit, boot):
            return [self._older(Key(kit, boot, one["seq"]), one) for one in raw["frames"]]
        room = self._undated.setdefault((kit, boot), {})
        for one in raw["frames"]:
            if self._undated_count() < UNDATED_MAX:  # beyond, they are not acknowledged: the kit sends them again
                room.setdefault(one["seq"], one)
        if len(self._undated) <= self._undated_boots_max:
            return []
        lost = self._undated.popitem(last=False)
        return [_undatable(*lost)]

    def _undated_count(self) -> int:
        return sum(len(room) for room in self._undated.values())

    def _date_waiting(self, kit: str) -> list[Result]:
        """A live frame of the kit was heard: its older frames can be dated now, or never."""
        results: list[Result] = []
        for key in [one for one in self._undated if one[0] == kit]:
            room = self._undated.pop(key)
            if self._dating.knows(*key):
                results += [self._older(Key(*key, seq), room[seq]) for seq in sorted(room)]
            else:
                results.append(_undatable(key, room))
        return results

    def _older(self, key: Key, raw: Raw) -> DatedFrame:
        frame = self._dated(key, raw, self._dating.at_s(key.kit, key.boot, raw["up"]), False)
        self._queue(frame)
        return frame

    def _queue(self, frame: DatedFrame) -> None:
        known = self._to_store.setdefault(frame.key, frame)
        if known is not frame and _content(known) != _content(frame):  # the store tells the alarm: it must see both
            self._store.add_frames(self._final([known]))
            self._to_store[frame.key] = frame

    def _dated(self, key: Key, raw: Raw, at_s: float, live: bool) -> DatedFrame:
        return DatedFrame(
            kit=key.kit,
            boot=key.boot,
            seq=key.seq,
            up_ms=raw["up"],
            utc_ms=self._utc_ms(at_s),
            at_s=at_s,
            t=[None if degC is None else float(degC) for degC in raw["t"]],
            s=raw["s"],
            on=raw["on"],
            duty=float(raw["duty"]),
            why=raw["why"],
            live=live,
        )

    def _utc_ms(self, at_s: float) -> int:
        return self._clock.utc_zero_ms() + round(at_s * 1000)

    def _losses_told(self, kit: str, boot: str, raw: Raw) -> list[Result]:
        """Notes when the kit's counts of lost frames moved: the page shows the gap."""
        losses = (raw["thinned"], raw["dropped"])
        before = self._losses.get((kit, boot), (0, 0))
        self._losses[kit, boot] = losses
        if len(self._losses) > NAMES_MAX:
            del self._losses[next(iter(self._losses))]
        names = ("frame/thinned", "frame/dropped")
        return [
            KitNote(kit, name, str(now)) for name, now, old in zip(names, losses, before, strict=True) if now != old
        ]

    # -- with the store's commit

    def _final(self, frames: Iterable[DatedFrame]) -> list[DatedFrame]:
        """The frames dated by what is known now."""
        dated = []
        for frame in frames:
            if self._dating.knows(frame.kit, frame.boot):
                at_s = self._dating.at_s(frame.kit, frame.boot, frame.up_ms)
                utc_ms = self._utc_ms(at_s)
                same = utc_ms == frame.utc_ms and at_s == frame.at_s
                dated.append(frame if same else frame.moved(at_s, utc_ms))
        return dated

    def _feed(self) -> None:
        with self._guard:
            frames, self._to_store = self._to_store, {}
            self._store.add_frames(self._final(frames.values()))
            for kit, boot in {(key.kit, key.boot) for key in frames}:
                if self._dating.knows(kit, boot):
                    offset_s, heard_s = self._dating.offset(kit, boot)
                    thinned, dropped = self._losses.get((kit, boot), (0, 0))
                    self._store.save_boot(BootLine(kit, boot, offset_s, heard_s, thinned, dropped, True))

    def _committed(self, keys: list[Key]) -> None:
        with self._guard:
            self._acks.committed(keys)


def _named(kits: Collection[str]) -> str:
    if not kits:
        return "none yet"
    return ", ".join(sorted(kits)[:NAMED_MAX]) + (f" and {len(kits) - NAMED_MAX} more" if len(kits) > NAMED_MAX else "")


def _note(kit: str, rest: str, payload: bytes) -> Result:
    if len(payload) > MESSAGE_MAX_BYTES:
        return Refused(kit, f"Kit {kit}: {rest} refused unread: {len(payload)} bytes are over {MESSAGE_MAX_BYTES}.")
    try:
        return KitNote(kit, rest, payload.decode("utf-8"))
    except UnicodeDecodeError:
        return Refused(kit, f"Kit {kit}: {rest} is not UTF-8 text; look what else publishes under its name.")


def _undatable(key: tuple[str, str], room: dict[int, Raw]) -> Refused:
    kit, boot = key
    return Refused(
        kit, f"Kit {kit}: {len(room)} readings of its start {boot} are left out: nothing tells when they were made."
    )


def _content(frame: DatedFrame) -> tuple[Any, ...]:
    return (frame.up_ms, frame.t, frame.s, frame.on, frame.duty, frame.why)
