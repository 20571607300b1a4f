"""`fiftyover demo`: a whole simulated cook on this machine. Only smoker, meat and person are simulated.

The broker is a real one, the firmware is the kit's own in a MicroPython process (CPython where there is no such wheel),
hub, store and page are those of `serve`. Sensing, guard, duty, permits and control run on a clock `--speed` times as
fast at both ends; MQTT, acknowledgements and commits stay in real seconds.
"""

from __future__ import annotations

import argparse
import logging
import queue
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..broker import accounts
from ..broker.child import ChildBroker
from ..broker.client import BrokerClient
from ..broker.notes import Link, Message
from ..clock import Clock
from ..errors import HubError
from ..heater import Heater
from ..ingest import Inbox
from ..rehearse.fake_board import FakeBoard
from ..rehearse.kit_process import KitOptions, KitProcess
from ..rehearse.plant import Plant
from ..rehearse.scenario import circuit
from ..rehearse.wire import PlantServer
from ..store import Store
from ..web.live import Live
from .cook import CHUBS, KIT, PROBES, RELAY_PIN, SOUNDER_PIN, WATTS, kit_settings, plan
from .demo_person import DemoPerson
from .demo_table import Outcome, closing_table, progress
from .desk import HubDesk
from .hub import Hub
from .page import Page
from .parts import Parts

KIT_WAIT_S = 20.0
LOOK_S = 0.05
SAY_TTY_S, SAY_LOG_S = 1.0, 10.0
LIMIT_H = 16.0
RECORD = "demo.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "--speed", type=float, default=60.0, metavar="N", help="times as fast as life, 1 to 200 (%(default)g)"
    )
    parser.add_argument("--until-done", action="store_true", help="end when all chubs are out, and say how it went")
    parser.add_argument("--port", type=int, default=8080, help="port of the page, 0 for any free one (%(default)s)")
    parser.add_argument("--seed", type=int, default=7, help="of the simulated smoker (%(default)s)")
    parser.add_argument("--broker", choices=("mosquitto", "iotcore"), help="default: mosquitto where installed")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep the record there (default: thrown away)")
    parser.add_argument("--cpython-kit", action="store_true", help="run the kit's firmware under CPython")


def run(args: argparse.Namespace) -> int:
    """Run the cook; 0 if every chub left inside its band and the air stayed under the limit."""
    if not 1.0 <= args.speed <= 200.0:
        raise HubError(f"--speed {args.speed:g}: it must lie between 1 and 200.")
    if not 0 <= args.port <= 65535:
        raise HubError(f"--port {args.port}: it must lie between 0 and 65535.")
    logging.basicConfig(level=logging.ERROR, format="%(levelname)s %(message)s")  # warnings are told on the page
    with demo(args) as world:
        print(f"The page: {world.page.address}", flush=True)  # noqa: T201
        outcome = world.cook(args.until_done)
    print(closing_table(outcome), flush=True)  # noqa: T201
    return 0 if outcome.good else 1


@dataclass
class World:
    """All that runs during a demo."""

    page: Page
    hub: Hub
    kit: KitProcess
    plant: PlantServer
    clock: Clock
    broker: ChildBroker

    def cook(self, until_done: bool) -> Outcome:
        """Hang the chubs and watch, until all are out (and, without `until_done`, until interrupted)."""
        began_s = time.monotonic()
        self._await_kit()
        self.hub.start_batch(plan())
        person = DemoPerson(self.hub, self.plant)
        outcome = Outcome(plan(), self.hub)
        said_s = 0.0
        try:
            while not (until_done and outcome.done):
                self._look(person, outcome)
                outcome.wall_s = time.monotonic() - began_s
                if outcome.wall_s - said_s >= (SAY_TTY_S if sys.stdout.isatty() else SAY_LOG_S):
                    said_s = outcome.wall_s
                    progress(outcome)
                if outcome.simulated_s > LIMIT_H * 3600.0:
                    break
                time.sleep(LOOK_S)
        except KeyboardInterrupt:
            pass
        outcome.kit_kib, outcome.runtime = self.kit.peak_kib(), self.kit.runtime
        progress(outcome, last=True)
        return outcome

    def _look(self, person: DemoPerson, outcome: Outcome) -> None:
        if not self.kit.alive():
            tail = " / ".join(self.kit.log_tail(3))
            raise HubError(f"The simulated kit ended by itself (code {self.kit.exit_code()}): {tail}")
        told = self.broker.poll()
        if told:
            print(told, file=sys.stderr)  # noqa: T201
        at_s, air_degC, _, cores = self.plant.truth()
        outcome.see(at_s, air_degC)
        for number, core_degC in person.go_out(cores):
            outcome.pulled(number, core_degC)

    def _await_kit(self) -> None:
        deadline_s = time.monotonic() + KIT_WAIT_S
        while self.hub.last_frame is None or not self.hub.watch.simulated:
            if not self.kit.alive() or time.monotonic() > deadline_s:
                tail = " / ".join(self.kit.log_tail(3)) or "it printed nothing"
                raise HubError(f"The simulated kit was not heard within {KIT_WAIT_S:.0f} s: {tail}")
            time.sleep(LOOK_S)


@contextmanager
def demo(args: argparse.Namespace, **smoker: Any) -> Iterator[World]:
    """Start everything, in order; end it in the reverse order, whatever happens. `smoker`: options of `Plant`."""
    with ExitStack() as stack:
        page = Page("127.0.0.1", args.port, frozenset(), None)
        stack.callback(page.stop)
        folder = args.keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="fiftyover-demo-")))
        clock = Clock(args.speed)
        store = Store(_fresh(folder) / RECORD, clock)
        stack.callback(store.close)
        broker = ChildBroker(args.broker, folder / "broker", accounts.fresh(KIT))
        stack.callback(broker.stop)
        broker.start()
        inbox: queue.Queue[Message | Link] = queue.Queue(20_000)
        client = BrokerClient(broker.address, store.hub_id, inbox, now_s=clock.monotonic_s)
        heater = Heater(store.hub_id, store.run_number, client.publish)
        live = Live()
        parts = Parts(clock, store, Inbox(store, clock, {KIT}), client, heater, live, KIT, simulated_only=True)
        hub = Hub(parts, inbox)
        client.start()
        stack.callback(client.stop)
        hub.start()
        stack.callback(hub.stop)
        plant = _plant(args.seed, args.speed, smoker)
        stack.callback(plant.stop)
        kit = _kit(broker, plant, store.hub_id, args)
        stack.callback(kit.close)
        page.start(live, HubDesk(hub, folder, None, page.address), clock.monotonic_s)
        plant.start()
        kit.start()
        yield World(page, hub, kit, plant, clock, broker)


def _fresh(folder: Path) -> Path:
    """The folder, unless it holds a demo already: a new one cannot go on with its smoker."""
    if (folder / RECORD).exists():
        raise HubError(f"--keep {folder}: there is the record of a demo already; name another folder.")
    return folder


def _plant(seed: int, speed: float, smoker: dict[str, Any]) -> PlantServer:
    world = Plant(seed, CHUBS, 45.0, WATTS, plan().cap_degC, **smoker)
    board = FakeBoard([circuit()] * (PROBES + 1), seed, read_noise_counts=0.0)
    return PlantServer(world, board, speed, relay_pin=RELAY_PIN, sounder_pin=SOUNDER_PIN)


def _kit(broker: ChildBroker, plant: PlantServer, hub_id: str, args: argparse.Namespace) -> KitProcess:
    where = broker.address_for(KIT)
    settings = kit_settings(hub_id, where.port, where.secret)
    return KitProcess(KitOptions(settings, plant.port, args.speed, force_cpython=args.cpython_kit))
