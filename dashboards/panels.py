"""How the dashboards look: four kinds of panel, each made in one place; status words come from the contract."""

from __future__ import annotations

from grafana_foundation_sdk.builders import dashboard as builder
from grafana_foundation_sdk.builders import stat, statetimeline, table, timeseries
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.cog.variants import Dataquery
from grafana_foundation_sdk.models import dashboard as model

from fiftyover_kit.contract import limits

from .queries import SOURCE, InfluxQl

TYPES = ("timeseries", "stat", "state-timeline", "table")  # a closed list
REF = model.DataSourceRef(type_val="influxdb", uid=SOURCE)
CALM, WARN, BAD = "green", "orange", "red"


def _at(x: int, y: int, w: int, h: int) -> model.GridPos:
    return model.GridPos(h=h, w=w, x=x, y=y)


def curves(title: str, unit: str, place: tuple[int, int, int, int], *asked: tuple[str, str]) -> timeseries.Panel:
    """Curves over time; `asked` are (query, name of its curves)."""
    made = timeseries.Panel().title(title).datasource(REF).unit(unit).grid_pos(_at(*place)).line_width(2)
    for number, (query, name) in enumerate(asked):
        made.with_target(_Query(InfluxQl(query, name, chr(ord("A") + number))))
    return made


def figure(title: str, unit: str, place: tuple[int, int, int, int], query: str, name: str = "") -> stat.Panel:
    """The newest figure, large."""
    made = stat.Panel().title(title).datasource(REF).unit(unit).grid_pos(_at(*place))
    return made.with_target(_Query(InfluxQl(query, name, "A")))


def states(
    title: str, place: tuple[int, int, int, int], words: tuple[str, ...], good: tuple[str, ...], query: str, name: str
) -> statetimeline.Panel:
    """Which of these words, in the contract's order, held when; `good` ones are calm, the others stand out."""
    options = {
        str(number): model.ValueMappingResult(text=word, color=CALM if word in good else BAD, index=number)
        for number, word in enumerate(words)
    }
    mapping = model.ValueMap(options=options)
    made = statetimeline.Panel().title(title).datasource(REF).grid_pos(_at(*place)).mappings([mapping])
    return made.with_target(_Query(InfluxQl(query, name, "A")))


def rows(title: str, place: tuple[int, int, int, int], query: str) -> table.Panel:
    """A table of rows as they stand in the database."""
    made = table.Panel().title(title).datasource(REF).grid_pos(_at(*place))
    return made.with_target(_Query(InfluxQl(query, "", "A", table=True)))


def choice(name: str, label: str, query: str) -> builder.QueryVariable:
    """A variable that offers the values of a tag."""
    return (
        builder.QueryVariable(name)
        .label(label)
        .datasource(REF)
        .query(query)
        .refresh(model.VariableRefresh.ON_TIME_RANGE_CHANGED)
        .sort(model.VariableSort.ALPHABETICAL_ASC)
    )


STATUS = limits.STATUS
# The contract's reasons in words for a person, short enough for a stripe; in the contract's order.
REASON = {
    "on": "on",
    "off": "off, warm enough",
    "refused": "permit refused",
    "expired": "hub not heard in time",
    "cap": "over the cut-off",
    "probe-fault": "chamber probe at fault",
    "boot-hold": "just started",
    "link-lost": "link lost",
    "door": "door",
    "latched": "cut off until reset at the kit",
    "standby": "holding by itself",
}
WHY = tuple(REASON[why] for why in limits.WHY)  # a reason without words stops the build
STATUS_GOOD = limits.STATUS_HEATS
WHY_GOOD = tuple(REASON[why] for why in ("on", "off", "standby"))


class _Query(Builder[Dataquery]):
    """The SDK wants a builder where a query goes."""

    def __init__(self, query: InfluxQl) -> None:
        self._query = query

    def build(self) -> InfluxQl:
        """The query itself."""
        return self._query
