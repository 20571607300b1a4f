"""What a general-purpose tool sees of a kit at a real broker: the convention kept from first message to last will."""

import argparse
import contextlib
import json
import time

import paho.mqtt.client as paho
import pytest

from contract import homie_rules
from fiftyover.app import demo
from fiftyover.app.cook import KIT
from fiftyover.broker import accounts
from fiftyover.broker.child import ChildBroker
from fiftyover_kit.contract import topics

pytestmark = pytest.mark.system

BASE = f"{topics.ROOT}/{KIT}"
NUMBERLESS = {"open", "short", "range"}
MALFORMED = (
    ("heater/grant", b"{"),
    ("heater/grant", b"true"),
    ("heater/grant", b'{"v":1}'),
    ("heater/grant", b'{"v":1,"hub":"x","boot":"9f3c1a02b7e4","seq":1,"up":0,"ttl":15,"duty":NaN}'),
    ("heater/stop", b"\xff\xfe"),
    ("frame/ack", b"[]"),
    ("frame/ack", b'{"v":2,"got":[[0,1e99]]}'),
    ("probe-1/temperature", b"20.0"),
    ("sys/cap", b"200"),
    ("heater/state", b"on"),
    ("none/such", b"1"),
)


class Onlooker:
    """A client with the hub's rights that keeps all it hears of the kit: (topic below the kit, text, retained flag)."""

    def __init__(self, address):
        self.heard = []
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="onlooker", protocol=paho.MQTTv311)
        self.client.username_pw_set(address.user, address.secret)
        self.client.on_message = self._keep
        self.client.connect(address.host, address.port)
        self.client.subscribe(f"{BASE}/#", 1)
        self.client.loop_start()

    def again(self):
        """What a fresh subscription brings at once."""
        before = len(self.heard)
        self.client.unsubscribe(f"{BASE}/#")
        self.client.subscribe(f"{BASE}/#", 1)
        self.wait(lambda: any(topic == "$state" for topic, _, _ in self.heard[before:]))
        time.sleep(0.5)
        return self.heard[before:]

    def _keep(self, _client, _data, message):
        self.heard.append((message.topic[len(BASE) + 1 :], message.payload.decode("utf-8", "replace"), message.retain))

    def newest(self):
        """The last text of each topic that came with or after the snapshot."""
        return {topic: text for topic, text, _ in list(self.heard)}

    def wait(self, holds, limit_s=20.0):
        until_s = time.monotonic() + limit_s
        while not holds() and time.monotonic() < until_s:
            time.sleep(0.05)
        assert holds(), self.newest()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.client.loop_stop()
        self.client.disconnect()


@pytest.fixture
def alone(tmp_path, part, micropython):
    """A real kit in its smoker at a real broker, and no hub: the hub's account is free for the onlooker."""
    part("mosquitto")
    with contextlib.ExitStack() as stack:
        broker = ChildBroker("mosquitto", tmp_path / "broker", accounts.fresh(KIT))
        stack.callback(broker.stop)
        address = broker.start()
        plant = demo._plant(7, 1.0, {})
        stack.callback(plant.stop)
        args = argparse.Namespace(speed=1.0, cpython_kit=False)
        kit = demo._kit(broker, plant, "c01d0001", args)
        stack.callback(kit.close)
        with Onlooker(address) as seen:
            plant.start()
            kit.start()
            yield kit, seen


def test_a_kit_keeps_the_convention_and_refuses_malformed_sets(alone):
    kit, seen = alone
    assert kit.runtime == "MicroPython"
    seen.wait(lambda: sum(topic == "frame/sample" for topic, _, _ in seen.heard) >= 3)
    now = seen.newest()
    assert now["$state"] == "ready"
    states = [text for topic, text, _ in seen.heard if topic == "$state"]
    assert (states[0], states[-1]) == ("init", "ready")
    assert set(states) <= set(homie_rules.RULES["states"])
    description = json.loads(now["$description"])
    assert homie_rules.faults(description) == []
    known = {
        f"{node}/{name}": given
        for node, found in description["nodes"].items()
        for name, given in found["properties"].items()
    }
    values = [one for one in list(seen.heard) if not one[0].startswith("$")]
    assert [
        (topic, homie_rules.payload_fault(known[topic], text))
        for topic, text, _ in values
        if homie_rules.payload_fault(known[topic], text)
    ] == []
    numberless = {topic.split("/")[0] for topic in now if now[topic] in NUMBERLESS}
    missing = {topic for topic, given in known.items() if homie_rules.flags(given)[0]} - set(now)
    # A probe at fault has no temperature, and a simulated kit no radio.
    assert missing <= {f"{probe}/temperature" for probe in numberless} | {"sys/rssi"}

    before = json.loads(now["frame/sample"])
    for topic, payload in MALFORMED:
        for text in (payload, payload * 20):
            seen.client.publish(f"{BASE}/{topic}/set", text, qos=1)
    seen.wait(lambda: json.loads(seen.newest()["frame/sample"])["seq"] >= before["seq"] + 4)
    after = seen.newest()
    sample = json.loads(after["frame/sample"])
    assert sample["boot"] == before["boot"]
    assert (sample["on"], after["$state"], after["sys/cap"]) == (0, "ready", now["sys/cap"])
    assert after["$description"] == now["$description"]
    assert after["heater/state"] == "refused"

    # What a tool that comes later is given: values that are retained, and of events nothing.
    later = seen.again()
    retained = {topic for topic, _, flag in later if flag}
    events = {topic for topic, given in known.items() if not homie_rules.flags(given)[0]}
    assert retained >= {"$state", "$description", "probe-1/temperature", "heater/state", "sys/cap"}
    assert not retained & (events | {f"{topic}/set" for topic in known})

    kit.kill()
    seen.wait(lambda: seen.newest()["$state"] == "lost", 60.0)
