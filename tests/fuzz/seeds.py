"""Sound input to begin with: the contract's vectors, the shipped settings and recipes, a list of requests."""

import json
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PLAIN = {"frame", "backlog", "ack", "grant", "stop"}


def vectors(kind):
    told = json.loads((ROOT / "tests/contract/vectors.json").read_text("utf-8"))
    return [one["text"].encode() for one in told["good"] if one["message"] == kind]


def description():
    description = {"homie": "5.0", "version": 1, "name": "kit-3f2a", "nodes": {"probe-1": {"properties": {}}}}
    plain = [(0, json.dumps(description)), (1, "ready"), (2, "Over the cap"), (3, "66.25"), (4, "ok"), (5, "on")]
    plain += [(6, "95.00"), (7, "true"), (8, "-61"), (9, "1204"), (10, "7200"), (13, "mechanical")]
    found = [bytes([place]) + text.encode() for place, text in plain]
    found += [b"\x0b" + text for text in vectors("frame")] + [b"\x0c" + text for text in vectors("backlog")]
    return [*found, b"\x0ehomie/5/kit-3f2a/frame/sample"]


HUB_TOML = """\
[broker]
child = true
port = 18830
[web]
host = "127.0.0.1"
port = 8080
names = ["smoker.local"]
[kit]
id = "kit-1"
[cook]
lift_kelvin = 27.78
cap_degC = 87.8
band_degC = [66.67, 68.33]
element_watts = 800
"""


def kits():
    return [file.read_bytes() for file in sorted((ROOT / "hardware/settings").glob("*.json"))]


def recipes():
    return [file.read_bytes() for file in sorted((ROOT / "hub/fiftyover/reports/recipes").glob("*.toml"))]


def http():
    form = {"name": "Pork", "meat": [{"name": "pork", "kind": "pork", "fat": "25 %", "weight": "4 kg"}]}
    form |= {
        "cure": {"wanted": "150 ppm"},
        "salt": {"in_all": "1.8 %"},
        "casing": [{"line": "slim", "diameter": "45 mm"}],
    }
    reads = (
        "/", "/history?points=50", "/clocks", "/kit", "/kit/now", "/batches", "/batches/7f2c0001", "/settings", "/plan",
        "/batches/7f2c0001/csv?units=C", "/batches/7f2c0001/history", "/batches/compare?first=7f2c0001&second=7f2c0001",
        "/plan/recipe/garlic_mustard", "/api/v1/now", "/api/v1/batches/7f2c0001/series?points=20", "/api/v1/session",
        "/live", "/api/v1/events", "/plan/practice/progress", "/heard/x", "/sign-in", "/static/page.css",
        "/api/openapi.json",
    )  # fmt: skip
    marks = (
        {"kind": "pulled", "chub": 1, "probe": "stays", "core_degC": 66.9}, {"kind": "hung", "chubs": [1, 2]},
        {"kind": "hand-reading", "chub": 1, "core_degC": 60.5}, {"kind": "door", "open": True}, {"kind": "stop-heat"},
        {"kind": "resume-heat"}, {"kind": "undo", "event": 1}, {"kind": "follow-next", "chub": 1},
        {"kind": "next-stage", "stage": 0}, {"kind": "turned", "chubs": [1, 2]}, {"kind": "into-ice", "chubs": [1]},
        {"kind": "out-of-ice", "chubs": [1]}, {"kind": "core-reading", "chub": 1, "core_degC": 60, "held_s": 10},
        {"kind": "second-reading", "chub": 1, "core_degC": 60, "second_degC": 61}, {"kind": "packed", "note": "x"},
        {"kind": "weighed", "what": "raw", "kg": 4.5}, {"kind": "into-refrigerator", "probe": 2, "batch": "7f2c0001"},
        {"kind": "undo-mark", "event": 0}, {"kind": "closed"}, {"kind": "stuffed", "core_degC": 8.0},
    )  # fmt: skip
    posts = [("/mark", one) for one in marks] + [("/api/v1/marks", one) for one in marks]
    posts += [
        ("/plan/sheet", form),
        ("/plan/page", form),
        ("/plan/hang", form),
        ("/plan/begin", form),
        ("/api/v1/plan", form),
    ]
    posts += [
        ("/settings/contacts", {"to": "first", "add": "ntfy://server/topic"}),
        ("/settings/people", {"add": "bo"}),
    ]
    posts += [("/settings/contacts", {"escalate_after_s": 300, "response_s": 60}), ("/settings/alarm-test", {})]
    posts += [("/kit/calibration", {"probe": 1, "kind": "ice", "degC": 0.1})]
    posts += [("/heard", {}), ("/sign-out", {}), ("/api/v1/session", {"name": "anna", "code": "right"})]
    found = [{"m": "GET", "p": path, "k": who} for path in reads for who in (0, 1)]
    found += [{"m": "POST", "p": path, "k": 1, "t": 1, "b": body} for path, body in posts]
    found += [{"m": "POST", "p": path, "k": 2, "t": 1, "b": body} for path, body in posts[:3]]
    found += [{"m": "POST", "p": path, "k": 1, "b": body} for path, body in posts[:3]]
    found.append({"m": "GET", "p": "/", "k": 1, "h": {"host": "elsewhere.test", "origin": "http://elsewhere.test"}})
    form_head = {"content-type": "application/x-www-form-urlencoded"}
    found.append({"m": "POST", "p": "/sign-in", "k": 0, "h": form_head, "b": "name=anna&code=right"})
    return [json.dumps(one).encode() for one in found]


OF = {
    "description": description,
    "hub-settings": lambda: [HUB_TOML.encode()],
    "kit-settings": kits,
    "recipe": recipes,
    "http": http,
}


def of(name):
    """Seeds of a target, as bytes."""
    return vectors(name) if name in PLAIN else OF[name]()
