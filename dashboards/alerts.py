"""Alert rules for Grafana, beside the hub's own alarms, for a hub that itself is down; nothing safe rests on them."""

from __future__ import annotations

from typing import Any

from fiftyover.influx.schema import HEATER, PROBE

from . import queries as q

LOOK_BACK_S = 300
NAN_STATE = "Alerting"  # no rows at all is the very thing to tell


def rules() -> dict[str, Any]:
    """The provisioning file: a kit that is not heard while it was today, and a chamber probe at fault."""
    heard = q.alert(HEATER, "seq", "count")
    fault = q.alert(PROBE, "status", "max", "\"probe\" = 'probe-1'")
    return {
        "apiVersion": 1,
        "groups": [
            {
                "orgId": 1,
                "name": "fiftyover",
                "folder": "Smoker",
                "interval": "1m",
                "rules": [
                    _rule(
                        "fiftyover-silent",
                        "No reading arrives",
                        heard,
                        ("lt", 1.0),
                        "Is the hub running? Look at the kit.",
                    ),
                    _rule(
                        "fiftyover-probe",
                        "The chamber probe is at fault",
                        fault,
                        ("within_range", 0.5, 5.5),
                        "No heat.",
                    ),
                ],
            }
        ],
    }


def _rule(uid: str, title: str, query: str, when: tuple[str, *tuple[float, ...]], says: str) -> dict[str, Any]:
    asked = q.InfluxQl(query, "", "A").to_json()
    test = {
        "refId": "B",
        "type": "classic_conditions",
        "datasource": {"type": "__expr__", "uid": "__expr__"},
        "conditions": [
            {
                "type": "query",
                "evaluator": {"type": when[0], "params": list(when[1:])},
                "operator": {"type": "and"},
                "query": {"params": ["A"]},
                "reducer": {"type": "last", "params": []},
            }
        ],
    }
    span = {"from": LOOK_BACK_S, "to": 0}
    return {
        "uid": uid,
        "title": title,
        "condition": "B",
        "for": "2m",
        "noDataState": NAN_STATE if uid == "fiftyover-silent" else "OK",
        "execErrState": "Error",
        "annotations": {"summary": says},
        "data": [
            {"refId": "A", "datasourceUid": q.SOURCE, "relativeTimeRange": span, "model": asked},
            {"refId": "B", "datasourceUid": "__expr__", "relativeTimeRange": span, "model": test},
        ],
    }
