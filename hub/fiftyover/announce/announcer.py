"""Keeps the discovery messages at the broker as the kits are, over a session and in a thread of its own.

Nothing of this touches the session that permits heat: a broker that refuses these topics, or a flood of births of the
software, costs the announcement and nothing else. What was announced stands in `announced.json` beside the record,
written before it is sent, so that it can be cleared: when a kit changes, and when announcing is switched off.
"""

from __future__ import annotations

import json
import logging
import queue
import threading
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

from fiftyover_kit.contract import topics
from fiftyover_kit.contract.errors import ContractError

from ..broker.accounts import DISCOVERY
from ..broker.address import Address, write_secret
from ..broker.client import BrokerClient
from ..broker.notes import Link, Message
from ..errors import BrokerError
from . import entities

LOG = logging.getLogger("fiftyover.announce")
FILE = "announced.json"
BIRTH, BORN = f"{DISCOVERY}/status", b"online"
KITS_MAX = 16
AGAIN_S = 10.0  # so long at least between two answers to births
WAIT_S = 0.2
AT_ONCE = 20  # messages between two looks at the inbox
SETTLED_S = 1.0  # so long after the last one with the session standing: the broker has them
GOODBYE_S = 3.0
NOT_TOLD = "Home-automation software is not told of the kits: {}."

Tell = Callable[[str | None], None]


class Announcer:
    """What is to stand at the broker, and what is still to be sent. Not locked: one thread. `kits` None: any kit."""

    def __init__(self, file: Path, wanted: bool, kits: Collection[str] | None = None, refrigerator: str = "") -> None:
        self.file, self.wanted = file, wanted
        self._kits, self._refrigerator = kits, refrigerator
        self._found: dict[str, entities.Found] = {}
        self._stands = _read(file)  # topics that may hold a message of ours
        self._to_send: dict[str, bytes] = {}
        self._answered_s = float("-inf")
        self._sent_s: float | None = None  # when the last was sent of what is not settled yet

    @property
    def cleared(self) -> bool:
        """True once nothing is announced and nothing is left to be cleared."""
        return not self.wanted and not self._stands

    def heed(self, item: Message | Link, now_s: float) -> None:
        """Take what came. OSError if the list of what is announced cannot be written: then nothing new is sent."""
        if isinstance(item, Link):
            self._to_send, self._sent_s = {}, None  # what was under way may be lost: all again in the next session
            if item.up:
                self._all_again()
        elif item.topic == BIRTH:
            if item.payload == BORN and now_s - self._answered_s >= AGAIN_S:
                self._answered_s = now_s
                self._all_again()
        elif self.wanted:
            self._described(item)

    def step(self, publish: Callable[[str, bytes, int, bool], bool], now_s: float) -> None:
        """Send some of what is due; what is not taken is tried again. OSError as in `heed`."""
        for topic in list(self._to_send)[:AT_ONCE]:
            # The last gate: nothing but the announcement of something to look at leaves by this door.
            if entities.CONFIG.fullmatch(topic) and not publish(topic, self._to_send[topic], 1, True):
                return
            del self._to_send[topic]
            self._sent_s = now_s
        if not self._to_send and self._sent_s is not None and now_s - self._sent_s >= SETTLED_S:
            self._sent_s = None
            if (should := self._should_stand()) != self._stands:
                self._remember(should)

    def _should_stand(self) -> set[str]:
        """Every topic that is to hold a message; of our kits that were not heard yet, what stood there before."""
        if not self.wanted:
            return set()
        found = {topic for found in self._found.values() for topic in found.messages}
        waiting = {topic for topic in self._stands if self._ours(_kit_of(topic)) and _kit_of(topic) not in self._found}
        return found | waiting

    def _ours(self, kit: str) -> bool:
        return self._kits is None or kit in self._kits

    def _described(self, item: Message) -> None:
        try:
            kit, rest = topics.parse(item.topic)
        except ContractError:
            return
        if rest != "$description" or not self._ours(kit) or (kit not in self._found and len(self._found) >= KITS_MAX):
            return
        found = entities.announced(kit, item.payload, kit == self._refrigerator)
        if found == self._found.get(kit):
            return
        self._remember(self._stands | set(found.messages))
        self._found[kit] = found
        over = {topic for topic in self._stands - set(found.messages) if _kit_of(topic) == kit}
        self._to_send |= dict.fromkeys(over, b"") | found.messages

    def _all_again(self) -> None:
        self._to_send |= dict.fromkeys(self._stands - self._should_stand(), b"")
        for found in self._found.values():
            self._to_send |= found.messages

    def _remember(self, stands: set[str]) -> None:
        if stands:
            write_secret(self.file, json.dumps(sorted(stands), indent=0) + "\n")
        else:
            self.file.unlink(missing_ok=True)
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


@contextmanager
def announcing(
    wanted: bool, address: Address, hub_id: str, folder: Path, tell: Tell, *, kit: str = "", refrigerator: str = ""
) -> Iterator[None]:
    """Announce while this lasts, or clear what an earlier run announced; nothing at all where neither is due."""
    file = folder / FILE
    if not wanted and not file.exists():
        yield
        return
    inbox: queue.Queue[Message | Link] = queue.Queue(1000)
    named = {one for one in (kit, refrigerator) if one} if kit else None
    filters = [f"{topics.ROOT}/{one}/$description" for one in sorted(named or {"+"})] if wanted else []
    client = BrokerClient(address, f"{hub_id}-announce", inbox, filters=[*filters, BIRTH])
    ended = threading.Event()
    given = (Announcer(file, wanted, named, refrigerator), client, inbox, ended, tell)
    thread = threading.Thread(target=_go_on, args=given, name="announce", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join(GOODBYE_S)
        client.stop()


def _go_on(
    announcer: Announcer, client: BrokerClient, inbox: queue.Queue[Message | Link], ended: threading.Event, tell: Tell
) -> None:
    try:
        client.start(wait_s=0.0)
    except BrokerError as fault:
        tell(NOT_TOLD.format(fault))
        return
    while not ended.is_set() and not announcer.cleared:
        try:
            item = inbox.get(timeout=WAIT_S)
        except queue.Empty:
            item = None
        try:
            if item is not None:
                announcer.heed(item, time.monotonic())
            if isinstance(item, Link):
                tell(None if item.up else NOT_TOLD.format(item.why))
            announcer.step(client.publish, time.monotonic())
        except OSError as fault:
            tell(NOT_TOLD.format(f"{announcer.file} cannot be written, {fault.strerror}: make room or mend its rights"))
        except Exception:
            LOG.exception("a message was left out")
