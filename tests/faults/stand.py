"""One test stand: real mosquitto, the firmware in real MicroPython, the hub in a process of its own, a proxy between.

The plant is cold and lossy on purpose, so that the hub asks for full duty all the time: the element is off only if
something took the heat away. Times are of time.monotonic(), real seconds; a permit's 15 s are 2 s at SPEED.
"""

import base64
import contextlib
import json
import os
import secrets
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

from faults.proxy import Proxy
from fiftyover.broker import accounts
from fiftyover.broker.child import ChildBroker
from fiftyover.rehearse.fake_board import FakeBoard
from fiftyover.rehearse.kit_process import KitOptions, KitProcess
from fiftyover.rehearse.plant import Plant
from fiftyover.rehearse.scenario import SERIES_OHM, THERMISTOR_POINTS, circuit
from fiftyover.rehearse.wire import PlantServer
from fiftyover_kit.contract import limits

KIT = "kit-3f2a"
SPEED = limits.TTL_S / 2.0  # a permit of 15 s lasts 2 s
RELAY, BUTTON, SOUNDER, LAMP = 2, 3, 4, 5
CHUBS = 2
PLAN = {
    "name": "fault stand",
    "chubs": [{"number": n, "diameter_mm": 100.0, "line": "stout", "place": f"hook {n}", "probe": n} for n in (1, 2)],
    "cap_degC": 90.0,
    "lift_kelvin": 45.0,
    "relay": "solid-state",
    "element_watts": 800.0,
}
# Never warm enough: +30 K at full power, under a target of 45 K over the meat.
SMOKER = {"quiet": True, "loss_factor": 5.0, "capacity_factor": 3.0, "ambient_degC": 5.0, "start_degC": 5.0}
CAP_DEGC = 100.0


class PinLog(FakeBoard):
    """The circuit, with each change of the relay's pin written down in real time."""

    def __init__(self, *args, **more):
        super().__init__(*args, **more)
        self.pin_log = []

    def relay(self, on, until_ms=0):
        if on != self.relay_state:
            self.pin_log.append((time.monotonic(), 1 if on else 0))
        super().relay(on)


def kit_settings(hub_id, port, secret):
    channel = {"series_ohm": SERIES_OHM, "thermistor": {"points": THERMISTOR_POINTS}, "calibrated": True}
    return {
        "kit": KIT,
        "hub": hub_id,
        "cap_degC": CAP_DEGC,
        "relay": "solid-state",
        "wifi": None,
        "broker": {"host": "127.0.0.1", "port": port, "user": KIT, "password": secret, "tls": False, "ca": ""},
        "pins": {"relay": RELAY, "button": BUTTON, "sounder": SOUNDER, "lamp": LAMP, "adc": [26], "mux": [10, 11]},
        "channels": [{"input": index, **channel} for index in range(CHUBS + 1)],
        "chamber_2": None,
    }


class HubProcess:
    """The hub as a process; `log` is what it wrote, over all its lives."""

    def __init__(self, folder, config):
        folder.mkdir(parents=True, exist_ok=True)
        self.log_path = folder / "hub.log"
        self.config = {**config, "log": str(self.log_path)}
        self.config_path = folder / "hub.json"
        self.environment = dict(os.environ)
        self.process = None

    def start(self):
        self.config_path.write_text(json.dumps(self.config))
        script = Path(__file__).parent / "hub_process.py"
        with (self.log_path.with_suffix(".err")).open("ab") as errors:
            self.process = subprocess.Popen(
                [sys.executable, str(script), str(self.config_path)],
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=errors,
                stderr=errors,
            )

    def signal(self, number):
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(number)

    def kill(self):
        self._end(signal.SIGKILL)

    def stop(self):
        self._end(signal.SIGTERM)

    def _end(self, number):
        if self.process is not None and self.process.poll() is None:
            self.signal(signal.SIGCONT)
            self.signal(number)
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(5)

    @property
    def alive(self):
        return self.process is not None and self.process.poll() is None

    def lines(self, kind=None):
        """What it wrote, of one kind or all; a last line that a kill cut short is no line."""
        try:
            raw = self.log_path.read_bytes()
        except FileNotFoundError:
            return []
        found = [json.loads(line) for line in raw.split(b"\n")[:-1]]
        return [line for line in found if kind is None or line["kind"] == kind]

    def sent(self, leaf):
        """(at, payload) of everything handed to the broker under topics that end so."""
        return [
            (line["at"], base64.b64decode(line["payload"]))
            for line in self.lines("sent")
            if line["topic"].endswith(leaf)
        ]

    def last_state(self):
        states = [line for line in self.lines("state") if line["pid"] == self.process.pid]
        return states[-1] if states else {}

    def errors(self):
        path = self.log_path.with_suffix(".err")
        return path.read_text() if path.exists() else ""


class Stand:
    """Everything of one kit and its hub; `close` ends it all and removes its folder."""

    def __init__(
        self, seed, speed=SPEED, ticks_start_ms=0, store_folder=None, reserve_bytes=0, plan=PLAN, smoker=SMOKER
    ):
        self.folder = Path(tempfile.mkdtemp(prefix="fiftyover-faults-"))
        self.speed = speed
        self._doing = contextlib.ExitStack()
        self.watchdogs = 0
        made = accounts.fresh(KIT)
        self.broker = self.make_broker(made)
        self.broker.start()
        self._doing.callback(self._end_broker)
        self.proxy = Proxy(self.broker.address.port)
        self._doing.callback(self.proxy.close)
        self.board = PinLog([circuit()] * (CHUBS + 1), seed, read_noise_counts=0.0)
        world = Plant(seed, CHUBS, 100.0, 800.0, plan["cap_degC"], **smoker)
        self.plant = self.make_plant(world, speed)
        self._doing.callback(self.plant.stop)
        self.store_path = (store_folder or self.folder) / "record.sqlite"
        self.hub = HubProcess(
            self.folder,
            {
                "speed": speed,
                "start_s": time.clock_gettime(time.CLOCK_BOOTTIME),
                "utc_start_ms": round(time.time() * 1000),
                "clock_name": f"stand-{secrets.token_hex(8)}",
                "store": str(self.store_path),
                "reserve_bytes": reserve_bytes,
                "broker": asdict(self.broker.address),
                "kit": KIT,
                "plan": plan,
            },
        )
        self._doing.callback(self.hub.kill)
        where = self.broker.address_for(KIT)
        settings = self.kit_settings(kit_settings("", self.proxy.port, where.secret))
        self.kit = KitProcess(KitOptions(settings, self.plant.port, speed, ticks_start_ms=ticks_start_ms))
        self._doing.callback(self.kit.close)

    def make_plant(self, world, speed):
        return PlantServer(world, self.board, speed, relay_pin=RELAY, sounder_pin=SOUNDER)

    def kit_settings(self, settings):
        return settings

    def make_broker(self, made):
        return ChildBroker("mosquitto", self.folder / "broker", made)

    def start(self):
        self.plant.start()
        self.kit.start()
        self.hub.start()

    def close(self):
        self._doing.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    # -- faults

    def broker_signal(self, number):
        if self.broker.pid:
            os.kill(self.broker.pid, number)

    def broker_kill(self):
        self.broker_signal(signal.SIGKILL)
        self.broker._process.wait(5)

    def broker_again(self):
        self.broker.restart()

    def _end_broker(self):
        self.broker_signal(signal.SIGCONT)
        self.broker.stop()

    # -- looking

    @property
    def is_on(self):
        return self.board.relay_state == 1

    def switched(self, since, level):
        """Times since `since` at which the relay's pin went to `level`."""
        return [at for at, on in list(self.board.pin_log) if at >= since and on == level]

    def wait(self, condition, limit_s, step_s=0.005):
        """Seconds until the condition held, None if it did not within the limit."""
        began = time.monotonic()
        while time.monotonic() - began < limit_s:
            if condition():
                return time.monotonic() - began
            self.mind_kit()
            time.sleep(step_s)
        return None

    def mind_kit(self):
        """A watchdog that bit on an overloaded machine (the shim's 5 s of kit time) is a restart, and counted."""
        if self.kit.exit_code() == 70:
            self.watchdogs += 1
            self.kit.start()

    def rows(self):
        """{(boot, seq): content} of the record, read from its file as another program would."""
        with contextlib.closing(sqlite3.connect(f"file:{self.store_path}?mode=ro", uri=True, timeout=10)) as base:
            found = base.execute("SELECT boot, seq, up_ms, t, s, element_on, duty, why, utc_ms FROM frames").fetchall()
            return {(row[0], row[1]): row[2:] for row in found}

    def missing(self):
        """Readings of the kit's newest start that are not in the record, beyond what the kit says it gave up itself."""
        rows = self.rows()
        if not rows:
            return 0
        boot = max(rows.items(), key=lambda item: item[1][-1])[0][0]
        seqs = [seq for one, seq in rows if one == boot]
        with contextlib.closing(sqlite3.connect(f"file:{self.store_path}?mode=ro", uri=True, timeout=10)) as base:
            row = base.execute("SELECT thinned + dropped FROM boots WHERE boot = ?", (boot,)).fetchone()
        return max(0, max(seqs) + 1 - len(seqs) - (row[0] if row else 0))

    def drain(self, limit_s=25.0):
        """Seconds until the record holds all that the kit has; what got lost on the way is sent again after 10 s.

        A reading newer than any at the begin must have come: else only what came before the kit's last start is whole.
        """
        before = len(self.rows())
        return self.wait(lambda: len(self.rows()) > before and self.missing() == 0, limit_s, 0.25)

    def acknowledged(self):
        """Every (boot, seq) that the hub ever told the kit to forget."""
        promised = set()
        for _, payload in self.hub.sent("frame/ack/set"):
            ack = json.loads(payload)
            for first, last in ack["got"]:
                promised.update((ack["boot"], seq) for seq in range(first, last + 1))
        return promised
