"""The kit's Homie description and topics against the convention's rules; each rule is seen to bite."""

import copy
import json

import pytest

from contract import homie_rules
from fiftyover_kit import link
from fiftyover_kit.contract import topics

KIT = "kit-3f2a"


def described(channels):
    return json.loads(b"".join(link.description(KIT, channels, 7)))


@pytest.mark.parametrize("channels", [1, 3, 9, 31])
def test_the_kits_description_keeps_every_rule(channels):
    assert homie_rules.faults(described(channels)) == []


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("homie",), "4.0", "not of this convention"),
        (("homie",), None, "has no homie"),
        (("version",), None, "has no version"),
        (("version",), "7", "device.version is no integer"),
        (("nodes", "heater", "properties", "state", "datatype"), "word", "datatype word is none"),
        (("nodes", "heater", "properties", "state", "datatype"), None, "has no datatype"),
        (("nodes", "heater", "properties", "state", "format"), None, "has no format"),
        (("nodes", "heater", "properties", "state", "format"), "on,off,on", "doubled value"),
        (("nodes", "sys", "properties", "uptime", "format"), "all", "is no range"),
        (("nodes", "frame", "properties", "ack", "settable"), "true", "settable is no boolean"),
        (("nodes", "heater", "colour"), "red", "heater.colour is unknown"),
        (("nodes", "Heater"), {"properties": {}}, "'Heater' is no id"),
    ],
)
def test_each_rule_bites(path, value, told):
    broken = copy.deepcopy(described(3))
    at = broken
    for name in path[:-1]:
        at = at[name]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    assert any(told in one for one in homie_rules.faults(broken))


def test_what_the_kit_hears_are_the_settable_properties_and_none_is_retained():
    nodes = described(9)["nodes"]
    settable = {
        f"{topics.ROOT}/{KIT}/{node}/{name}/set"
        for node, found in nodes.items()
        for name, given in found["properties"].items()
        if homie_rules.flags(given)[1]
    }
    assert settable == set(topics.kit_hears(KIT))
    for node, name in (("frame", "sample"), ("frame", "backlog"), ("heater", "grant"), ("heater", "stop")):
        assert homie_rules.flags(nodes[node]["properties"][name])[0] is False
