"""What stands in the database: measurements, tags and fields, in this one place; dashboards take the names from here.

Every field is a float (a field written as an integer once refuses floats for ever), every time UTC in milliseconds.
A row always makes the same points, and a point with the same measurement, tags and time replaces itself: to send again
does no harm. Text of a person (notes, names) does not leave the record.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from fiftyover_kit.contract import limits

from ..store import DatedFrame, EventRow, TargetRow

PROBE, HEATER, TARGET, EVENT = "probe", "heater", "target", "event"


class Measurement(NamedTuple):
    """A measurement's tags and fields, each with what it means."""

    tags: dict[str, str]
    fields: dict[str, str]


MEASUREMENTS = {
    PROBE: Measurement(
        {"kit": "the kit's id", "probe": "probe-1 is the chamber, the others sit in cores"},
        {
            "temperature_degC": "°C; left out where the probe gave no number",
            "status": "position of the status word in limits.STATUS: 0 ok, 1 open, 2 short, 3 range, 4 jump, 5 stuck, "
            "6 uncalibrated",
        },
    ),
    HEATER: Measurement(
        {"kit": "the kit's id"},
        {
            "element_on": "1 while the element is on, else 0",
            "duty": "share of time the element is on, 0..1",
            "why": "position of the reason in limits.WHY",
            "seq": "number of the reading in its start of the kit: what is missing in it is missing",
        },
    ),
    TARGET: Measurement(
        {"kit": "the kit's id"},
        {
            "target_degC": "what the chamber is asked to be, °C; left out while no heat is wanted",
            "wanted": "1 while heat is wanted, else 0",
        },
    ),
    EVENT: Measurement(
        {"batch": "the batch's id", "kind": "what happened (batch/events.py)", "chub": "the chub's number, if any"},
        {
            "number": "the event's number in the record",
            "core_degC": "the core temperature that the event names, °C, if any",
        },
    ),
}


def lines(row: DatedFrame | TargetRow | EventRow) -> list[str]:
    """The row's points in line protocol, times in ms UTC."""
    if isinstance(row, DatedFrame):
        return _frame(row)
    if isinstance(row, TargetRow):
        fields = {"target_degC": row.target_degC, "wanted": 0.0 if row.target_degC is None else 1.0}
        return [_line(TARGET, {"kit": row.kit}, fields, row.utc_ms)]
    tags = {"batch": row.batch, "kind": row.kind}
    chub, core = row.data.get("chub"), row.data.get("core_degC")
    if type(chub) is int:
        tags["chub"] = str(chub)
    fields = {"number": float(row.number), "core_degC": float(core) if isinstance(core, int | float) else None}
    return [_line(EVENT, tags, fields, row.utc_ms)]


def _frame(frame: DatedFrame) -> list[str]:
    made = [
        _line(
            PROBE,
            {"kit": frame.kit, "probe": f"probe-{channel + 1}"},
            {"temperature_degC": degC, "status": _place(limits.STATUS, word)},
            frame.utc_ms,
        )
        for channel, (degC, word) in enumerate(zip(frame.t, frame.s, strict=True))
    ]
    fields: dict[str, float | None] = {
        "element_on": float(frame.on),
        "duty": float(frame.duty),
        "why": _place(limits.WHY, frame.why),
        "seq": float(frame.seq),
    }
    return [*made, _line(HEATER, {"kit": frame.kit}, fields, frame.utc_ms)]


def _place(words: tuple[str, ...], word: str) -> float:
    return float(words.index(word)) if word in words else -1.0


def _line(measurement: str, tags: dict[str, str], fields: dict[str, float | None], utc_ms: int) -> str:
    told = ",".join(
        f"{name}={float(value)!r}" for name, value in fields.items() if value is not None and math.isfinite(value)
    )
    marks = "".join(f",{name}={_escaped(value)}" for name, value in sorted(tags.items()) if value)
    return f"{measurement}{marks} {told} {utc_ms}"


def _escaped(value: str) -> str:
    clean = value.replace("\\", "/").replace("\n", " ").replace("\r", " ")
    return clean.replace(",", "\\,").replace("=", "\\=").replace(" ", "\\ ")
