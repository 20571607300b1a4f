"""The real hub in a process of its own, to be killed: python hub_process.py CONFIG.json

Made of the parts that `serve` and `demo` are made of. What it publishes to the kit is written to a log before it is
published, so that whoever kills it knows what was promised. Its clock may run faster; then every process of one stand
shares one clock, as processes share the machine's.
"""

import base64
import json
import os
import queue
import signal
import sys
import threading
import time
from pathlib import Path

from fiftyover.app.hub import Hub
from fiftyover.app.parts import Parts
from fiftyover.batch.written import plan_from_data
from fiftyover.broker.address import Address
from fiftyover.broker.client import BrokerClient
from fiftyover.clock import Clock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live

TELL_S = 0.2


class SharedClock(Clock):
    """A sped-up clock that goes on over restarts of the hub."""

    def __init__(self, speed, start_s, utc_start_ms, name):
        super().__init__(speed)
        if speed != 1.0:
            self._start_s = start_s
            self._uuid = name
            self._utc_zero_ms = utc_start_ms - round(start_s * 1000)


class Log:
    """Lines of JSON that outlive the process: one write() each."""

    def __init__(self, path):
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    def say(self, kind, **more):
        line = json.dumps({"kind": kind, "at": time.monotonic(), "pid": os.getpid(), **more}) + "\n"
        os.write(self._file, line.encode())


def rss_kib():
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    return 0


def main(config):
    log = Log(config["log"])
    clock = SharedClock(config["speed"], config["start_s"], config["utc_start_ms"], config["clock_name"])
    store = Store(Path(config["store"]), clock, config["reserve_bytes"])
    inbox = queue.Queue(20_000)
    client = BrokerClient(Address(**config["broker"]), store.hub_id, inbox, now_s=clock.monotonic_s)
    kit = config["kit"]

    def publish(topic, payload, qos=1, retain=False):
        log.say("sent", topic=topic, payload=base64.b64encode(payload).decode())
        return client.publish(topic, payload, qos, retain)

    heater = Heater(store.hub_id, store.run_number, publish)
    parts = Parts(clock, store, Inbox(store, clock, {kit}), _Watched(client, publish), heater, Live(), kit)
    hub = Hub(parts, inbox)
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    client.start()
    hub.start()
    if config["plan"] is not None and hub.state is None:
        hub.start_batch(plan_from_data("7f2c0001", config["plan"]))
    hanging = list(hub.state.book.hanging) if hub.state else []
    log.say("started", hub=store.hub_id, run=store.run_number, hanging=hanging)
    while not ended.wait(TELL_S):
        shown = json.loads(parts.live.latest()[1]) if parts.live.latest()[1] else {}
        log.say(
            "state",
            alarms=[one["text"] if isinstance(one, dict) else one for one in shown.get("alarms", [])],
            heater=shown.get("heater", ""),
            faults=hub.faults,
            rss_kib=rss_kib(),
            problem=str(store.problem or ""),
            why=hub.state.why if hub.state else "",
            events=[event.kind for event in hub.state.book.log] if hub.state else [],
            utc_ms=clock.utc_ms(),
        )
    hub.stop()
    client.stop()
    store.close()


class _Watched:
    """The client, with `publish` written down first."""

    def __init__(self, client, publish):
        self._client, self.publish = client, publish

    def __getattr__(self, name):
        return getattr(self._client, name)


if __name__ == "__main__":
    main(json.loads(Path(sys.argv[1]).read_text()))
