"""What is to stand at the broker of the kits, and what is still to be sent.

What was announced stands in `announced.json` beside the record, written before it is sent, so that it can be cleared:
when a kit changes, and when announcing is switched off.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from pathlib import Path

from fiftyover_kit.contract import topics
from fiftyover_kit.contract.errors import ContractError

from ..broker.accounts import DISCOVERY
from ..broker.address import write_secret
from ..broker.notes import Link, Message
from . import entities

FILE = "announced.json"
BIRTH, BORN = f"{DISCOVERY}/status", b"online"
KITS_MAX = 16
AGAIN_S = 10.0  # so long at least between two answers to births, and between two tries to write the list
AT_ONCE = 20  # messages in one step
DOWN_S = 60.0  # a session that is back before is not worth a sentence: the hub's own has told
NOT_TOLD = "Home-automation software is not told of the kits: {}."


class Announcer:
    """Not locked: one thread. `kits` None: any kit; `refrigerator`: which of them stands there."""

    def __init__(self, file: Path, wanted: bool, kits: Collection[str] | None = None, refrigerator: str = "") -> None:
        self.file, self.wanted = file, wanted
        self._kits, self._refrigerator = kits, refrigerator
        self._said: dict[str, bytes] = {}  # descriptions that are still to be looked at
        self._found: dict[str, entities.Found] = {}
        self._stands = _read(file)  # topics that may hold a message of ours
        self._gone: set[str] = set()  # cleared in this run; who was away then hears of it after its birth
        self._to_send: dict[str, bytes] = {}
        self._answered_s = self._write_s = float("-inf")
        self._unsettled = False  # something was sent that the broker may not have yet
        self._down_s: float | None = None
        self._why = self._fault = ""

    def trouble(self, now_s: float) -> str | None:
        """Give what a person should hear of."""
        if self._fault:
            return NOT_TOLD.format(self._fault)
        lasting = self._down_s is not None and now_s - self._down_s >= DOWN_S
        return NOT_TOLD.format(self._why) if lasting else None

    def heed(self, item: Message | Link, now_s: float) -> None:
        """Take what came."""
        if isinstance(item, Link):
            self._linked(item, now_s)
        elif item.topic == BIRTH:
            if item.payload == BORN and now_s - self._answered_s >= AGAIN_S:
                self._answered_s = now_s
                self._all_again()
        elif self.wanted:
            self._described(item)

    def step(self, publish: Callable[[str, bytes, int, bool], bool], waiting: int, now_s: float) -> None:
        """Send some of what is due; what is not taken is tried again. `waiting`: sent before and not acknowledged."""
        if now_s >= self._write_s:
            try:
                self._write(waiting)
                self._fault = ""
            except OSError as fault:
                self._write_s = now_s + AGAIN_S
                self._fault = f"{self.file} cannot be written ({fault.strerror}), make room or mend its rights"
        for topic in list(self._to_send)[:AT_ONCE]:
            # The last gate: nothing but the announcement of something to look at leaves by this door.
            if entities.CONFIG.fullmatch(topic) and not publish(topic, self._to_send[topic], 1, True):
                return
            del self._to_send[topic]
            self._unsettled = True

    def _linked(self, link: Link, now_s: float) -> None:
        self._to_send, self._unsettled = {}, False  # what was under way may be lost: all again in the next session
        if link.up:
            self._down_s = None
            self._all_again()
            self._unsettled = True
        else:
            self._down_s = now_s if self._down_s is None else self._down_s
            self._why = link.why

    def _described(self, item: Message) -> None:
        try:
            kit, rest = topics.parse(item.topic)
        except ContractError:
            return
        if rest == "$description" and (self._kits is None or kit in self._kits):
            self._said[kit] = item.payload

    def _write(self, waiting: int) -> None:
        """Bring the list up to date, before anything new is sent and after what was cleared is gone."""
        for kit in list(self._said):
            description = self._said.pop(kit)
            try:
                self._take(kit, description)
            except OSError:
                self._said[kit] = description
                raise
        if self._unsettled and not self._to_send and waiting == 0:
            if (should := self._should_stand()) != self._stands:
                self._remember(should)
            self._unsettled = False

    def _take(self, kit: str, description: bytes) -> None:
        found = entities.announced(kit, description, kit == self._refrigerator)
        full = sum(bool(one.messages) for one in self._found.values()) >= KITS_MAX
        stood = {topic for topic in self._stands if _kit_of(topic) == kit}
        if found == self._found.get(kit) or (full and not stood) or not (found.messages or stood):
            return
        self._remember(self._stands | set(found.messages))
        self._found[kit] = found
        self._to_send |= dict.fromkeys(stood - set(found.messages), b"") | found.messages

    def _should_stand(self) -> set[str]:
        """Every topic that is to hold a message; of our kits that were not heard yet, what stood there before."""
        if not self.wanted:
            return set()
        found = {topic for one in self._found.values() for topic in one.messages}
        return found | {topic for topic in self._stands if self._unheard(_kit_of(topic))}

    def _unheard(self, kit: str) -> bool:
        return kit not in self._found and (self._kits is None or kit in self._kits)

    def _all_again(self) -> None:
        self._to_send |= dict.fromkeys((self._stands | self._gone) - self._should_stand(), b"")
        for found in self._found.values():
            self._to_send |= found.messages

    def _remember(self, stands: set[str]) -> None:
        if stands:
            write_secret(self.file, json.dumps(sorted(stands), indent=0) + "\n")
        else:
            self.file.unlink(missing_ok=True)
        self._gone = (self._gone | self._stands) - stands
        self._stands = stands


def _kit_of(topic: str) -> str:
    return topic.split("/")[2]


def _read(file: Path) -> set[str]:
    """Topics that were announced; of a torn or foreign file, those that are such topics."""
    try:
        found = json.loads(file.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return set()
    listed = found if isinstance(found, list) else []
    return {one for one in listed if isinstance(one, str) and entities.CONFIG.fullmatch(one)}
