"""The batch record as plain data: plan against fact, per chub call, pull, peak, clocks and rows, faults, notes.

Times are seconds since the first chub was hung (negative before), temperatures °C. It never says "safe": it names the
row that a chub met, and whether a published limit was missed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np

from fiftyover.batch import curves as believed
from fiftyover.batch import events as ev
from fiftyover.batch import judge
from fiftyover.batch.day import Day, HandRead
from fiftyover.batch.events import Book, Event
from fiftyover.batch.opening import Opened, opened
from fiftyover.batch.state import Reading
from fiftyover.batch.written import data_of_plan
from fiftyover.store import DatedFrame, Reader

FRAMES_MOST = 600_000  # a week of one kit
AFTER_MS = 60_000
FAULT_KINDS = (
    ev.PROBE_OUT, ev.PROBE_BACK, ev.CHAMBER_FAULT, ev.CHAMBER_BACK, ev.OUTAGE, ev.SWAPPED, ev.STOP_HEAT, ev.RESUME_HEAT,
    ev.HOLD_STARTED, ev.HOLD_ENDED, ev.LATE, ev.LATE_ENDED, "alarm", "alarm-over",
)  # fmt: skip


def read(reader: Reader, batch_id: str) -> tuple[Opened, list[DatedFrame]]:
    """A batch's events and the frames from its hanging to its end; PlanError if it is not in the record."""
    found = opened(batch_id, reader.events(batch_id))
    if not found.book.hung_s:
        return found, []
    from_ms = min(event.utc_ms for event in found.cook if event.kind == ev.HUNG)
    to_ms = max(event.utc_ms for event in (*found.cook, *found.days)) + AFTER_MS
    return found, reader.frames(found.kit, from_ms, to_ms, FRAMES_MOST) if found.kit else []


def record(found: Opened, frames: Sequence[DatedFrame], gaps: int = 0) -> dict[str, Any]:
    """Everything of one batch, JSON-able; ``gaps`` counts stretches without frames."""
    book, day, plan = found.book, found.day, found.plan
    zero_s = min(book.hung_s.values(), default=0.0)
    readings = [reading_of(frame) for frame in frames]
    cores = believed.curves(book, readings)
    judged = {
        chub.number: judge.judge_chub(
            cores.get(chub.number),
            _hands(book, day, chub.number),
            day,
            book.hung_s.get(chub.number, zero_s),
            book.pulled_s.get(chub.number),
        )
        for chub in plan.chubs
    }
    verdict = [sentence for number, one in judged.items() for sentence in judge.sentences(number, one, day)]
    missed = any(one["warm_up"]["kept"] is False or one["cooling"]["missed"] for one in judged.values())
    return {
        "batch": plan.batch_id,
        "name": plan.name,
        "kit": found.kit,
        "hung_utc": _utc(found, ev.HUNG),
        "plan": data_of_plan(plan),
        "made_of": dict(day.recipe),
        "chubs": [_chub(found, cores, judged[chub.number], chub.number, zero_s) for chub in plan.chubs],
        "coldest_chub": judge.coldest(judged),
        "weights": _weights(day),
        "second_reading": _second(day, zero_s),
        "closed": day.closed_s is not None,
        "missed_a_published_limit": missed,
        "said": [*([judge.POULTRY] if day.is_poultry else []), *verdict],
        "ending": judge.MISSED if missed else None,
        "beside": judge.BESIDE,
        "faults": [_event(event, zero_s) for n, event in _standing(book) if event.kind in FAULT_KINDS],
        "marks": _marks(found, zero_s),
        "readings": len(frames),
        "gaps": gaps,
    }


def reading_of(frame: DatedFrame) -> Reading:
    """The batch's view of a frame, live or stored: the time in whole milliseconds, as the record keeps it."""
    return Reading(
        at_s=round(frame.at_s * 1000.0) / 1000.0,
        utc_ms=frame.utc_ms,
        chamber_degC=frame.t[0] if frame.t else None,
        probe_degC=tuple(frame.t),
        status=tuple(frame.s),
        on=frame.on,
        duty=frame.duty,
        why=frame.why,
        seq=frame.seq,
        boot=frame.boot,
    )


def _hands(book: Book, day: Day, number: int) -> list[HandRead]:
    """Hand readings of a chub, from the cook (with the time it held, where typed in) and after it."""
    found = [
        HandRead(number, event.at_s, event.data["core_degC"], float(event.data.get("held_s") or 0.0))
        for _, event in _standing(book)
        if event.kind in (ev.HAND_READING, ev.PULLED)
        and event.data["chub"] == number
        and event.data.get("core_degC") is not None
    ]
    return sorted([*found, *(read for read in day.hands if read.chub == number)], key=lambda read: read.at_s)


def _standing(book: Book) -> list[tuple[int, Event]]:
    return [(n, event) for n, event in enumerate(book.log) if n not in book.void and event.kind != ev.UNDO]


def _chub(
    found: Opened, cores: dict[int, believed.Curve], judged: dict[str, Any], number: int, zero_s: float
) -> dict[str, Any]:
    book, chub = found.book, found.plan.chub(number)
    called = next((e for _, e in _standing(book) if e.kind == ev.CALLED and e.data["chub"] == number), None)
    asked = next((e for _, e in _standing(book) if e.kind == ev.CHECK_ASKED and e.data["chub"] == number), None)
    pulled = next((e for _, e in _standing(book) if e.kind == ev.PULLED and e.data["chub"] == number), None)
    core = pulled.data.get("core_degC") if pulled is not None else None
    if core is None and pulled is not None:
        core = _near(cores.get(number), pulled.at_s)
    foot, top = found.plan.band_degC
    return {
        "number": number,
        "line": chub.line,
        "diameter_mm": chub.diameter_mm,
        "place": found.day.place(found.plan, number, -np.inf),
        "turned_to": [found.day.place(found.plan, number, at_s) for at_s, *pair in found.day.turned if number in pair],
        "probe": chub.probe,
        "hung_s": _since(book.hung_s.get(number), zero_s),
        "called_s": _since(called.at_s if called else None, zero_s),
        "asked_by_hand_s": _since(asked.at_s if asked else None, zero_s),
        "predicted_degC": called.data.get("predicted_degC") if called else None,
        "pulled_s": _since(book.pulled_s.get(number), zero_s),
        "pulled_degC": core,
        "pulled_in_band": None if core is None else bool(foot <= core <= top),
        **judged,
        "cooling": {**judged["cooling"], "ways": {w: _way(d, zero_s) for w, d in judged["cooling"]["ways"].items()}},
    }


def _way(detail: dict[str, Any], zero_s: float) -> dict[str, Any]:
    """A verdict of `cooling.judge` with its times counted from hanging."""
    moments = ("start_s", "end_s", "latest_s")
    legs = [{**leg, **{key: _since(leg[key], zero_s) for key in moments}} for leg in detail["legs"]]
    return {**detail, "legs": legs}


def _near(curve: believed.Curve | None, at_s: float, within_s: float = 600.0) -> float | None:
    """The believed core nearest to a moment: those of the last minutes before a pull are struck out."""
    if curve is None:
        return None
    place = int(np.argmin(np.abs(curve.times_s - at_s)))
    return float(curve.core_degC[place]) if abs(float(curve.times_s[place]) - at_s) <= within_s else None


def _since(at_s: float | None, zero_s: float) -> float | None:
    return None if at_s is None else round(at_s - zero_s, 3)


def _utc(found: Opened, kind: str) -> str | None:
    first = next((event.utc_ms for event in found.cook if event.kind == kind), None)
    return None if first is None else datetime.fromtimestamp(first / 1000.0, UTC).isoformat(timespec="seconds")


def _weights(day: Day) -> dict[str, float | None]:
    raw, cooked = day.kg.get("raw"), day.kg.get("cooked")
    if raw is None and "batch_g" in day.recipe:
        raw = float(day.recipe["batch_g"]) / 1000.0
    return {"raw_kg": raw, "cooked_kg": cooked, "yield": cooked / raw if raw and cooked else None}


def _second(day: Day, zero_s: float) -> dict[str, Any] | None:
    second = day.second
    if second is None:
        return None
    return {
        "chub": second.chub,
        "at_s": _since(second.at_s, zero_s),
        "core_degC": second.core_degC,
        "second_degC": second.second_degC,
        "apart_kelvin": second.apart_kelvin,
        "check_the_probe": second.check_probe,
    }


def _event(event: Event, zero_s: float) -> dict[str, Any]:
    return {"at_s": _since(event.at_s, zero_s), "kind": event.kind, **event.data}


def _marks(found: Opened, zero_s: float) -> list[dict[str, Any]]:
    """Everything that was marked and still stands, in order of time."""
    day = found.day
    days = [event for n, event in enumerate(day.log) if n not in day.void and event.kind not in ("recipe", "undo-mark")]
    cook = [event for _, event in _standing(found.book) if event.kind not in FAULT_KINDS]
    return [_event(event, zero_s) for event in sorted([*cook, *days], key=lambda event: event.at_s)]
