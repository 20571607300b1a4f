"""Three ways of taking the same waiting messages, each timed from its CONNECT to its last row on the disk.

`paho`: a counter, nothing read or kept. `sqlite`: json.loads, then the same columns into a table like ours, 500 rows a
transaction, on paho's thread; it checks nothing, dates nothing and acknowledges nothing beyond MQTT.
`ours`: the hub's own client, inbox and store, with every check, and the kit's acknowledgement published after the
commit; one commit per 500 messages as well.
"""

from __future__ import annotations

import json
import queue
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple
from unittest import mock

import paho.mqtt.client as paho
from queued import BOOT, KIT, Broker, kept, new_client, sign_in

from fiftyover.broker import client as hub_client
from fiftyover.broker.address import Address
from fiftyover.broker.notes import Link, Message
from fiftyover.clock import Clock
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover_kit.contract import messages, topics

LOT = 500
LIMIT_S = 120.0
_TABLE = """CREATE TABLE frames (kit TEXT NOT NULL, boot TEXT NOT NULL, seq INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
live INTEGER NOT NULL, up_ms INTEGER NOT NULL, element_on INTEGER NOT NULL, duty REAL NOT NULL, why TEXT NOT NULL,
t TEXT NOT NULL, s TEXT NOT NULL, PRIMARY KEY (kit, boot, seq)) STRICT, WITHOUT ROWID"""
_INSERT = "INSERT INTO frames VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"


class Taken(NamedTuple):
    """How long it took (s), by the clock and of our processor time, all threads; rows found in the file afterwards; and
    readings acknowledged to the kit."""

    taken_s: float
    cpu_s: float
    rows: int
    acknowledged: int


Way = Callable[[Broker, str, int, Path], Taken]


def paho_alone(broker: Broker, name: str, count: int, folder: Path) -> Taken:
    """Count what comes."""
    seen = 0

    def on_message(*_: object) -> None:
        nonlocal seen
        seen += 1

    began, cpu_s = time.perf_counter(), time.process_time()
    client = _connected(broker, name, on_message)
    _await(client, lambda: seen >= count)
    taken_s, cpu_s = time.perf_counter() - began, time.process_time() - cpu_s
    _sign_off(client)
    return Taken(taken_s, cpu_s, seen, 0)


def paho_sqlite(broker: Broker, name: str, count: int, folder: Path) -> Taken:
    """json.loads and a plain insert of what it gives, WAL, synchronous NORMAL (cheaper than ours, which is FULL)."""
    path = folder / f"{name}.sqlite"
    base = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = NORMAL")
    base.execute(_TABLE)
    lot: list[tuple[object, ...]] = []
    stored = 0

    def write() -> None:
        nonlocal stored
        base.execute("BEGIN")
        base.executemany(_INSERT, lot)
        base.execute("COMMIT")
        stored += len(lot)
        lot.clear()

    def on_message(_client: object, _data: object, message: paho.MQTTMessage) -> None:
        raw = json.loads(message.payload)
        kit = message.topic.split("/")[2]
        utc_ms = time.time_ns() // 1_000_000
        t, s = json.dumps(raw["t"]), json.dumps(raw["s"])
        lot.append(
            (kit, raw["boot"], raw["seq"], utc_ms, 1, raw["up"], raw["on"], raw["duty"], raw["why"], t, s)
        )  # fmt: skip
        if len(lot) >= LOT or stored + len(lot) == count:
            write()

    began, cpu_s = time.perf_counter(), time.process_time()
    client = _connected(broker, name, on_message)
    _await(client, lambda: stored >= count)
    taken_s, cpu_s = time.perf_counter() - began, time.process_time() - cpu_s
    _sign_off(client)
    base.close()
    return Taken(taken_s, cpu_s, _rows(path), 0)


def ours(broker: Broker, name: str, count: int, folder: Path, lot: int = LOT) -> Taken:
    """Client, inbox, store, acknowledgement: done when the last reading is committed and its ack handed over."""
    path = folder / f"{name}.sqlite"
    clock = Clock()
    store = Store(path, clock)
    incoming: queue.Queue[Message | Link] = queue.Queue()
    with mock.patch.object(hub_client, "_Session", _Resumed), closing(store):
        client = hub_client.BrokerClient(
            Address("127.0.0.1", broker.port, protocol="5"), name, incoming, now_s=clock.monotonic_s
        )
        inbox = Inbox(store, clock, {KIT})
        heard = _Kit(broker, name)
        durable: list[int] = []
        store.listeners.append(lambda keys: durable.append(len(keys)))
        began, cpu_s = time.perf_counter(), time.process_time()
        client.start()
        waiting = 0
        while sum(durable) < count:
            item = incoming.get(timeout=LIMIT_S)
            if isinstance(item, Message):
                inbox.handle(item.topic, item.payload, item.retained, item.arrived_s)
                waiting += 1
            if waiting >= lot or sum(durable) + waiting == count:
                waiting = 0
                store.commit()
                for kit, ack in inbox.acks_due():
                    assert client.publish(topics.ack_set(kit), messages.encode_ack(ack), 0)
        taken_s, cpu_s = time.perf_counter() - began, time.process_time() - cpu_s
        acknowledged = heard.acknowledged(count)
        client.stop()
        assert client.counters.faults == client.counters.lost_in == 0, client.counters
    return Taken(taken_s, cpu_s, _rows(path), acknowledged)


def each_committed(broker: Broker, name: str, count: int, folder: Path) -> Taken:
    """Ours with a commit for every message: what must not come about."""
    return ours(broker, name, count, folder, lot=1)


WAYS: dict[str, Way] = {"paho": paho_alone, "sqlite": paho_sqlite, "ours": ours}


class _Resumed(hub_client._Session):
    """The hub's session, but one that the broker kept: the hub's own begins anew each time, and nothing would wait."""

    def _connect(self, client: paho.Client) -> None:
        properties = kept()
        properties.MaximumPacketSize = hub_client.PACKET_MAX_BYTES
        address = self.owner.address
        client.connect(address.host, address.port, self.owner.keepalive_s, clean_start=False, properties=properties)


class _Kit:
    """Hears the acknowledgements, as the kit would."""

    def __init__(self, broker: Broker, name: str) -> None:
        self._numbers: set[int] = set()
        self._ready = False
        self._client = new_client(f"{name}-ear")
        self._client.on_connect = lambda client, *_: client.subscribe(topics.ack_set(KIT), 1)
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", broker.port)
        while not self._ready:
            self._client.loop(0.05)

    def _on_subscribe(self, *_: object) -> None:
        self._ready = True

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        ack = messages.decode_ack(message.payload)
        assert ack["boot"] == BOOT
        for first, last in ack["got"]:
            self._numbers.update(range(first, last + 1))

    def acknowledged(self, count: int) -> int:
        """Different readings acknowledged; read after the time was taken, so that it costs the hub nothing."""
        end = time.monotonic() + 10.0
        while len(self._numbers) < count and time.monotonic() < end:
            self._client.loop(0.05)
        self._client.disconnect()
        return len(self._numbers)


def _connected(broker: Broker, name: str, on_message: Callable[..., None]) -> paho.Client:
    client = new_client(name)
    client.on_message = on_message
    sign_in(client, broker.port)
    return client


def _await(client: paho.Client, done: Callable[[], bool]) -> None:
    end = time.monotonic() + LIMIT_S
    while not done():
        assert client.loop(1.0) == paho.MQTT_ERR_SUCCESS
        assert time.monotonic() < end, "the messages do not come"


def _sign_off(client: paho.Client) -> None:
    """Say goodbye once the broker has read every acknowledgement: it reads in order, and answers what comes last."""
    read: list[bool] = []
    client.on_publish = lambda *_: read.append(True)
    client.publish("bench/last", b"", 1)
    _await(client, lambda: bool(read))
    client.disconnect()
    while client.loop(0.2) == paho.MQTT_ERR_SUCCESS:
        pass


def _rows(path: Path) -> int:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as other:
        return int(other.execute("SELECT count(*) FROM frames WHERE kit = ?", (KIT,)).fetchone()[0])
