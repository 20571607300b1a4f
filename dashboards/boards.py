"""Three boards: the cook while it goes on, the record of a batch, the kits. `build` makes all files in built/."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from grafana_foundation_sdk.builders import dashboard as builder
from grafana_foundation_sdk.builders import timeseries
from grafana_foundation_sdk.cog.encoder import JSONEncoder

from . import alerts
from . import panels as p
from . import queries as q

BUILT = Path(__file__).parent / "built"


def write() -> list[str]:
    """Write all files anew; their names."""
    made = build()
    for name, text in made.items():
        (BUILT / name).write_text(text, encoding="utf-8")
    return list(made)


def _board(uid: str, title: str, span: str, refresh: str) -> builder.Dashboard:
    made = builder.Dashboard(title).uid(uid).tags(["fiftyover"]).readonly().timezone("browser")
    return made.time(f"now-{span}", "now").refresh(refresh)


def _kit() -> builder.QueryVariable:
    return p.choice(q.KIT, "Kit", q.values_of(q.HEATER, q.KIT))


def _temperatures(title: str, height: int, *more: tuple[str, str]) -> timeseries.Panel:
    """Every probe of the kit over time, over the board's whole width at its top."""
    probes = (q.over_time(q.PROBE, "temperature_degC", by=("probe",)), "$tag_probe")
    return p.curves(title, "celsius", (0, 0, 24, height), probes, *more)


def cook() -> builder.Dashboard:
    """What the smoker does now: chamber and target, cores, element, probes."""
    made = _board("fiftyover-cook", "The cook", "12h", "10s").with_variable(_kit())
    asked = (q.over_time(q.TARGET, "target_degC", "last", fill="previous"), "asked")
    made.with_panel(_temperatures("Chamber, cores and what the chamber is asked to be", 11, asked))
    made.with_panel(
        p.figure("Now", "celsius", (0, 11, 12, 5), q.newest(q.PROBE, "temperature_degC", ("probe",)), "$tag_probe")
    )
    made.with_panel(
        p.figure("Share of time the element is on", "percentunit", (12, 11, 6, 5), q.newest(q.HEATER, "duty"))
    )
    made.with_panel(p.figure("Asked", "celsius", (18, 11, 6, 5), q.newest(q.TARGET, "target_degC")))
    made.with_panel(
        p.curves(
            "Element",
            "percentunit",
            (0, 16, 12, 7),
            (q.over_time(q.HEATER, "duty"), "share of time"),
            (q.over_time(q.HEATER, "element_on"), "on"),
        )
    )
    made.with_panel(
        p.states("Why it is on or off", (12, 16, 12, 7), p.WHY, p.WHY_GOOD, q.over_time(q.HEATER, "why", "last"), "why")
    )
    return made


def record() -> builder.Dashboard:
    """What became of a batch: its events, the cores at call and pull, the curves beside."""
    made = _board("fiftyover-record", "The batch record", "24h", "")
    made.with_variable(p.choice(q.BATCH, "Batch", q.values_of(q.EVENT, q.BATCH)))
    made.with_variable(_kit())
    made.with_panel(_temperatures("Curves of the kit", 10))
    made.with_panel(p.rows("Called and pulled", (0, 10, 10, 10), q.calls_and_pulls()))
    made.with_panel(p.rows("Everything that happened", (10, 10, 14, 10), q.events()))
    return made


def kits() -> builder.Dashboard:
    """Whether every kit is heard, and what its probes say of themselves."""
    made = _board("fiftyover-kits", "The kits", "6h", "30s").with_variable(_kit().multi(True).include_all(True))
    made.with_panel(
        p.curves(
            "Readings a minute: 60 when none is missing",
            "short",
            (0, 0, 24, 8),
            (q.count(q.HEATER, "seq", (q.KIT,)), "$tag_kit"),
        )
    )
    made.with_panel(
        p.states(
            "Probes",
            (0, 8, 24, 9),
            p.STATUS,
            p.STATUS_GOOD,
            q.over_time(q.PROBE, "status", "last", (q.KIT, "probe")),
            "$tag_kit $tag_probe",
        )
    )
    made.with_panel(
        p.states(
            "Heaters", (0, 17, 24, 7), p.WHY, p.WHY_GOOD, q.over_time(q.HEATER, "why", "last", (q.KIT,)), "$tag_kit"
        )
    )
    return made


BOARDS = {"cook": cook, "record": record, "kits": kits}


def build() -> dict[str, str]:
    """File name, seen from built/, -> JSON text of each board and of the alert rules."""
    made = {f"{name}.json": _text(make()) for name, make in BOARDS.items()}
    return {**made, "../provisioning/alerting/fiftyover.json": json.dumps(alerts.rules(), indent=2) + "\n"}


def _text(board: builder.Dashboard) -> str:
    data: dict[str, Any] = json.loads(JSONEncoder(sort_keys=True).encode(board.build()))
    data.pop("id", None)
    for number, panel in enumerate(data["panels"], start=1):
        panel["id"] = number
    for variable in data["templating"]["list"]:  # keys of the SDK's own that Grafana does not know
        for stray in [key for key in variable if key.startswith("auto")]:
            del variable[stray]
    return json.dumps(data, indent=2, sort_keys=True) + "\n"
