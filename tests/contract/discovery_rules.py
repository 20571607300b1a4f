"""The published discovery messages as rules of our own: what breaks the format, and what the software shows."""

import json
import re
from pathlib import Path

import jinja2
import jsonschema_rs

PUBLISHED = json.loads((Path(__file__).parents[1] / "references/home_automation/mqtt_discovery.json").read_text())
_CHECK = {kind: jsonschema_rs.validator_for(PUBLISHED[kind]) for kind in PUBLISHED["looked_at"]}
_TEMPLATES = jinja2.Environment(undefined=jinja2.StrictUndefined, autoescape=False)  # noqa: S701 - no page is made


def faults(topic, message):
    """What of a message breaks the published format."""
    match = re.match(PUBLISHED["topic"], topic)
    if match is None or match["component"] not in _CHECK:
        return [f"topic {topic}"]
    found = _CHECK[match["component"]].iter_errors(message)
    return [f"{topic} {list(error.instance_path)}: {error.message}" for error in found]


def rendered(template, payload):
    """A template of the format, filled with a payload: `value` its text, `value_json` what that says as JSON."""
    try:
        told = json.loads(payload)
    except ValueError:
        told = None
    return _TEMPLATES.from_string(template).render(value=payload, value_json=told)


def shown(topic, message, payload):
    """What a person sees of a payload on the state topic: on, off, a word, a number with its unit; None: refused."""
    value = rendered(message["value_template"], payload) if "value_template" in message else payload
    if topic.split("/")[1] == "binary_sensor":
        return {message.get("payload_on", "ON"): "on", message.get("payload_off", "OFF"): "off"}.get(value)
    if "options" in message:
        return value if value in message["options"] else None
    return " ".join([value, message["unit_of_measurement"]]) if "unit_of_measurement" in message else value


def available(message, payload):
    """Whether the software takes the kit for present; None: it takes no notice."""
    value = rendered(message["availability_template"], payload) if "availability_template" in message else payload
    yes, no = message.get("payload_available", "online"), message.get("payload_not_available", "offline")
    return {yes: True, no: False}.get(value)
