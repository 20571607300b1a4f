"""A Kit on a board that is nothing but a table of counts, with a clock and a hub to talk to it."""

import json

from fiftyover_kit import settings
from fiftyover_kit.contract import messages, thermistor
from fiftyover_kit.contract.limits import TICK_MASK, ticks_add
from fiftyover_kit.loop import Kit

POINTS = [[0, 326600], [50, 35830], [100, 6710]]
SERIES_OHM = 22000
CURVE = thermistor.from_points([tuple(pair) for pair in POINTS])
HUB, STRANGER = "c01d0001", "beef0002"
GRANT, STOP, ACK = "heater/grant/set", "heater/stop/set", "frame/ack/set"


def counts(degC, reads=64):
    return thermistor.counts_from_degC(CURVE, degC, SERIES_OHM, reads)


def channel(number, **changed):
    return {
        "input": number,
        "series_ohm": SERIES_OHM,
        "thermistor": {"points": POINTS},
        "calibrated": True,
    } | changed


def settings_text(**changed):
    given = {
        "kit": "kit-3f2a",
        "hub": "",
        "relay": "solid-state",
        "wifi": None,
        "broker": {"host": "127.0.0.1", "port": 1883, "user": "", "password": "", "tls": False, "ca": ""},
        "pins": {},
        "channels": [channel(number) for number in range(9)],
    }
    return json.dumps(given | changed)


class TableBoard:
    """Readings from a table, with some counts of noise so that nothing is stuck; `calls` is what it was told."""

    simulated = True
    speed = 1

    def __init__(self, channels=9, degC=60.0):
        self.degC = [degC] + [20.0] * (channels - 1)
        self.raw = {}  # channel -> counts, instead of a temperature
        self.pressed = 0
        self.flag = 0
        self.flag_fails = False
        self.calls = []
        self.on = self.sounding = 0
        self.reads = [0] * channels
        self._noise = 0

    def read_sum(self, channel, n):
        assert n >= 64
        self.reads[channel] += 1
        self._noise = (self._noise + 1) % 5
        return self.raw.get(channel, counts(self.degC[channel], n)) + self._noise

    def relay(self, on, until_ms=0):
        self.calls.append(("relay", on))
        self.on = on

    def feed(self):
        self.calls.append("feed")

    def button(self):
        return self.pressed

    def sounder(self, on):
        self.sounding = on

    def lamp(self, code):
        self.calls.append(("lamp", code))

    def boot_id(self):
        return "9f3c1a02b7e4"

    def reset_cause(self):
        return "power-on"

    def heap_free(self):
        return 100_000

    def rssi(self):
        return -61

    def latch_read(self):
        return self.flag

    def latch_write(self, on):
        self.calls.append(("flag", on))
        if self.flag_fails:
            raise OSError(28, "no space")
        self.flag = on


class Rig:
    """The kit at work: `run` ticks and records; `grant`, `stop`, `ack` are a hub's words."""

    def __init__(self, start_ms=TICK_MASK - 30_000, board=None, **changed):
        self.board = board or TableBoard()
        self.now = start_ms
        self.settings = settings.load(settings_text(**changed))
        self.kit = Kit(self.settings, self.board, self.now)
        self.kit.on_link(True, self.now)
        self.ticks = self.seq = 0
        self.granting = None  # a duty: the hub grants it every 5 s

    def run(self, seconds):
        for _ in range(int(seconds * 4)):
            self.now = ticks_add(self.now, 250)
            self.ticks += 1
            self.kit.tick(self.now)
            if self.ticks % 4 == 0:
                self.kit.record(self.now)
            if self.granting is not None and self.ticks % 20 == 0:
                self.grant(self.granting)
        return self

    def frame(self):
        return messages.decode_frame(self.kit.live())

    def say(self, rest, payload, retained=False):
        self.kit.on_message(rest, payload, retained, self.now)

    def grant(self, duty=0.5, hub=HUB, retained=False, **changed):
        self.seq += 1
        message = {"v": 1, "hub": hub, "boot": self.kit.boot, "seq": self.seq, "up": self.now, "ttl": 15, "duty": duty}
        self.say(GRANT, json.dumps(message | changed).encode(), retained)

    def stop(self, hub=HUB, retained=False, **changed):
        message = {"v": 1, "hub": hub, "boot": self.kit.boot, "seq": self.seq}
        self.say(STOP, json.dumps(message | changed).encode(), retained)

    def ack(self, got, hub=HUB, retained=False, **changed):
        message = {"v": 1, "hub": hub, "boot": self.kit.boot, "got": got}
        self.say(ACK, json.dumps(message | changed).encode(), retained)

    def press(self, seconds):
        self.board.pressed = 1
        self.run(seconds)
        self.board.pressed = 0
        self.run(0.5)

    @property
    def why(self):
        return self.frame()["why"]


def heating(**changed):
    """A kit whose relay has just been closed by a grant of full duty, renewed every 5 s."""
    rig = Rig(**changed)
    rig.granting = 1.0
    rig.run(12)
    assert rig.board.on == 1
    return rig
