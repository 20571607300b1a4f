"""Home-automation software beside a hub that heats: it is shown what the kit says, can do nothing, and is forgotten.

A real kit (MicroPython, in its simulated smoker), a mosquitto with exactly what `fiftyover setup --home-automation`
writes, the hub of `fiftyover serve`. The broker is no child here: it outlives the hub, so that what is cleared at the
second start is cleared by the hub and not by the end of the broker.
"""

import json
import subprocess
import time
from contextlib import ExitStack, contextmanager
from dataclasses import replace

import paho.mqtt.client as paho
import pytest

from contract import discovery_rules
from fiftyover import settings
from fiftyover.app.cook import KIT, kit_settings, plan
from fiftyover.app.demo import _plant
from fiftyover.app.serve import serving
from fiftyover.broker import mosquitto, setup
from fiftyover.broker.probe import accepts, free_port
from fiftyover.cli import main
from fiftyover.rehearse.kit_process import KitOptions, KitProcess
from fiftyover_kit.contract import messages

pytestmark = [pytest.mark.system, pytest.mark.filterwarnings("ignore::ResourceWarning")]

BASE = f"homie/5/{KIT}"
ENTITIES = 16 + 2 * 8  # 11 of the kit's own values, 3 of the heater's, 2 of the frames; 2 of each of 8 probes
HOUSE, BIRTH = "home_automation", "homeassistant/status"
GRANT_GAP_MAX_S = 5.5
NUMBERS = ("temperature", "lease", "uptime", "heap", "switchings")


@contextmanager
def broker(folder, monkeypatch):
    """The broker that the command sets up, on a free port of loopback, and the settings for it."""
    monkeypatch.setattr(setup, "HUB_PORT", free_port("127.0.0.1"))
    assert main(["setup", "--folder", str(folder), "--kit", KIT, "--loopback", "--home-automation"]) == 0
    process = subprocess.Popen(mosquitto.command(folder / "broker"))
    try:
        until_s = time.monotonic() + 10.0
        while not accepts("127.0.0.1", setup.HUB_PORT) and time.monotonic() < until_s:
            time.sleep(0.02)
        known = settings.load(folder / "hub.toml")
        assert known.announce.on
        own = replace(known.announce, user="hub_announcer", password_file=folder / "broker/accounts/hub_announcer")
        yield replace(known, broker=replace(known.broker, child=False), web=replace(known.web, port=0), announce=own)
    finally:
        process.terminate()
        process.wait(10.0)


@contextmanager
def kit(folder, hub_id):
    """The real firmware in its simulated smoker."""
    with ExitStack() as stack:
        plant = _plant(7, 1.0, {})
        stack.callback(plant.stop)
        secret = (folder / "broker/accounts" / KIT).read_text().strip()
        made = KitProcess(KitOptions(kit_settings(hub_id, setup.HUB_PORT, secret), plant.port))
        stack.callback(made.close)
        plant.start()
        made.start()
        yield made


class Software:
    """Signed in as home-automation software, it keeps the newest of each topic and the answers to what it said."""

    def __init__(self, folder):
        self.newest, self.retained, self.answers = {}, {}, {}
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, "house", protocol=paho.MQTTv5)
        self.client.username_pw_set(HOUSE, (folder / "broker/accounts" / HOUSE).read_text().strip())
        self.client.on_message = self._heard
        self.client.on_publish = lambda _c, _d, mid, reason, _p: self.answers.__setitem__(mid, reason.getName())
        self.client.connect("127.0.0.1", setup.HUB_PORT)
        self.client.subscribe([("homeassistant/#", 1), (f"{BASE}/#", 1)])
        self.client.loop_start()

    def _heard(self, _client, _data, message):
        self.newest[message.topic] = message.payload.decode()
        self.retained[message.topic] = bool(message.retain)

    def announced(self):
        """topic -> message of all that stands announced, as far as was heard."""
        found = {topic: text for topic, text in list(self.newest.items()) if topic.endswith("/config") and text}
        return {topic: json.loads(text) for topic, text in found.items()}

    def shows(self):
        """What a person sees of each entity; those without a value are left out."""
        told = self.announced()
        return {
            topic.split("/")[3]: discovery_rules.shown(topic, message, self.newest[message["state_topic"]])
            for topic, message in told.items()
            if message["state_topic"] in self.newest
        }

    def says(self, topic, payload, retain):
        """The broker's answer to a message."""
        mid = self.client.publish(topic, payload, 1, retain).mid
        wait(lambda: mid in self.answers, 5.0)
        return self.answers[mid]

    def forget(self):
        """Whatever was announced so far."""
        self.newest = {topic: text for topic, text in list(self.newest.items()) if topic.startswith(BASE)}

    def again(self):
        """Subscribe afresh: everything that stands retained comes anew, and is marked so."""
        self.forget()
        self.client.unsubscribe("homeassistant/#")
        self.client.subscribe("homeassistant/#", 1)

    def end(self):
        self.client.disconnect()
        self.client.loop_stop()


def wait(holds, limit_s, what=""):
    until_s = time.monotonic() + limit_s
    while not holds() and time.monotonic() < until_s:
        time.sleep(0.02)
    assert holds(), what


def watched(hub):
    """When permits went out (s), those that the broker's session took."""
    heater, sent_s = hub.parts.heater, []
    publish = heater._publish

    def noted(topic, *more):
        taken = publish(topic, *more)
        if taken and topic.endswith("heater/grant/set"):
            sent_s.append(time.monotonic())
        return taken

    heater._publish = noted
    return sent_s


def gaps(sent_s):
    return [later - earlier for earlier, later in zip(sent_s, sent_s[1:], strict=False)]


def test_software_is_shown_what_the_kit_says_can_do_nothing_and_is_cleared(tmp_path, monkeypatch, part, micropython):
    part("mosquitto")
    folder = tmp_path / "home"
    with ExitStack() as stack:
        known = stack.enter_context(broker(folder, monkeypatch))
        house = Software(folder)
        stack.callback(house.end)
        with serving(known) as (hub, _, _):
            sent_s = watched(hub)
            made = stack.enter_context(kit(folder, hub.parts.store.hub_id))
            assert made.runtime == "MicroPython"
            wait(lambda: hub.last_frame is not None, 20.0, made.log_tail(5))
            hub.start_batch(plan())
            wait(lambda: len(house.announced()) >= ENTITIES, 5.0, sorted(house.announced()))
            is_announced_by_the_published_format(house)
            shows_what_the_kit_says(house, hub)
            cannot_act(house, hub)
            wait(lambda: len(sent_s) >= 3, 12.0, sent_s)
            assert (house.shows()["heater-state"], house.shows()["frame-on"]) == ("on", "on")  # no stop was obeyed
            assert (hub.parts.client.up, hub.parts.client.counters.sessions) == (True, 1)
        assert max(gaps(sent_s)) <= GRANT_GAP_MAX_S
        assert len(house.announced()) == ENTITIES  # the end of the hub takes nothing away

        somebody = "homeassistant/sensor/weather/outdoors/config"
        with serving(replace(known, announce=replace(known.announce, on=False))) as (hub, _, _):
            sent_s = watched(hub)
            wait(lambda: not house.announced(), 5.0, sorted(house.announced()))
            wait(lambda: not (folder / "announced.json").exists(), 5.0)
            house.again()
            wait(lambda: len(sent_s) >= 2, 12.0, sent_s)
            assert house.announced() == {}
            assert somebody not in house.newest
            wait(lambda: house.newest[f"{BASE}/heater/state"] == "on", 5.0)
            assert (hub.parts.client.up, hub.parts.client.counters.sessions) == (True, 1)
        assert max(gaps(sent_s)) <= GRANT_GAP_MAX_S


def is_announced_by_the_published_format(house):
    told = house.announced()
    assert [fault for topic, message in told.items() for fault in discovery_rules.faults(topic, message)] == []
    house.again()
    wait(lambda: len(house.announced()) == len(told) == ENTITIES, 5.0)
    assert house.announced() == told
    assert {house.retained[topic] for topic in told} == {True}
    # It is told again when it says that it has started.
    house.forget()
    assert house.says(BIRTH, b"online", False) == "Success"
    wait(lambda: len(house.announced()) == ENTITIES, 5.0)


def shows_what_the_kit_says(house, hub):
    """The words by hand, from the demo's kit (app/cook.py) as it is in a smoker that begins to heat."""
    house.client.unsubscribe(f"{BASE}/#")
    house.client.subscribe(f"{BASE}/#", 1)
    wait(lambda: len(house.shows()) == ENTITIES - 1, 5.0, set(house.announced()) - set(house.shows()))
    wait(lambda: house.shows()["frame-on"] == "on", 12.0, house.shows())
    seen = house.shows()
    words = {name: text for name, text in seen.items() if not name.endswith(NUMBERS)}
    assert words == {
        **{f"probe-{number}-status": "ok" for number in range(1, 9)},
        "frame-on": "on",
        "frame-duty": "100 %",
        "heater-state": "on",
        "heater-armed": "off",
        "heater-door": "off",
        "sys-reset-cause": words["sys-reset-cause"],
        "sys-firmware": words["sys-firmware"],
        "sys-cap": "93.33 °C",  # 200 °F
        "sys-relay": "solid-state",
        "sys-simulated": "on",
        "sys-hub": hub.parts.store.hub_id,
    }
    assert words["sys-reset-cause"]
    assert words["sys-firmware"]
    frame = hub.last_frame
    for number, degC in enumerate(frame.t, 1):
        value, unit = seen[f"probe-{number}-temperature"].split()
        assert (float(value), unit) == (pytest.approx(degC, abs=1.0), "°C")
    lease, uptime, heap = (seen[name].split() for name in ("heater-lease", "sys-uptime", "sys-heap"))
    assert (0 <= int(lease[0]) <= 15, lease[1]) == (True, "s")
    assert (int(uptime[0]), uptime[1]) == (pytest.approx(frame.up_ms / 1000, abs=15), "s")
    assert (int(heap[0]) > 10_000, heap[1]) == (True, "B")
    assert seen["sys-switchings"] in ("0", "1")  # said every 10 s, and without a unit
    states = {discovery_rules.available(one, house.newest[f"{BASE}/$state"]) for one in house.announced().values()}
    assert states == {True}


def cannot_act(house, hub):
    """A stop that the kit would obey at once, a permit, a word in the kit's name, a switch: all refused."""
    boot, hub_id = hub.last_frame.boot, hub.parts.store.hub_id
    stop = messages.encode_stop({"v": 1, "hub": hub_id, "boot": boot, "seq": 1 << 29})
    for topic, payload in (
        (f"{BASE}/heater/stop/set", stop),
        (f"{BASE}/heater/grant/set", b"{}"),
        (f"{BASE}/$state", b"lost"),
        (f"{BASE}/$description", b""),
        ("homeassistant/sensor/weather/outdoors/config", b"{}"),
        ("homeassistant/switch/kit-demo/heat/config", b"{}"),
    ):
        for retain in (False, True):
            assert house.says(topic, payload, retain) == "Not authorized"
    assert not [topic for topic in house.newest if topic.endswith("/set") or topic == f"{BASE}/$description"]
