"""From a kit's Homie description to the published MQTT discovery messages, one for each value. Pure.

Only the two kinds of entity that can be looked at and never acted on are made, `sensor` and `binary_sensor`; none names
a topic to write to. What the software shows comes from the kit's own topics; here stands only where and in what unit.
The format's facts and their source: tests/references/home_automation/mqtt_discovery.json.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from fiftyover_kit.contract import topics
from fiftyover_kit.contract.errors import ContractError

from ..broker.accounts import DISCOVERY

ENTITIES_MAX = 160  # a kit of 31 probes has 78
NAME_MAX_LETTERS = 64
WORDS_MAX = 32  # of an enum
STALE_S = 60  # a temperature is said every 10 s while its probe is sound; then it is no longer shown
FRAME_STALE_S = 30
CONFIG = re.compile(rf"{DISCOVERY}/(sensor|binary_sensor)/[a-z0-9-]{{1,64}}/[a-z0-9-]{{1,129}}/config")

Entity = dict[str, Any]
_PROBE = re.compile(r"probe-([1-9][0-9]?)")
_NAMES = {
    "heater/state": "Heater",
    "heater/lease": "Heat ends in",
    "heater/armed": "Stand-by armed",
    "heater/door": "Door hold",
    "sys/uptime": "Running for",
    "sys/rssi": "Wi-Fi signal",
    "sys/heap": "Free memory",
    "sys/reset-cause": "Cause of the last start",
    "sys/cap": "Cut-off",
    "sys/switchings": "Relay switchings",
    "sys/relay": "Kind of relay",
    "sys/hub": "Hub",
}
# Homie's unit -> what the discovery format calls such a value
_KINDS: dict[str, Entity] = {
    "°C": {"device_class": "temperature", "unit_of_measurement": "°C", "suggested_display_precision": 1},
    "s": {"device_class": "duration", "unit_of_measurement": "s"},
    "dBm": {"device_class": "signal_strength", "unit_of_measurement": "dBm"},
    "B": {"device_class": "data_size", "unit_of_measurement": "B"},
    "%": {"unit_of_measurement": "%"},
}


@dataclass(frozen=True)
class Found:
    """What is announced of one kit: a message (JSON text) by its topic."""

    kit: str
    messages: dict[str, bytes]


def announced(kit: str, description: bytes, refrigerator: bool = False) -> Found:
    """Give the discovery messages of a kit by its Homie description (JSON text); none for one that cannot be used.

    The text comes from outside: ids that are none, and properties of a type that is not known, are left out; nothing of
    it gets into a topic or a template but ids and words of a-z, 0-9 and -. ``refrigerator``: the probe of this kit
    stands in the refrigerator, not in a chamber.
    """
    try:
        given = json.loads(description)
        nodes = given["nodes"].items()
        device = _device(kit, given.get("name"))
    except (ValueError, RecursionError, KeyError, TypeError, AttributeError, ContractError):
        return Found(kit, {})
    made: dict[str, bytes] = {}
    for node, of_node in nodes:
        properties = of_node.get("properties") if isinstance(of_node, dict) else None
        for name, of_name in properties.items() if isinstance(properties, dict) else ():
            if not (topics.is_id(node) and topics.is_id(name) and isinstance(of_name, dict)):
                continue
            for component, leaf, entity in _entities(kit, node, name, of_name, refrigerator):
                if len(made) < ENTITIES_MAX:
                    topic = f"{DISCOVERY}/{component}/{kit}/{node}-{leaf}/config"
                    made[topic] = _message(kit, f"{node}-{leaf}", entity, device)
    return Found(kit, made)


def _device(kit: str, name: object) -> Entity:
    topics.state(kit)  # refuses what is no kit's id
    shown = name.strip()[:NAME_MAX_LETTERS] if isinstance(name, str) and name.isprintable() else ""
    return {
        "identifiers": [f"fiftyover_{kit}"],
        "name": shown or kit,
        "manufacturer": "fiftyover",
        "model": "probe kit",
    }


def _message(kit: str, leaf: str, entity: Entity, device: Entity) -> bytes:
    whole = {
        **entity,
        "unique_id": f"fiftyover_{kit}_{leaf}",
        "availability_topic": topics.state(kit),
        "availability_template": "{{ 'online' if value == 'ready' else 'offline' }}",
        "device": device,
        "origin": {"name": "fiftyover", "sw_version": version("fiftyover")},
    }
    return json.dumps(whole, ensure_ascii=False).encode()


def _entities(kit: str, node: str, name: str, given: Entity, refrigerator: bool) -> list[tuple[str, str, Entity]]:
    """(component, last part of the id, entity) of a property; none for one that is written to or that nobody reads."""
    if given.get("settable") is True:
        return []
    topic = f"{topics.ROOT}/{kit}/{node}/{name}"
    if f"{node}/{name}" == "frame/sample" and given.get("datatype") == "json":
        return [] if refrigerator else _of_frames(topic)
    if given.get("retained") is False:
        return []
    entity: Entity = {"name": _name(node, name, refrigerator), "state_topic": topic, "qos": 1}
    if node == "sys" or name == "status":
        entity["entity_category"] = "diagnostic"
    match given.get("datatype"):
        case "integer" | "float":
            return [("sensor", name, entity | _number(node, name, given.get("unit")))]
        case "enum":
            words = _words(given.get("format"))
            return [("sensor", name, entity | {"device_class": "enum", "options": words})] if words else []
        case "boolean":
            return [("binary_sensor", name, entity | {"payload_on": "true", "payload_off": "false"})]
        case "string":
            return [("sensor", name, entity)]
    return []


def _of_frames(topic: str) -> list[tuple[str, str, Entity]]:
    """What only the frames say, once a second: whether the element is on, and its share of the time."""
    lately = {"state_topic": topic, "qos": 0, "expire_after": FRAME_STALE_S}
    on = {"value_template": "{{ value_json.on }}", "payload_on": "1", "payload_off": "0", "device_class": "power"}
    share = {"value_template": "{{ (value_json.duty * 100) | round(0) | int }}", "unit_of_measurement": "%"}
    return [
        ("binary_sensor", "on", {"name": "Element", **lately, **on}),
        ("sensor", "duty", {"name": "Share of the time heated", **lately, **share, "state_class": "measurement"}),
    ]


def _number(node: str, name: str, unit: object) -> Entity:
    if unit == "#":
        return {"state_class": "total_increasing"}
    kind = _KINDS.get(unit, {}) if isinstance(unit, str) else {}
    stale: Entity = {"expire_after": STALE_S} if _PROBE.fullmatch(node) and name == "temperature" else {}
    return {**kind, **stale, "state_class": "measurement"}


def _words(form: object) -> list[str]:
    """Give the values of an enum's format, or none if one of them is no plain word."""
    words = form.split(",") if isinstance(form, str) else []
    sound = words and len(set(words)) == len(words) <= WORDS_MAX and all(topics.is_id(one) for one in words)
    return words if sound else []


def _name(node: str, name: str, refrigerator: bool) -> str:
    probe = _PROBE.fullmatch(node)
    if probe is None:
        return (
            _NAMES.get(f"{node}/{name}") or (name if node == "sys" else f"{node} {name}").replace("-", " ").capitalize()
        )
    number = int(probe[1])
    where = "Refrigerator" if refrigerator else "Chamber"
    return f"{where} {name}" if number == 1 else f"Probe {number} {name}"
