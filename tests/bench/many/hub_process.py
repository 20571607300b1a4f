"""The hub of many smokers in a process of its own: python hub_process.py CONFIG.json; lines of JSON, in and out.

Made of the parts that `serve` is made of. It is watched from outside its threads: when a message arrived, when the
permit that it led to was handed to the client, and when paho had written it to the socket.
"""

from __future__ import annotations

import cProfile
import json
import queue
import sys
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from fiftyover.app.parts import Parts
from fiftyover.app.yard import Yard
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker import client as broker_client
from fiftyover.broker.address import Address
from fiftyover.broker.client import BrokerClient
from fiftyover.broker.notes import Message
from fiftyover.clock import Clock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live

CHUBS, PROBED = 8, 7


class Times:
    """Seconds from the arrival of a live frame, of everything since the last `clear`."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.item: Message | None = None
        self._mids: dict[int, float] = {}
        self._early: deque[tuple[int, float]] = deque(maxlen=2000)
        self._lock = threading.Lock()
        self.clear()

    def clear(self) -> None:
        self.handed_s: list[float] = []
        self.written_s: list[float] = []
        self.commits_s: list[float] = []
        self.most_waiting = 0

    def handed(self, topic: str) -> None:
        if topic.endswith("heater/grant/set") and self.item is not None:
            self.handed_s.append(self.clock.monotonic_s() - self.item.arrived_s)

    def published(self, topic: str, mid: int) -> None:
        """paho took a message; it may have written it already."""
        if not topic.endswith("heater/grant/set") or self.item is None:
            return
        with self._lock:
            early = [at_s for one, at_s in self._early if one == mid]
            if early:
                self.written_s.append(early[-1] - self.item.arrived_s)
            else:
                self._mids[mid] = self.item.arrived_s

    def written(self, mid: int) -> None:
        now_s = self.clock.monotonic_s()
        with self._lock:
            arrived_s = self._mids.pop(mid, None)
            if arrived_s is None:
                self._early.append((mid, now_s))
            else:
                self.written_s.append(now_s - arrived_s)


def watch_paho(times: Times) -> None:
    """Note when a permit is written to the socket: paho says so of a QoS 0 message when its last byte went out."""
    publish, on_publish = paho.Client.publish, broker_client._Session._on_publish

    def noted_publish(self: Any, topic: str, *args: Any, **more: Any) -> Any:
        info = publish(self, topic, *args, **more)
        times.published(topic, info.mid)
        return info

    def noted_on_publish(self: Any, client: Any, data: Any, mid: int, *more: Any) -> None:
        times.written(mid)
        on_publish(self, client, data, mid, *more)

    paho.Client.publish = noted_publish  # type: ignore[method-assign]
    broker_client._Session._on_publish = noted_on_publish  # type: ignore[method-assign]


class WatchedYard(Yard):
    """Tells the message that is being decided on; with a profile, of its own thread only."""

    times: Times
    profile: cProfile.Profile | None = None
    profiled = False

    def step(self, item: Any) -> None:
        if self.profile is not None and not self.profiled:
            self.profiled = True
            self.profile.enable()
        self.times.item = item if isinstance(item, Message) else None
        self.times.most_waiting = max(self.times.most_waiting, self.inbox.qsize())
        super().step(item)


class WatchedStore(Store):
    """Times each commit: its feeders, the transaction and the disk."""

    times: Times | None = None

    def commit(self) -> Any:
        began_s = time.monotonic()
        keys = super().commit()
        if self.times is not None and keys:
            self.times.commits_s.append(time.monotonic() - began_s)
        return keys


def plan(kit: str, number: int) -> Plan:
    """Eight slim chubs, seven of them probed."""
    hung = tuple(Chub(n, "slim", 45.0, f"hook {n}", n if n <= PROBED else None) for n in range(1, CHUBS + 1))
    return Plan(
        batch_id=f"b{number:07d}", name=f"Pork with mace, {kit}", chubs=hung, cap_degC=82.2, relay="solid-state",
        element_watts=800.0,
    )  # fmt: skip


def memory_mib() -> float:
    for line in Path("/proc/self/status").read_text("utf-8").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


def main(config: dict[str, Any]) -> None:
    kits = list(config["kits"])
    clock = Clock()
    times = Times(clock)
    watch_paho(times)
    store = WatchedStore(Path(config["store"]), clock)
    store.times = times
    inbox: queue.Queue[Any] = queue.Queue(max(20_000, 200 * len(kits)))
    client = BrokerClient(
        Address(**config["broker"]), store.hub_id, inbox, now_s=clock.monotonic_s, out_max=256 + 4 * len(kits)
    )

    def publish(topic: str, payload: bytes, qos: int, retain: bool) -> bool:
        times.handed(topic)
        return client.publish(topic, payload, qos, retain)

    def heater() -> Heater:
        return Heater(store.hub_id, store.run_number, publish)

    parts = Parts(clock, store, Inbox(store, clock, set(kits)), client, heater(), Live())
    yard = WatchedYard(parts, kits, inbox, heater)
    yard.times, yard.inbox = times, inbox  # type: ignore[attr-defined]
    if config["profile"]:
        yard.profile = cProfile.Profile()
    client.start()
    yard.start()
    say({"up": client.up})
    obey(yard, client, store, times)
    yard.stop()
    client.stop()
    store.close()
    if yard.profile is not None:
        yard.profile.dump_stats(config["profile"])


def obey(yard: WatchedYard, client: BrokerClient, store: WatchedStore, times: Times) -> None:
    """Do what standard input says, line by line, until it ends."""
    cpu_s, wall_s = time.process_time(), time.monotonic()
    for line in sys.stdin:
        word = line.strip()
        if word == "begin":
            for number, (kit, hub) in enumerate(yard.smokers.items()):
                if hub.state is None:
                    hub.start_batch(plan(kit, number))
            say({"begun": sum(hub.cooking for hub in yard.smokers.values())})
        elif word == "ready":
            said = sum(h.watch.cap_degC is not None and h.last_frame is not None for h in yard.smokers.values())
            say({"ready": said, "taken_up": yard.taken_up})
        elif word == "watch":
            times.clear()
            cpu_s, wall_s = time.process_time(), time.monotonic()
            say({})
        elif word == "report":
            used = {"cpu_s": time.process_time() - cpu_s, "wall_s": time.monotonic() - wall_s}
            say(used | report(yard, client, store, times))
        else:
            break


def report(yard: WatchedYard, client: BrokerClient, store: WatchedStore, times: Times) -> dict[str, Any]:
    return {
        "handed_s": times.handed_s,
        "written_s": times.written_s,
        "commits_s": times.commits_s,
        "most_waiting": times.most_waiting,
        "memory_mib": memory_mib(),
        "lost_in": client.counters.lost_in,
        "refused_out": client.counters.refused_out,
        "faults": yard.faults + sum(hub.faults for hub in yard.smokers.values()),
        "forecasts": sum(hub.foresight._told is not None for hub in yard.smokers.values()),
        "turned_away": store.turned_away,
        "whys": sorted({hub.state.why for hub in yard.smokers.values() if hub.state is not None}),
    }


def say(what: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(json.loads(Path(sys.argv[1]).read_text("utf-8")))
