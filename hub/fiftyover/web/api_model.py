"""What the HTTP API takes and gives, as pydantic models; `openapi` turns them into the document.

Temperatures are °C, weights kg, durations seconds, times UTC milliseconds unless the name says otherwise. Within a
version no key is taken away nor given another meaning; new ones may come: a reader passes over what it does not know.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from ..batch.recipe import Recipe
from .words import MARKS

POINTS_LEAST, POINTS_USUAL, POINTS_MOST = 10, 400, 2000
Name = Annotated[str, StringConstraints(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f]+$")]
Note = Annotated[str, StringConstraints(max_length=400, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")]


def _whole(value: Any) -> Any:
    """JSON knows one kind of number: 3.0 is the integer 3 (JSON Schema, "type")."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


Number = Annotated[int, Field(strict=True, ge=1, le=99), BeforeValidator(_whole)]  # of a chub
Stage = Annotated[int, Field(strict=True, ge=0, le=99), BeforeValidator(_whole)]
EventNumber = Annotated[int, Field(strict=True, ge=0, le=1_000_000), BeforeValidator(_whole)]
Core = Annotated[float, Field(strict=True, ge=-5, le=110)]


class Taken(BaseModel):
    """Root of what is taken: a key that is not known is refused, and so is a number that is none."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Given(BaseModel):
    """Root of what is given: only what is declared leaves the hub."""

    model_config = ConfigDict(extra="ignore", allow_inf_nan=False)


# -- taken


class SignIn(Taken):
    """Name and code, as at the sign-in page."""

    name: Name
    code: Annotated[str, StringConstraints(min_length=1, max_length=64)]


class MarkWish(Taken):
    """A mark by the person. Which of the keys belong to a kind is in `batch/events.py` and `batch/day.py`."""

    kind: Literal[tuple(sorted(MARKS))]  # type: ignore[valid-type]
    batch: Annotated[str, StringConstraints(max_length=64)] | None = None
    chub: Number | None = None
    chubs: Annotated[list[Number], Field(min_length=1, max_length=99)] | None = None
    core_degC: Core | None = None  # noqa: N815
    second_degC: Core | None = None  # noqa: N815
    probe: Literal["stays", "away"] | Number | None = None
    open: Annotated[bool, Field(strict=True)] | None = None
    stage: Stage | None = None
    event: EventNumber | None = None
    held_s: Annotated[float, Field(strict=True, ge=0, le=3600)] | None = None
    what: Literal["raw", "cooked"] | None = None
    kg: Annotated[float, Field(strict=True, ge=0.05, le=500)] | None = None
    note: Note | None = None


class Points(Taken):
    """How many rows of curves at most."""

    points: Annotated[int, Field(ge=POINTS_LEAST, le=POINTS_MOST)] = POINTS_USUAL


class Nothing(Taken):
    """No parameter."""


PlanWish = Recipe

# -- given


class Refusal(Given):
    """Something was not done: one sentence for a person."""

    done: Literal[False]
    sentence: str


class Done(Given):
    """Something was done: one sentence for a person."""

    done: Literal[True]
    sentence: str


class SignedIn(Given):
    """A session. `key` goes with each request as `Authorization: Bearer <key>`; it is told this once."""

    key: str
    name: str
    role: Literal["cook", "watcher"]


class Who(Given):
    """Who is asking. `token` goes with each change as `X-Fiftyover-Token` where the session is a cookie, or none."""

    name: str
    role: Literal["cook", "watcher"]
    token: str


class Alert(Given):
    """An alarm that stands."""

    key: str
    priority: Literal["act", "soon", "know"]
    text: str


class Chub(Given):
    """A chub now. `finish`: when it is expected to be done, UTC ms from and to."""

    number: int
    line: str
    place: str
    probe: int | None
    lead: bool
    guessed: bool
    finish: tuple[int, int] | None
    diameter_mm: float
    core_degC: float | None  # noqa: N815
    state: Literal["hanging", "called", "check", "pulled", "waiting"]
    words: str


class KitLine(Given):
    """The kit beside its readings; `age_s` of its newest one."""

    id: str
    age_s: float | None
    simulated: bool


class Now(Given):
    """What the hub shows now; `t` is each probe, the chamber's first."""

    name: str
    kit: KitLine
    at_ms: int | None
    t: list[float | None]
    chamber_degC: float | None  # noqa: N815
    target_degC: float | None  # noqa: N815
    limit_degC: float | None  # noqa: N815
    band_degC: list[float]  # noqa: N815
    heater: str
    warmup_s: float | None
    warmup_limit_s: float
    alarms: list[Alert]
    chubs: list[Chub]
    stopped: bool
    stage: str
    next: str
    next_at: tuple[int, int] | None


class BatchLine(Given):
    """A batch of the record: first and last event (UTC ms), how many chubs it has and how many are out."""

    id: str
    name: str
    from_ms: int
    to_ms: int
    chubs: int | None
    out: int | None
    state: str


class RecordChub(Given):
    """What became of a chub; seconds since the first was hung. Rows are °F of FSIS Appendix A."""

    number: int
    line: str
    diameter_mm: float
    place: str
    probe: int | None
    hung_s: float | None
    called_s: float | None
    pulled_s: float | None
    pulled_degC: float | None  # noqa: N815
    pulled_in_band: bool | None
    peak_degC: float | None  # noqa: N815
    rows_degF: list[int]  # noqa: N815
    rows_by_hand_degF: list[int]  # noqa: N815
    highest_row_degF: int | None  # noqa: N815
    warm_up: dict[str, Any]
    cooling: dict[str, Any]


class Record(Given):
    """The record of a batch, as `fiftyover report BATCH --json` gives it."""

    batch: str
    name: str
    kit: str
    hung_utc: str | None
    plan: dict[str, Any]
    made_of: dict[str, Any]
    chubs: list[RecordChub]
    coldest_chub: int | None
    weights: dict[str, float | None]
    closed: bool
    missed_a_published_limit: bool
    said: list[str]
    beside: str
    faults: list[dict[str, Any]]
    marks: list[dict[str, Any]]
    readings: int


class Curve(Given):
    """One curve over the series' times: °C, null where nothing was believed."""

    kind: Literal["chamber", "core", "target"]
    channel: int
    v: list[float | None]


class ChartMark(Given):
    """Something that happened, UTC s."""

    t: int
    label: str


class Series(Given):
    """Curves of a batch: `t` is UTC s, one for each value of each curve."""

    t: list[int]
    curves: list[Curve]
    band_degC: list[float]  # noqa: N815
    marks: list[ChartMark]


class Probe(Given):
    """A probe of a kit; probe 1 is the chamber's."""

    probe: str
    degC: float | None  # noqa: N815
    where: str
    words: str
    good: bool


class KitFault(Given):
    """A fault of the running batch."""

    utc_ms: int
    text: str


class Kit(Given):
    """A kit: readings, what it says of itself, faults."""

    id: str
    simulated: bool
    probes: list[Probe]
    element: str
    limit_degC: float | None  # noqa: N815
    cut_off_degC: float | None  # noqa: N815
    facts: list[tuple[str, str]]
    faults: list[KitFault]


class Block(Given):
    """A titled table in words."""

    title: str
    head: list[str]
    rows: list[list[str]]


class Sheet(Given):
    """The batch sheet of a recipe."""

    blocks: list[Block]
    notices: list[str]
    closing: str
