"""`fiftyover serve`: the hub for a real kit. Until `fiftyover setup` ran, the page is served on this machine only."""

from __future__ import annotations

import argparse
import logging
import queue
import signal
import sys
import threading
import time
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from fiftyover_kit.contract import topics

from .. import settings as hub_settings
from ..alerts.delivery import Delivery
from ..announce import announcer_address, announcing
from ..batch.plan import Plan
from ..broker import address, people
from ..broker.child import ChildBroker, kept_in
from ..broker.client import OUT_MAX, BrokerClient
from ..broker.notes import Link, Message
from ..broker.setup import BROKER
from ..clock import Clock
from ..errors import BrokerError, PlanError, SettingsError
from ..heater import Heater
from ..influx.copy import copying
from ..ingest import Inbox
from ..settings import BrokerSettings, Settings
from ..store import Store
from ..web.entry import CheckCode
from ..web.live import Live
from ..web.square import for_terminal
from .desk import HubDesk
from .hub import Hub
from .page import LOOPBACK, Page
from .parts import Parts, new_batch_id
from .schedules import plan_with_schedule
from .smokers import Smokers
from .yard import Yard

INBOX_MAX, INBOX_EACH = 20_000, 200  # messages not decided on yet; the latter with several smokers
OUT_EACH = 4  # messages on their way to each kit
WATCH_S = 0.5
CONNECT_S = 10.0  # longer than a broker needs to start; with it the service unit never gives up for good
LOOK_S = 0.05


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "--settings", type=Path, metavar="HUB.TOML", help="settings file (default: hub.toml, if there is one here)"
    )
    parser.add_argument(
        "--batch",
        type=Path,
        metavar="BATCH.TOML",
        help="a plan whose chubs hang in the smoker now, or for whose chubs it is preheated",
    )
    parser.add_argument("--verbose", action="store_true", help="say more on the terminal")


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted."""
    logging.basicConfig(level=logging.INFO if args.verbose else logging.WARNING, format="%(levelname)s %(message)s")
    settings = _settings(args.settings)
    plan, made_of = _plan(args.batch) if args.batch else (None, {})
    if plan is not None and settings.kit.smokers:
        raise PlanError("Which smoker? With several of them a batch is begun on the page of its own.")
    ended = threading.Event()
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, lambda *_: ended.set())
    with serving(settings) as (hub, page, watch):
        print(f"The page: {page.address}", flush=True)  # noqa: T201 - the address is what the person waits for
        if sys.stdout.isatty() and page.link != page.address:
            print(f"From a phone: {page.link}\n{for_terminal(page.link)}", flush=True)  # noqa: T201
        if plan is not None and isinstance(hub, Hub):
            hub.start_batch(plan)
            if made_of:
                hub.days.tell_recipe(plan.batch_id, made_of)
        while not ended.wait(WATCH_S):
            watch()
    return 0


class _Watch:
    """What has to be looked after from outside the hub's threads."""

    def __init__(self, child: ChildBroker | None) -> None:
        self._child = child

    def __call__(self) -> None:
        """Start a broker again that died."""
        if self._child is not None:
            told = self._child.poll()
            if told:
                logging.getLogger("fiftyover.hub").warning("%s", told)


@contextmanager
def serving(settings: Settings) -> Iterator[tuple[Hub | Yard, Page, _Watch]]:
    """Everything a hub needs, started in order and ended in the reverse order.

    A broker that cannot be reached is a BrokerError at the start, so that whoever set it up hears of it. With meat in
    the smoker the hub starts all the same (after a power cut, say): the page tells, and the broker is tried again.
    """
    with ExitStack() as stack:
        page = _page(settings)
        stack.callback(page.stop)
        clock = Clock()
        store = Store(settings.store.path, clock, settings.store.reserve_mib << 20)
        stack.callback(store.close)
        child = _child(store, settings) if settings.broker.child else None
        if child is not None:
            stack.callback(child.stop)
            where = child.start()
        else:
            where = address.address_of(settings.broker)
        smokers = settings.kit.smokers
        inbox: queue.Queue[Message | Link] = queue.Queue(max(INBOX_MAX, INBOX_EACH * len(smokers)))
        small = settings.kit.refrigerator
        named = smokers or ((settings.kit.id,) if settings.kit.id else ())
        kits = {*named, *({small} if small else ())} if named else None
        filters = [one for kit in (kits if kits and settings.broker.shared else "+") for one in topics.hub_hears(kit)]
        client = BrokerClient(
            where,
            store.hub_id,
            inbox,
            filters=filters,
            now_s=clock.monotonic_s,
            cluster=settings.broker.cluster,
            out_max=OUT_MAX + OUT_EACH * len(smokers),
        )
        heater = Heater(store.hub_id, store.run_number, client.publish)
        parts = Parts(
            clock, store, Inbox(store, clock, kits), client, heater, Live(), settings.kit.id, refrigerator=small
        )
        hub = Yard(parts, smokers, inbox) if smokers else Hub(parts, inbox)
        stack.callback(client.stop)
        client.start()
        stack.callback(hub.stop)
        hub.start()
        if not (hub.cooking if isinstance(hub, Hub) else store.batches()):
            _await_broker(client)
        _open(stack, hub, page, settings)
        stack.enter_context(copying(settings.influx, store.path, lambda told: hub.tell("influx", told)))
        told_house = partial(hub.tell, "announce")
        way_in = partial(announcer_address, settings, child, where)
        beside = store.path.absolute().parent
        stack.enter_context(announcing(settings, way_in, store.hub_id, beside, told_house))
        yield hub, page, _Watch(child)


def _open(stack: ExitStack, hub: Hub | Yard, page: Page, settings: Settings) -> None:
    """The counter of a smoker, or of each, with the telling of phones; and the page."""
    folder, accounts, clock = hub.parts.store.path.absolute().parent, settings.web.accounts_file, hub.parts.clock
    telling: Delivery | Smokers
    counter: HubDesk | Mapping[str, tuple[Live, HubDesk]]
    if isinstance(hub, Yard):
        telling = smokers = Smokers(hub, folder, accounts, page.link)
        live, counter, desks = smokers.live, smokers.pages, list(smokers.desks.values())
    else:
        desk = HubDesk(hub, folder, accounts, page.link)
        telling, live, counter, desks = desk.open_delivery(), hub.parts.live, desk, [desk]
    stack.callback(telling.stop)
    page.start(live, counter, lambda: clock.utc_ms() / 1000, _sessions(settings))
    for one in desks:
        if page.entry is not None:
            one.forget = page.entry.forget
    telling.start()


def _await_broker(client: BrokerClient) -> None:
    until_s = time.monotonic() + CONNECT_S
    while not client.up:
        if time.monotonic() > until_s:
            raise BrokerError(f"{client.why}.")
        time.sleep(LOOK_S)


def _settings(path: Path | None) -> Settings:
    if path is not None:
        return hub_settings.load(path)
    usual = Path("hub.toml")
    # Nothing is set up yet: a broker of the hub's own, and like the page on this machine only.
    return hub_settings.load(usual) if usual.exists() else Settings(broker=BrokerSettings(port=0, child=True))


def _plan(path: Path) -> tuple[Plan, dict[str, Any]]:
    """The plan of a batch file, and what the batch is made of (empty where the file does not say)."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise PlanError(f"There is no batch file {path}.") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise PlanError(f"The batch file {path} cannot be read ({fault}): mend that line.") from None
    made_of = data.pop("made_of", {})
    if not isinstance(made_of, dict):
        raise PlanError(f"The batch file {path}: [made_of] must be a table.")
    return plan_with_schedule(new_batch_id(), data, path.parent), made_of


def _child(store: Store, settings: Settings) -> ChildBroker:
    return kept_in(store.path.absolute().parent / BROKER, settings.broker.port)


def _page(settings: Settings) -> Page:
    check = _check_code(settings)
    web = settings.web
    if check is None and web.host not in LOOPBACK:
        raise SettingsError(
            f"[web] host = {web.host!r} would open the page to others without accounts: run `fiftyover setup` first."
        )
    if check is None:
        web = replace(web, host="127.0.0.1")
    return Page(web.host, web.port, frozenset(web.names), check)


def _sessions(settings: Settings) -> people.SessionFile | None:
    accounts = settings.web.accounts_file
    return None if accounts is None else people.SessionFile(accounts.with_name("sessions.json"))


def _check_code(settings: Settings) -> CheckCode | None:
    """The check of name and code against the accounts that `setup` made; None before it ran."""
    file = settings.web.accounts_file
    if file is None:
        return None
    people.load(file)
    return people.checker(file)
