"""The whole way of a reading: a kit that speaks the contract, mosquitto with accounts, `fiftyover serve`."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from fiftyover.broker import accounts, mosquitto
from fiftyover.broker.accounts import Account
from fiftyover.broker.address import write_secret
from fiftyover_kit.contract import limits, messages, topics
from servers.running import Process, free_port, program

LIVE_S = 0.2  # five readings a second: what takes an hour in a smoker takes minutes here, on the kit's true ticks
OLDER = 300  # readings that the kit took before it found its broker, one a second
TEN = limits.BACKLOG_MAX_FRAMES
PLAN = """name = "Smoked ring of {kit}"
cap_degC = 82.0
relay = "solid-state"
element_watts = 800.0
chubs = [
  {{number = 1, diameter_mm = 61.0, line = "middle", place = "hook 1", probe = 1}},
  {{number = 2, diameter_mm = 61.0, line = "middle", place = "hook 2", probe = 2}},
]
"""


def until(true: Callable[[], Any], seconds: float = 25.0, why: Callable[[], str] = lambda: "") -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, f"it did not come: {why()}"
        time.sleep(0.05)


class Broker(Process):
    """mosquitto as `setup` configures it, with an account for each hub beside those of the kits.

    `hubs`: the kits of each hub by its account's name. A hub reads and writes what belongs to its own kits only: these
    are the lines that `hub/MANY_KITS.md` gives.
    """

    def __init__(self, folder: Path, hubs: dict[str, list[str]]) -> None:
        folder.mkdir()
        kits = [kit for mine in hubs.values() for kit in mine]
        people = accounts.fresh(*kits)[1:] + [Account(hub, f"secret-of-{hub}-{os.urandom(8).hex()}") for hub in hubs]
        self.secrets = {one.user: one.secret for one in people}
        port = free_port()
        mosquitto.write(folder, accounts.fresh(*kits)[1:], [mosquitto.Listener("127.0.0.1", port)])
        write_secret(folder / "passwords", accounts.password_lines(people))
        rights = [accounts.access_lines([Account(kit, "") for kit in kits])]
        for hub, mine in hubs.items():
            rights.append(f"user {hub}\n")
            rights += [f"topic read {topics.ROOT}/{kit}/#\ntopic write {topics.ROOT}/{kit}/+/+/set\n" for kit in mine]
        write_secret(folder / "access", "".join(rights))
        super().__init__([program("mosquitto"), "-c", str(folder / "mosquitto.conf")], port, folder / "mosquitto.log")

    def client(self, user: str) -> paho.Client:
        made = paho.Client(CallbackAPIVersion.VERSION2, client_id=user, protocol=paho.MQTTv5)
        made.username_pw_set(user, self.secrets[user])
        return made


class Kit:
    """A kit's half of the contract: live readings, older ones ten at a time, both again until they are acknowledged."""

    def __init__(self, broker: Broker, name: str, probes: int = 3, first_degC: float = 40.0) -> None:
        self.name, self.probes, self.first_degC = name, probes, first_degC
        self.boot = os.urandom(6).hex()
        self.sent: dict[int, dict[str, Any]] = {}
        self.acknowledged: set[int] = set()
        self.permits: list[dict[str, Any]] = []
        self.stops: list[bytes] = []
        self._older = 0
        self._next = OLDER
        self._began_s = time.monotonic()
        self._halt = threading.Event()
        self._client = broker.client(name)
        self._client.on_connect = lambda client, *_: client.subscribe([(one, 1) for one in topics.kit_hears(name)])
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        for rest, text in (("$state", "ready"), ("sys/cap", "100.0"), ("sys/simulated", "true")):
            self._client.publish(f"{topics.ROOT}/{name}/{rest}", text, 1, retain=True)
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def tell_older(self, most: int) -> None:
        """So many of the older readings, oldest first."""
        for _ in range(0, most, TEN):
            numbers = range(self._older, self._older + TEN)
            self._older += TEN
            self._backlog([self._made(n, n * 1000) for n in numbers])

    def finish(self) -> None:
        """No further reading; what was lost on the way is sent again until all are acknowledged."""
        self._halt.set()
        self._thread.join()
        end = time.monotonic() + 20.0
        while missing := sorted(set(self.sent) - self.acknowledged):
            assert time.monotonic() < end, f"{self.name}: {len(missing)} readings are not acknowledged"
            time.sleep(2.0)
            missing = sorted(set(self.sent) - self.acknowledged)
            for start in range(0, len(missing), TEN):
                self._backlog([self.sent[n] for n in missing[start : start + TEN]])

    def close(self) -> None:
        self._halt.set()
        self._client.disconnect()
        self._client.loop_stop()

    def core_degC(self, seq: int) -> float:
        """What probe 2 said in a reading."""
        return float(self.sent[seq]["t"][1])

    def _made(self, seq: int, up_ms: int) -> dict[str, Any]:
        cores = [round(self.first_degC + 0.01 * seq + p, 2) for p in range(self.probes - 1)]
        frame = {"seq": seq, "up": up_ms, "t": [round(60.0 + 0.005 * seq, 2), *cores], "s": ["ok"] * self.probes}
        self.sent[seq] = {**frame, "on": seq % 2, "duty": 0.5, "why": "on"}
        return self.sent[seq]

    def _live(self) -> None:
        began_ms = OLDER * 1000
        while not self._halt.wait(LIVE_S):
            up_ms = began_ms + round((time.monotonic() - self._began_s) * 1000)
            frame = {"v": 1, "boot": self.boot, **self._made(self._next, up_ms), "left": 0, "thinned": 0, "dropped": 0}
            self._next += 1
            self._client.publish(topics.frame_sample(self.name), messages.encode_frame(frame), 1)

    def _backlog(self, frames: list[dict[str, Any]]) -> None:
        told = messages.encode_backlog({"v": 1, "boot": self.boot, "frames": frames})
        self._client.publish(topics.frame_backlog(self.name), told, 1)

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        if message.topic == topics.ack_set(self.name):
            for first, last in messages.decode_ack(message.payload)["got"]:
                self.acknowledged.update(range(first, last + 1))
        elif message.topic == topics.grant_set(self.name):
            self.permits.append(messages.decode_grant(message.payload))
        else:
            self.stops.append(message.payload)


class Hub:
    """`fiftyover serve` as a process, with a batch that hangs; its database is `url`, its broker `shared` or not."""

    def __init__(self, folder: Path, broker: Broker, user: str, kit: str, url: str, shared: bool) -> None:
        folder.mkdir()
        self.folder, self.record = folder, folder / "record.sqlite"
        write_secret(folder / "password", broker.secrets[user] + "\n")
        (folder / "batch.toml").write_text(PLAN.format(kit=kit), "utf-8")
        (folder / "hub.toml").write_text(
            f'[broker]\nport = {broker.port}\nuser = "{user}"\npassword_file = "password"\n'
            f"shared = {str(shared).lower()}\n"
            f'[web]\nport = 0\n[store]\npath = "record.sqlite"\nreserve_mib = 0\n[kit]\nid = "{kit}"\n'
            f'[influx]\nurl = "{url}"\ntimeout_s = 5.0\n',
            "utf-8",
        )
        self.page = ""
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        words = [sys.executable, "-m", "fiftyover", "serve", "--settings", "hub.toml", "--batch", "batch.toml"]
        with (self.folder / "out").open("wb") as out, (self.folder / "errors").open("wb") as errors:
            self.process = subprocess.Popen(words, cwd=self.folder, stdout=out, stderr=errors)
        until(self._says_page, why=self.errors)
        until(lambda: self.batch() != "", why=self.errors)

    def _says_page(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, self.errors()
        text = (self.folder / "out").read_text()
        self.page = text.partition("The page: ")[2].partition("\n")[0]
        return bool(self.page) and text.endswith("\n")

    def errors(self) -> str:
        return (self.folder / "errors").read_text()[-2000:]

    def ask(self, path: str, given: dict[str, Any] | None = None) -> Any:
        """The API's answer; with `given` a mark."""
        token = "" if given is None else self.ask("/api/v1/session")["token"]
        data = None if given is None else json.dumps(given).encode()
        headers = {"content-type": "application/json", "x-fiftyover-token": token}
        wish = urllib.request.Request(self.page.rstrip("/") + path, data, headers)
        with urllib.request.urlopen(wish, timeout=10) as answer:
            return json.load(answer)

    def batch(self) -> str:
        """Id of its batch, "" before it began."""
        return str(next((one["id"] for one in self.ask("/api/v1/batches")), ""))

    def end(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
            self.process = None
