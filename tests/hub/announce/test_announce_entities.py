"""The discovery messages made of a kit's description, against the published schema; each rule is seen to bite."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from contract.discovery_rules import available, faults, shown
from fiftyover.announce import entities
from fiftyover_kit import link
from fiftyover_kit.contract import topics

KIT = "kit-3f2a"


def described(channels):
    return json.loads(b"".join(link.description(KIT, channels, 7)))


def made(description, **given):
    text = description if isinstance(description, bytes) else json.dumps(description).encode()
    return {topic: json.loads(text) for topic, text in entities.announced(KIT, text, **given).messages.items()}


@pytest.mark.parametrize("channels", [1, 3, 9, 31])
def test_every_message_keeps_the_published_format(channels):
    messages = made(described(channels))
    assert [fault for topic, message in messages.items() for fault in faults(topic, message)] == []
    assert len({message["unique_id"] for message in messages.values()}) == len(messages) == 16 + 2 * channels
    assert {json.dumps(message["device"]) for message in messages.values()} == {
        json.dumps(
            {"identifiers": ["fiftyover_" + KIT], "name": KIT, "manufacturer": "fiftyover", "model": "probe kit"}
        )
    }


@pytest.mark.parametrize(
    ("leaf", "key", "value"),
    [
        ("probe-1-temperature", "state_topic", None),
        ("probe-1-temperature", "state_topic", "homie/#"),
        ("probe-1-temperature", "unit_of_measurement", "C"),
        ("probe-1-temperature", "unit_of_measurement", None),
        ("probe-1-temperature", "command_topic", "homie/5/kit-3f2a/heater/grant/set"),
        ("probe-1-temperature", "unique_id", None),
        ("probe-1-temperature", "device", {"name": "x"}),
        ("probe-1-temperature", "origin", {"sw_version": "1"}),
        ("heater-state", "options", []),
        ("heater-state", "state_class", "measurement"),
        ("heater-state", "qos", 3),
        ("sys-uptime", "device_class", "age"),
        ("sys-uptime", "entity_category", "hidden"),
        ("frame-on", "payload_on", True),
        ("frame-on", "expire_after", -1),
    ],
)
def test_each_rule_of_the_format_bites(leaf, key, value):
    ((topic, message),) = [one for one in made(described(2)).items() if one[0].endswith(f"/{leaf}/config")]
    assert faults(topic, message) == []
    broken = {**message, key: value} if value is not None else {k: v for k, v in message.items() if k != key}
    assert faults(topic, broken)
    assert faults(topic.replace("sensor", "switch"), message)


def test_a_kit_of_two_probes_shows_this_and_nothing_that_can_be_acted_on():
    shown = {
        (topic.split("/")[1], topic.split("/")[3]): (message["name"], message.get("unit_of_measurement"))
        for topic, message in made(described(2)).items()
    }
    assert shown == {
        ("sensor", "probe-1-temperature"): ("Chamber temperature", "°C"),
        ("sensor", "probe-1-status"): ("Chamber status", None),
        ("sensor", "probe-2-temperature"): ("Probe 2 temperature", "°C"),
        ("sensor", "probe-2-status"): ("Probe 2 status", None),
        ("binary_sensor", "frame-on"): ("Element", None),
        ("sensor", "frame-duty"): ("Share of the time heated", "%"),
        ("sensor", "heater-state"): ("Heater", None),
        ("sensor", "heater-lease"): ("Heat ends in", "s"),
        ("binary_sensor", "heater-armed"): ("Stand-by armed", None),
        ("binary_sensor", "heater-door"): ("Door hold", None),
        ("sensor", "sys-uptime"): ("Running for", "s"),
        ("sensor", "sys-rssi"): ("Wi-Fi signal", "dBm"),
        ("sensor", "sys-heap"): ("Free memory", "B"),
        ("sensor", "sys-reset-cause"): ("Cause of the last start", None),
        ("sensor", "sys-firmware"): ("Firmware", None),
        ("sensor", "sys-cap"): ("Cut-off", "°C"),
        ("sensor", "sys-relay"): ("Kind of relay", None),
        ("sensor", "sys-switchings"): ("Relay switchings", None),
        ("binary_sensor", "sys-simulated"): ("Simulated", None),
        ("sensor", "sys-hub"): ("Hub", None),
    }
    told = json.dumps(made(described(31)))
    assert "command" not in told
    assert "/set" not in told


FRAME = '{"v":1,"boot":"9f3c1a02b7e4","seq":7,"up":9000,"t":[93.1,null],"s":["ok","open"],"on":%s,"duty":%s,"why":"on"}'


@pytest.mark.parametrize(
    ("leaf", "payload", "seen"),
    [
        ("probe-2-temperature", "68.33", "68.33 °C"),
        ("probe-2-status", "stuck", "stuck"),
        ("probe-2-status", "fine", None),
        ("frame-on", FRAME % (1, 0.29), "on"),
        ("frame-on", FRAME % (0, 0.29), "off"),
        ("frame-duty", FRAME % (1, 0.29), "29 %"),
        ("frame-duty", FRAME % (1, 1.0), "100 %"),
        ("frame-duty", FRAME % (0, 0), "0 %"),
        ("frame-duty", FRAME % (0, 0.005), "0 %"),
        ("frame-duty", FRAME % (0, 0.996), "100 %"),
        ("heater-state", "boot-hold", "boot-hold"),
        ("heater-state", "warming", None),
        ("heater-lease", "15", "15 s"),
        ("heater-armed", "true", "on"),
        ("heater-door", "false", "off"),
        ("heater-door", "FALSE", None),
        ("sys-rssi", "-67", "-67 dBm"),
        ("sys-cap", "93.33", "93.33 °C"),
        ("sys-heap", "81344", "81344 B"),
        ("sys-relay", "solid-state", "solid-state"),
        ("sys-switchings", "40211", "40211"),
    ],
)
def test_what_a_payload_means_is_what_is_shown(leaf, payload, seen):
    ((topic, message),) = [one for one in made(described(2)).items() if one[0].endswith(f"/{leaf}/config")]
    assert shown(topic, message, payload) == seen


def test_a_kit_is_there_when_ready_and_in_no_other_state_of_the_convention():
    message = made(described(1))["homeassistant/sensor/kit-3f2a/sys-cap/config"]
    states = {state: available(message, state) for state in ("init", "ready", "disconnected", "sleeping", "lost")}
    assert states == {"init": False, "ready": True, "disconnected": False, "sleeping": False, "lost": False}


def test_the_kit_in_the_refrigerator_is_called_so_and_has_no_element():
    messages = made(described(1), refrigerator=True)
    names = {message["name"] for message in messages.values()}
    assert "Refrigerator temperature" in names
    assert not names & {"Element", "Share of the time heated", "Chamber temperature"}


def test_every_state_topic_is_one_the_kit_describes():
    nodes = described(9)["nodes"]
    known = {f"{topics.ROOT}/{KIT}/{node}/{name}" for node, of_node in nodes.items() for name in of_node["properties"]}
    messages = made(described(9)).values()
    assert {message["state_topic"] for message in messages} <= known
    assert {message["availability_topic"] for message in messages} == {topics.state(KIT)}


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"null", b"[]", b"7", b'{"nodes":7}', b'{"nodes":[]}', b'{"nodes":{"a":7}}', b"\xff\xfe", b"[" * 9000,
     b'{"nodes":{"a":{"properties":{"b":7}}}}', b'{"nodes":{"a":{"properties":{"b":{"datatype":["float"]}}}}}',
     b'{"nodes":{"a":{"properties":{"b":{"datatype":"colour"}}}}}'],
)  # fmt: skip
def test_a_description_that_cannot_be_used_announces_nothing(text):
    assert made(text) == {}


def test_nothing_of_a_hostile_description_gets_into_a_topic_or_a_template():
    def one(datatype, **more):
        return {"properties": {"x": {"datatype": datatype, **more}}}

    messages = made(
        {
            "name": "{{ states }}\n",
            "nodes": {
                "../heater": one("float"),
                "a/b": one("float"),
                "+": one("float"),
                "words": one("enum", format="on,{{ now() }}"),
                "doubled": one("enum", format="on,on"),
                "unit": one("float", unit="{{ x }}"),
                "units": one("float", unit=["°C"]),
                "written": one("float", settable=True),
            },
        }
    )
    assert {topic.split("/")[3] for topic in messages} == {"unit-x", "units-x"}
    assert [fault for topic, message in messages.items() for fault in faults(topic, message)] == []
    for message in messages.values():
        assert message["device"]["name"] == KIT
        assert "unit_of_measurement" not in message
        assert "value_template" not in message
    many = {f"n{number}": one("float") for number in range(1000)}
    assert len(made({"nodes": many})) == entities.ENTITIES_MAX
    assert entities.announced("../kit", json.dumps(described(1)).encode()).messages == {}


_IDS = st.one_of(st.sampled_from(["probe-1", "heater", "frame", "sys", "sample", "state", "temperature"]), st.text())
_ANY = st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(), st.lists, max_leaves=4)
_WORDS = st.sampled_from(["integer", "float", "enum", "boolean", "string", "json", "color", "datetime"])
_PROPERTY = st.fixed_dictionaries(
    {"datatype": _WORDS | _ANY},
    optional={
        "unit": st.sampled_from(["°C", "s", "dBm", "B", "%", "#"]) | _ANY,
        "format": st.sampled_from(["on,off", "a,a", "", ",", "on"]) | _ANY,
        "settable": st.booleans() | _ANY,
        "retained": st.booleans() | _ANY,
    },
)
_NODE = st.fixed_dictionaries({"properties": st.dictionaries(_IDS, _PROPERTY | _ANY, max_size=4) | _ANY})


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.fixed_dictionaries({"nodes": st.dictionaries(_IDS, _NODE | _ANY, max_size=4) | _ANY}, optional={"name": _ANY})
)
def test_whatever_a_kit_says_of_itself_is_announced_by_the_format_or_not_at_all(description):
    for topic, message in made(description).items():
        assert faults(topic, message) == []
        assert message["state_topic"].startswith(f"homie/5/{KIT}/")
        assert not message["state_topic"].endswith("/set")
        assert not [key for key in message if "command" in key]
        *_, node, name = message["state_topic"].split("/")
        assert description["nodes"][node]["properties"][name].get("settable") is not True
