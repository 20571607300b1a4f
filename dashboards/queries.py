"""What the dashboards ask, in InfluxQL, which InfluxDB 1, 2 and 3 all answer. Names come from the hub's schema."""

from __future__ import annotations

from dataclasses import dataclass, field

from grafana_foundation_sdk.cog.variants import Dataquery

from fiftyover.influx.schema import EVENT, HEATER, MEASUREMENTS, PROBE, TARGET

KIT, BATCH = "kit", "batch"
SOURCE = "fiftyover-influx"


@dataclass
class InfluxQl(Dataquery):
    """One query of a panel; the SDK has no builder for this data source."""

    query: str
    alias: str
    ref_id: str
    table: bool = False
    extra: dict[str, object] = field(default_factory=dict)

    def to_json(self) -> dict[str, object]:
        """As Grafana stores it."""
        return {
            "refId": self.ref_id,
            "datasource": {"type": "influxdb", "uid": SOURCE},
            "rawQuery": True,
            "query": self.query,
            "alias": self.alias,
            "resultFormat": "table" if self.table else "time_series",
        }


def over_time(
    measurement: str, name: str, how: str = "mean", by: tuple[str, ...] = (), fill: str = "null", tag: str = KIT
) -> str:
    """A field's `how` (mean, last, max ...) in each step of the picture, a curve for each value of the tags `by`."""
    _known(measurement, name, (*by, tag))
    split = "".join(f', "{one}"' for one in by)
    return (
        f'SELECT {how}("{name}") FROM "{measurement}" WHERE "{tag}" =~ /^${tag}$/ AND $timeFilter '
        f"GROUP BY time($__interval){split} fill({fill})"
    )


def newest(measurement: str, name: str, by: tuple[str, ...] = ()) -> str:
    """A field's newest value in the time shown, one for each value of the tags `by`."""
    _known(measurement, name, (*by, KIT))
    split = f" GROUP BY {', '.join(chr(34) + one + chr(34) for one in by)}" if by else ""
    return f'SELECT last("{name}") FROM "{measurement}" WHERE "{KIT}" =~ /^${KIT}$/ AND $timeFilter{split}'


def events() -> str:
    """Everything that happened to the batch, as a table."""
    _known(EVENT, "number", (BATCH, "kind", "chub"))
    _known(EVENT, "core_degC", ())
    return (
        f'SELECT "kind", "chub", "core_degC", "number" FROM "{EVENT}" WHERE "{BATCH}" =~ /^${BATCH}$/ AND $timeFilter'
    )


def calls_and_pulls() -> str:
    """The core temperatures at which chubs were called and pulled."""
    _known(EVENT, "core_degC", (BATCH, "kind", "chub"))
    return (
        f'SELECT "kind", "chub", "core_degC" FROM "{EVENT}" WHERE "{BATCH}" =~ /^${BATCH}$/ AND '
        "(\"kind\" = 'called' OR \"kind\" = 'pulled') AND $timeFilter"
    )


def count(measurement: str, name: str, by: tuple[str, ...] = ()) -> str:
    """How many rows a minute there are: 60 when nothing is missing."""
    _known(measurement, name, (*by, KIT))
    split = "".join(f', "{one}"' for one in by)
    return (
        f'SELECT count("{name}") FROM "{measurement}" WHERE "{KIT}" =~ /^${KIT}$/ AND $timeFilter '
        f"GROUP BY time(1m){split} fill(0)"
    )


def alert(measurement: str, name: str, how: str, where: str = "") -> str:
    """A field's `how` each minute over all kits, for an alert rule; `where` is one condition more."""
    _known(measurement, name, ())
    more = f" AND {where}" if where else ""
    return f'SELECT {how}("{name}") FROM "{measurement}" WHERE $timeFilter{more} GROUP BY time(1m) fill(none)'


def values_of(measurement: str, tag: str) -> str:
    """The values of a tag: what a variable offers."""
    _known(measurement, None, (tag,))
    return f'SHOW TAG VALUES FROM "{measurement}" WITH KEY = "{tag}"'


def _known(measurement: str, name: str | None, tags: tuple[str, ...]) -> None:
    """KeyError at build time for a name that the hub does not write."""
    shape = MEASUREMENTS[measurement]
    if name is not None and name not in shape.fields:
        raise KeyError(f"{measurement} has no field {name}")
    for tag in tags:
        if tag not in shape.tags:
            raise KeyError(f"{measurement} has no tag {tag}")


__all__ = ["BATCH", "EVENT", "HEATER", "KIT", "PROBE", "SOURCE", "TARGET", "InfluxQl"]
