"""The announcer's session with the broker: an account and a thread of its own, beside the session that permits heat.

A broker that refuses it, a flood of births of the software, or a fault in here costs the announcement and nothing else.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fiftyover_kit.contract import topics

from ..broker.accounts import ANNOUNCER
from ..broker.address import Address
from ..broker.child import ChildBroker
from ..broker.client import BrokerClient
from ..broker.notes import Link, Message
from ..errors import BrokerError, SettingsError
from ..settings import Settings, announcer_password
from .announcer import BIRTH, FILE, NOT_TOLD, Announcer

LOG = logging.getLogger("fiftyover.announce")
INBOX_MAX = 1000
WAIT_S = 0.2
GOODBYE_S = 3.0
TAKEN = "another program signed in to the broker with its account; stop that one, then start the hub again"

Tell = Callable[[str | None], None]


def announcer_address(settings: Settings, child: ChildBroker | None, hub: Address) -> Address:
    """Give the way in of the account that announces, which is never the hub's: one user is one session.

    BrokerError or SettingsError where there is none, or where the broker could not hold it to looking only.
    """
    if child is None:
        return hub.as_user(settings.announce.user, announcer_password(settings.announce))
    if child.kind != "mosquitto":
        raise BrokerError(f"{child.kind} has no access list, so whoever looks could act; install mosquitto")
    if all(one.user != ANNOUNCER for one in child.accounts):
        raise BrokerError("the broker has no account for it; run `fiftyover setup --home-automation`")
    return child.address_for(ANNOUNCER)


@contextmanager
def announcing(
    settings: Settings, way_in: Callable[[], Address], hub_id: str, folder: Path, tell: Tell
) -> Iterator[None]:
    """Announce while this lasts, or clear what an earlier run announced; nothing at all where neither is due."""
    file, wanted, small = folder / FILE, settings.announce.on, settings.kit.refrigerator
    if not wanted and not file.exists():
        yield
        return
    try:
        address = way_in()
    except (BrokerError, SettingsError) as fault:
        tell(NOT_TOLD.format(str(fault).rstrip(".")))
        yield
        return
    kits = {one for one in (settings.kit.id, small) if one} if settings.kit.id else None
    filters = [topics.description(one) for one in sorted(kits)] if kits else [f"{topics.ROOT}/+/$description"]
    inbox: queue.Queue[Message | Link] = queue.Queue(INBOX_MAX)
    # A broker without accounts tells sessions apart by this name only, and several hubs may use it.
    name, cluster = f"{hub_id}-announce", settings.broker.cluster
    client = BrokerClient(address, name, inbox, filters=[*filters, BIRTH], cluster=cluster)
    ended = threading.Event()
    given = (Announcer(file, wanted, kits, small), client, inbox, ended, tell)
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
    told: str | None = None
    while not ended.is_set():
        items = _come(inbox)
        now_s = time.monotonic()
        try:
            for item in items:
                taken = client.taken_over and isinstance(item, Link)  # its own sentence speaks of the heat's session
                announcer.heed(Link(False, TAKEN) if taken else item, now_s)
            announcer.step(client.publish, client.waiting, now_s)
        except Exception:
            LOG.exception("a message was left out")
        if announcer.trouble(now_s) != told:
            told = announcer.trouble(now_s)
            tell(told)


def _come(inbox: queue.Queue[Message | Link]) -> list[Message | Link]:
    """All that came, the end of a session included: what is acknowledged is asked only after."""
    items: list[Message | Link] = []
    with contextlib.suppress(queue.Empty):
        items.append(inbox.get(timeout=WAIT_S))
        while len(items) < INBOX_MAX:
            items.append(inbox.get_nowait())
    return items
