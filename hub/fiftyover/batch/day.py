"""The days around the cook: what the person marks from the bowl to the refrigerator. Append-only, with undo. Pure.

These events stand in the batch's record beside those of the cook, and are folded by themselves: a batch may be stuffed
while another hangs in the smoker. ``undo-mark`` names an event by its number among the batch's day events, from 0.

| kind | data |
|---|---|
| recipe | what the batch is made of: kinds, meat_g, batch_g, nitrite_ppm, erythorbate_ppm, fat |
| mixed, bloomed, packed | core_degC or null (packed: note) |
| stuffed | core_degC of the warmest chub, or null: the warm-up clock begins |
| into-refrigerator | chubs: empty before the cook (the cure hold), with the channel of the ``probe`` in the glass of
water, or null, and the ``kit`` it belongs to, where that is another one; after the cook those that are put away |
| wood, water, damper | note |
| turned | chubs: the two that change places |
| into-ice, out-of-ice | chubs |
| core-reading | chub, core_degC, held_s: a hand thermometer, after the cook |
| weighed | what ("raw" or "cooked"), kg |
| second-reading | chub, core_degC by the tool's probe, second_degC by another thermometer |
| closed | |
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fiftyover.batch.events import Book, Event
from fiftyover.batch.plan import Plan
from fiftyover.errors import PlanError
from fiftyover_kit.contract.units import kelvin_from_degF_difference

RECIPE = "recipe"
MIXED = "mixed"
STUFFED = "stuffed"
COLD = "into-refrigerator"
WOOD, WATER, DAMPER = "wood", "water", "damper"
TURNED = "turned"
INTO_ICE = "into-ice"
OUT_OF_ICE = "out-of-ice"
CORE = "core-reading"
BLOOMED = "bloomed"
WEIGHED = "weighed"
PACKED = "packed"
SECOND = "second-reading"
CLOSED = "closed"
UNDO_MARK = "undo-mark"

KINDS = (
    RECIPE, MIXED, STUFFED, COLD, WOOD, WATER, DAMPER, TURNED, INTO_ICE, OUT_OF_ICE, CORE, BLOOMED, WEIGHED, PACKED,
    SECOND, CLOSED, UNDO_MARK,
)  # fmt: skip
MARKS = tuple(kind for kind in KINDS if kind != RECIPE)
APART_KELVIN = kelvin_from_degF_difference(2.0)  # two thermometers further apart: check the probe
HELD_MOST_S = 3600.0


@dataclass(frozen=True, slots=True)
class HandRead:
    """A core read by hand: chub, when, degC, and for how long it was seen to hold [s]."""

    chub: int
    at_s: float
    core_degC: float
    held_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Second:
    """The reading of another thermometer beside the tool's own [degC]; None: the tool had none."""

    chub: int
    at_s: float
    core_degC: float | None
    second_degC: float

    @property
    def apart_kelvin(self) -> float | None:
        """How far the two are apart."""
        return None if self.core_degC is None else abs(self.second_degC - self.core_degC)

    @property
    def check_probe(self) -> bool:
        """Whether they are more than 2 °F apart."""
        return self.apart_kelvin is not None and self.apart_kelvin > APART_KELVIN + 1e-9


@dataclass(frozen=True, slots=True)
class Day:
    """What a batch's day events add up to. Times are steady seconds; mappings go by chub."""

    log: tuple[Event, ...] = ()
    void: frozenset[int] = frozenset()
    recipe: Mapping[str, Any] = field(default_factory=dict)
    mixed_s: float | None = None
    stuffed_s: float | None = None
    stuffed_degC: float | None = None
    held_s: float | None = None
    water_probe: int | None = None
    water_kit: str = ""
    iced_s: Mapping[int, float] = field(default_factory=dict)
    out_of_ice_s: Mapping[int, float] = field(default_factory=dict)
    cold_s: Mapping[int, float] = field(default_factory=dict)
    bloomed_s: float | None = None
    packed_s: float | None = None
    turned: tuple[tuple[float, int, int], ...] = ()
    hands: tuple[HandRead, ...] = ()
    kg: Mapping[str, float] = field(default_factory=dict)
    second: Second | None = None
    closed_s: float | None = None

    def place(self, plan: Plan, number: int, at_s: float = math.inf) -> str:
        """Where a chub hangs at a moment, after all that were turned until then."""
        places = {chub.number: chub.place for chub in plan.chubs}
        for turned_s, one, other in self.turned:
            if turned_s <= at_s:
                places[one], places[other] = places[other], places[one]
        return places[number]

    @property
    def is_poultry(self) -> bool:
        """Whether the record says that poultry is in the mix."""
        return bool(self.recipe.get("poultry"))


def fold(events: Iterable[Event]) -> Day:
    """Add up the day events among a batch's events, oldest first; others are passed over."""
    log = tuple(event for event in events if event.kind in KINDS)
    void = _void(log)
    day = Day(log=log, void=void)
    for number, event in enumerate(log):
        if number not in void and event.kind in _APPLY:
            day = _APPLY[event.kind](day, event)
    return day


def _void(log: tuple[Event, ...]) -> frozenset[int]:
    return frozenset(int(event.data["event"]) for event in log if event.kind == UNDO_MARK)


def on_mark(day: Day, book: Book | None, kind: str, data: Mapping[str, Any], at_s: float, utc_ms: int) -> Event:
    """Check a mark and make its event; PlanError if it does not fit. ``book`` is the cook's, None before it began."""
    if kind not in MARKS:
        raise PlanError(f"Mark {kind!r} is not known: use one of {', '.join(MARKS)}.")
    if day.closed_s is not None and kind != UNDO_MARK:
        raise PlanError("The batch is closed: undo that first.")
    check = _CHECK.get(kind)
    return Event(kind, at_s, utc_ms, dict(data) if check is None else check(day, book, dict(data)))


# -- adding up


def _chubs_at(mapping: Mapping[int, float], event: Event) -> dict[int, float]:
    return {**mapping, **dict.fromkeys(event.data["chubs"], event.at_s)}


def _cold(day: Day, event: Event) -> Day:
    if not event.data["chubs"]:
        kit = str(event.data.get("kit") or "")
        return replace(day, held_s=event.at_s, water_probe=event.data.get("probe"), water_kit=kit)
    return replace(day, cold_s=_chubs_at(day.cold_s, event))


def _core(day: Day, event: Event) -> Day:
    data = event.data
    read = HandRead(data["chub"], event.at_s, data["core_degC"], data.get("held_s", 0.0))
    return replace(day, hands=(*day.hands, read))


def _second(day: Day, event: Event) -> Day:
    data = event.data
    return replace(day, second=Second(data["chub"], event.at_s, data.get("core_degC"), data["second_degC"]))


_APPLY: dict[str, Callable[[Day, Event], Day]] = {
    RECIPE: lambda d, e: replace(d, recipe=e.data),
    MIXED: lambda d, e: replace(d, mixed_s=e.at_s),
    STUFFED: lambda d, e: replace(d, stuffed_s=e.at_s, stuffed_degC=e.data.get("core_degC")),
    COLD: _cold,
    TURNED: lambda d, e: replace(d, turned=(*d.turned, (e.at_s, *e.data["chubs"]))),
    INTO_ICE: lambda d, e: replace(d, iced_s=_chubs_at(d.iced_s, e)),
    OUT_OF_ICE: lambda d, e: replace(d, out_of_ice_s=_chubs_at(d.out_of_ice_s, e)),
    CORE: _core,
    BLOOMED: lambda d, e: replace(d, bloomed_s=e.at_s),
    WEIGHED: lambda d, e: replace(d, kg={**d.kg, e.data["what"]: e.data["kg"]}),
    PACKED: lambda d, e: replace(d, packed_s=e.at_s),
    SECOND: _second,
    CLOSED: lambda d, e: replace(d, closed_s=e.at_s),
}


# -- checking


def _number(data: Mapping[str, Any], key: str, low: float, high: float, unit: str, what: str) -> float:
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise PlanError(f"Say {what}: a number in {unit} is missing.")
    if not low <= value <= high:  # an integer of many digits is compared as it is: as a float it does not exist
        shown = f"{value:g}" if abs(value) < 1e15 else "So much"
        raise PlanError(f"{shown} {unit} is not {what}: it lies outside {low:g} to {high:g} {unit}.")
    return float(value)


def _core_degC(data: Mapping[str, Any], key: str = "core_degC") -> float:
    return _number(data, key, -5.0, 110.0, "°C", "the core")


def _perhaps_core(_: Day, __: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    if data.get("core_degC") is not None:
        data["core_degC"] = _core_degC(data)
    return data


def _pulled(book: Book | None, data: dict[str, Any], already: Iterable[int] = ()) -> dict[str, Any]:
    """The chubs named, or all that came out and are not yet where they go."""
    out = set(book.pulled_s) if book is not None else set()
    numbers = data.get("chubs")
    if numbers is None:
        numbers = sorted(out - set(already))
    if not isinstance(numbers, list) or not numbers or not all(type(one) is int for one in numbers):
        raise PlanError("Say which chubs: none that came out of the smoker is left.")
    for number in numbers:
        if number not in out:
            raise PlanError(f"Chub {number} did not come out of the smoker yet: mark it as pulled first.")
    return {**data, "chubs": numbers}


def _check_cold(day: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    if book is None or not book.hung_s:
        probe = data.get("probe")
        if probe is not None and (isinstance(probe, bool) or not isinstance(probe, int) or not 0 <= probe <= 31):
            raise PlanError(f"{probe!r} is no probe that could hang in the glass of water: probes count from 0 to 31.")
        return {**data, "chubs": []}
    return _pulled(book, data, day.cold_s)


def _check_ice(day: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    return _pulled(book, data, day.iced_s)


def _check_out_of_ice(day: Day, _: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    numbers = data.get("chubs") or sorted(set(day.iced_s) - set(day.out_of_ice_s))
    known = isinstance(numbers, list) and all(type(one) is int and one in day.iced_s for one in numbers)
    if not numbers or not known:
        raise PlanError("No such chub is in the ice: mark it as put into ice first.")
    return {**data, "chubs": list(numbers)}


def _check_turned(_: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    pair = data.get("chubs")
    if book is None or not isinstance(pair, list) or len(pair) != 2 or pair[0] == pair[1]:
        raise PlanError("Say which two chubs changed places.")
    for number in pair:
        if type(number) is not int or number not in book.hanging:
            raise PlanError(f"Chub {number!r:.40} does not hang in the smoker.")
    return data


def _check_core(_: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    number = data.get("chub")
    if book is None or type(number) is not int:
        raise PlanError("Say which chub was read: its number is missing.")
    book.plan.chub(number)
    held_s = 0.0 if data.get("held_s") is None else _number(data, "held_s", 0.0, HELD_MOST_S, "s", "how long it held")
    return {**data, "core_degC": _core_degC(data), "held_s": held_s}


def _check_weighed(_: Day, __: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    if data.get("what") not in ("raw", "cooked"):
        raise PlanError("Say what was weighed: raw (before the smoker) or cooked (cold, before packing).")
    return {**data, "kg": _number(data, "kg", 0.05, 500.0, "kg", "the weight of the batch")}


def _check_second(_: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    number = data.get("chub")
    if book is None or type(number) is not int:
        raise PlanError("Say which chub was read with the other thermometer: take the coldest one.")
    book.plan.chub(number)
    core = None if data.get("core_degC") is None else _core_degC(data)
    return {**data, "core_degC": core, "second_degC": _core_degC(data, "second_degC")}


def _check_packed(_: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    if book is None or not book.pulled_s:
        raise PlanError("Nothing came out of the smoker yet, so nothing can be packed.")
    return data


def _check_closed(day: Day, book: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    if book is None or book.hanging or not book.pulled_s:
        raise PlanError("Chubs still hang in the smoker: mark them as pulled before the batch is closed.")
    if day.second is None:
        raise PlanError(
            "Read the coldest chub with a second thermometer and type that in: then the batch can be closed."
        )
    return data


def _check_undo(day: Day, _: Book | None, data: dict[str, Any]) -> dict[str, Any]:
    able = [i for i, e in enumerate(day.log) if e.kind not in (RECIPE, UNDO_MARK) and i not in day.void]
    number = data.get("event", able[-1] if able else None)
    if number not in able:
        raise PlanError("There is nothing to undo." if number is None else f"There is no mark {number!r:.40} to undo.")
    return {**data, "event": number}


_CHECK: dict[str, Callable[[Day, Book | None, dict[str, Any]], dict[str, Any]]] = {
    MIXED: _perhaps_core,
    STUFFED: _perhaps_core,
    COLD: _check_cold,
    TURNED: _check_turned,
    INTO_ICE: _check_ice,
    OUT_OF_ICE: _check_out_of_ice,
    CORE: _check_core,
    BLOOMED: _perhaps_core,
    WEIGHED: _check_weighed,
    PACKED: _check_packed,
    SECOND: _check_second,
    CLOSED: _check_closed,
    UNDO_MARK: _check_undo,
}
