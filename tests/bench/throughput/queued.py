"""A real mosquitto that holds readings of a kit for a client that is away: a persistent session, QoS 1."""

from __future__ import annotations

import getpass
import itertools
import time
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from fiftyover_kit.contract import messages, topics
from servers.running import Process, free_port, program

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
KEPT_S = 3600  # how long the broker keeps the session of a client that is away
AGAIN_S = 0.5  # a broker sends what is unacknowledged at once after the sign-in
LIMIT_S = 120.0
_names = itertools.count(1)


def kept() -> Properties:
    """CONNECT properties of a session that outlives its connection."""
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = KEPT_S
    return properties


def new_client(name: str) -> paho.Client:
    return paho.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5)


def sign_in(client: paho.Client, port: int) -> None:
    """Connect to the session that the broker keeps, or begin one."""
    client.connect("127.0.0.1", port, 60, clean_start=False, properties=kept())


def readings(count: int, probes: int) -> list[bytes]:
    """Messages of one kit, one a second, as the contract writes them."""
    words = ["ok"] * (probes - 1) + ["open"]
    return [
        messages.encode_frame(
            {
                "v": 1,
                "boot": BOOT,
                "seq": n,
                "up": n * 1000 % (1 << 30),
                "t": [round(60.0 + 7.3 * p + 0.01 * (n % 997), 2) for p in range(probes - 1)] + [None],
                "s": words,
                "on": n % 2,
                "duty": round(n % 100 / 100, 2),
                "why": "on",
                "left": 15,
                "thinned": 0,
                "dropped": 0,
            }
        )
        for n in range(count)
    ]


class Broker(Process):
    """mosquitto 2 without accounts; whatever waits for a client that is away is kept. Else as Debian ships it."""

    def __init__(self, folder: Path) -> None:
        port = free_port()
        (folder / "mosquitto.conf").write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\nuser {getpass.getuser()}\npersistence false\n"
            "max_queued_messages 0\nmax_queued_bytes 0\nset_tcp_nodelay true\nsys_interval 0\nlog_type error\n"
        )
        super().__init__([program("mosquitto"), "-c", str(folder / "mosquitto.conf")], port, folder / "mosquitto.log")

    def queue(self, payloads: list[bytes]) -> str:
        """Let the readings wait in a new session; its client id."""
        name = f"bench-{next(_names)}"
        ready: list[bool] = []
        away = new_client(name)
        away.on_connect = lambda client, *_: client.subscribe([(one, 1) for one in topics.hub_hears()])
        away.on_subscribe = lambda *_: ready.append(True)
        sign_in(away, self.port)
        _turn(away, lambda: bool(ready))
        away.disconnect()
        _turn(away, lambda: not away.is_connected())
        taken = 0

        def count(*_: object) -> None:
            nonlocal taken
            taken += 1

        kit = new_client(f"{name}-kit")
        kit.max_queued_messages_set(0)
        kit.on_publish = count
        kit.connect("127.0.0.1", self.port)
        kit.loop_start()
        for payload in payloads:
            kit.publish(topics.frame_sample(KIT), payload, 1)
        _until(lambda: taken == len(payloads))
        kit.disconnect()
        kit.loop_stop()
        return name

    def left_over(self, name: str) -> int:
        """How many messages the broker still holds for the client: it sends them again. Its session ends here."""
        found: list[bytes] = []
        flags: list[bool] = []
        client = new_client(name)
        client.on_connect = lambda _client, _data, flag, *_: flags.append(flag.session_present)
        client.on_message = lambda _client, _data, message: found.append(message.payload)
        sign_in(client, self.port)
        end = time.monotonic() + AGAIN_S
        while time.monotonic() < end:
            client.loop(0.05)
        assert flags == [True], "the broker no longer knows the session, so nothing can be said of it"
        gone = Properties(PacketTypes.DISCONNECT)
        gone.SessionExpiryInterval = 0
        client.disconnect(properties=gone)
        _turn(client, lambda: not client.is_connected())
        return len(found)


def _turn(client: paho.Client, done: object) -> None:
    end = time.monotonic() + LIMIT_S
    while not done():  # type: ignore[operator]
        client.loop(0.05)
        assert time.monotonic() < end, "the broker does not answer"


def _until(done: object) -> None:
    end = time.monotonic() + LIMIT_S
    while not done():  # type: ignore[operator]
        assert time.monotonic() < end, "the broker takes no more messages"
        time.sleep(0.005)
