"""The Homie convention's rules on a description and its values, written apart from the firmware.

Source: tests/references/homie/homie_5_0.json, which names its own.
"""

import json
import re
from pathlib import Path

RULES = json.loads((Path(__file__).parents[1] / "references/homie/homie_5_0.json").read_text("utf-8"))
KINDS = {"string": str, "integer": int, "object": dict, "array": list, "boolean": bool}


def is_id(text):
    """True for what may stand between two slashes of a Homie topic."""
    return re.fullmatch(RULES["topic_id"], text) is not None


def _shape(where, given, table):
    """What is missing, unknown, or of another JSON type."""
    if not isinstance(given, dict):
        return [f"{where} is no object"]
    known = {**table["required"], **table["optional"]}
    found = [f"{where} has no {name}" for name in table["required"] if name not in given]
    for name, value in given.items():
        if name not in known:
            found.append(f"{where}.{name} is unknown")
        elif type(value) is not KINDS[known[name]]:
            found.append(f"{where}.{name} is no {known[name]}")
    return found


def _property(where, given):
    found = _shape(where, given, RULES["property"])
    if found:
        return found
    kind, form = given["datatype"], given.get("format")
    if kind not in RULES["datatypes"]:
        found.append(f"{where}.datatype {kind} is none")
    if kind in RULES["format_required"] and not form:
        found.append(f"{where} has no format")
    if kind == "enum" and form:
        values = form.split(",")
        if "" in values or len(set(values)) != len(values):
            found.append(f"{where}.format has an empty or doubled value")
    if form and kind in RULES["range_format"]["of"] and not re.fullmatch(RULES["range_format"]["pattern"], form):
        found.append(f"{where}.format is no range")
    return found


def faults(given):
    """Everything in which a description breaks the convention; [] for a good one."""
    found = _shape("device", given, RULES["device"])
    if found:
        return found
    if not re.fullmatch(RULES["convention_version"], given["homie"]):
        found.append(f"device.homie {given['homie']} is not of this convention")
    for node, of_node in given.get("nodes", {}).items():
        found += [] if is_id(node) else [f"node {node!r} is no id"]
        bad = _shape(node, of_node, RULES["node"])
        found += bad
        for name, of_name in {} if bad else of_node.get("properties", {}).items():
            found += [] if is_id(name) else [f"{node}/{name!r} is no id"]
            found += _property(f"{node}/{name}", of_name)
    return found


def payload_fault(given, payload):
    """Why a value cannot be one of this property, "" where it can."""
    kind = given["datatype"]
    if kind == "enum":
        return "" if payload in given["format"].split(",") else f"{payload!r} is none of {given['format']}"
    if kind == "json":
        try:
            return "" if isinstance(json.loads(payload), dict | list) else "neither array nor object"
        except ValueError:
            return "no JSON"
    pattern = RULES["payload"].get(kind)
    return "" if pattern is None or re.fullmatch(pattern, payload) else f"{payload!r} is no {kind}"


def flags(given):
    """(retained, settable) of a property, with the convention's defaults."""
    return tuple(given.get(name, RULES["defaults"][name]) for name in ("retained", "settable"))
