"""The committed dashboards' queries, with their variables filled as Grafana fills them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

DASHBOARDS = Path(__file__).resolve().parents[2] / "dashboards"


def queries() -> Iterator[tuple[str, str]]:
    """(board or rule, query) of every panel, variable and alert rule."""
    for file in sorted((DASHBOARDS / "built").glob("*.json")):
        board = json.loads(file.read_text())
        for panel in board["panels"]:
            yield from ((file.stem, target["query"]) for target in panel["targets"])
        yield from ((file.stem, variable["query"]) for variable in board["templating"]["list"])
    rules = json.loads((DASHBOARDS / "provisioning" / "alerting" / "fiftyover.json").read_text())
    yield from ((rule["title"], rule["data"][0]["model"]["query"]) for rule in rules["groups"][0]["rules"])


def filled(query: str, kit: str, batch: str, from_ms: int, to_ms: int) -> str:
    span = f"time >= {from_ms}ms AND time <= {to_ms}ms"
    for name, value in (("$timeFilter", span), ("$__interval", "30s"), ("$kit", kit), ("$batch", batch)):
        query = query.replace(name, value)
    assert "$" not in query.replace("$/", ""), query
    return query


def values(series: list[dict]) -> list[object]:
    """Everything but times and what is not there."""
    return [cell for one in series for row in one["values"] for cell in row[1:] if cell is not None]
