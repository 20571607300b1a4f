"""The kit's link on a fake kit, board, client and clock, for the tests of link.py."""

import asyncio

from fiftyover_kit import link
from fiftyover_kit.backlog import Backlog
from fiftyover_kit.contract import limits, messages

KIT = "kit-3f2a"
ROOT = f"homie/5/{KIT}/"
BOOT = "9f3c1a02b7e4"


class Client:
    """Takes the place of mqtt.Client: keeps what is published; `stuck` leaves it waiting."""

    def __init__(self, host, port, client_id, heard):
        self.host, self.port, self.client_id, self.topics = host, port, client_id, heard
        self.up = False
        self.said = []
        self.stuck = []
        self.is_stuck = False

    def publish(self, topic, payload, retain=False, first=False):
        if not self.up:
            return False
        whole = payload if isinstance(payload, bytes) else b"".join(payload)
        self.said.append((topic, whole, retain))
        if self.is_stuck:
            self.stuck.append(topic)
        return True

    def waiting(self):
        return len(self.stuck)

    def pending(self, topic):
        return topic in self.stuck

    async def run(self):
        await asyncio.sleep(60)


class Settings:
    def __init__(self, wifi=None, channels=3, host="192.0.2.7"):
        self.kit = KIT
        self.wifi = wifi
        self.channels = [None] * channels
        self.broker = {"host": host, "port": 1883, "user": "u", "password": "p", "tls": False, "ca": ""}


class Board:
    def __init__(self):
        self.wifi = 1
        self.starts = []

    def ticks_ms(self):
        return 4242

    def wifi_up(self):
        return self.wifi

    def wifi_start(self, ssid, password):
        self.starts.append((ssid, password))


class Kit:
    def __init__(self, channels=3):
        self.boot = BOOT
        self.backlog = Backlog(channels)
        self.alerts = {}
        self.values = {"heater/state": "off"}
        for number in range(1, channels + 1):
            self.temperature(number, "20.00")
        self.heard = []
        self.links = []
        self.seq = -1

    def temperature(self, number, text, status="ok"):
        self.values[f"probe-{number}/temperature"] = text
        self.values[f"probe-{number}/status"] = status

    def record(self):
        self.seq += 1
        count = self.backlog.channels
        self.backlog.push(self.seq, self.seq * 1000, [2000] * count, [0] * count, 0, 0, 1)

    def live(self):
        frame = {"v": 1, "boot": BOOT, "left": 0, "thinned": 0, "dropped": 0}
        return messages.encode_frame({**frame, **self.backlog.newest()})

    def homie_values(self):
        return dict(self.values)

    def on_message(self, *arguments):
        self.heard.append(arguments)

    def on_link(self, up, now_ms):
        self.links.append((up, now_ms))


class Stage:
    """A link on a fake kit, board, client and clock."""

    def __init__(self, monkeypatch, **settings):
        self.now = (1 << 30) - 3000  # the clock wraps in the middle of every test
        monkeypatch.setattr(link, "link_ms", lambda: self.now)
        monkeypatch.setattr(link.mqtt, "Client", Client)
        self.kit, self.board = Kit(settings.get("channels", 3)), Board()
        self.link = link.Link(self.kit, self.board, Settings(**settings))
        self.client = self.link.client

    def connect(self):
        self.client.up = True
        self.client.on_up()

    def run(self, seconds, record=False):
        """Steps ten times a second; returns what was published meanwhile as (topic below the kit, payload)."""
        self.client.said.clear()
        for tenth in range(round(seconds * 10)):
            if record and tenth % 10 == 0:
                self.kit.record()
            self.link.step()
            self.now = (self.now + 100) & limits.TICK_MASK
        return [(topic.removeprefix(ROOT), payload) for topic, payload, _ in self.client.said]


def of(said, name):
    return [payload for topic, payload in said if topic == name]
