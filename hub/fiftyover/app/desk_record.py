"""The record for the pages: the list of batches, one batch, two compared, and files to take away."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from ..batch.events import HUNG
from ..batch.opening import Opened, opened
from ..errors import HubError
from ..reports import paper, record_view
from ..reports import record as records
from ..store import Store
from .history import columns, marks_of, nothing

LIST_MOST = 200
AFTER_MS = 60_000


def opened_batch(store: Store, batch_id: str) -> Opened:
    """A batch by its events; HubError if it is not in the record."""
    return opened(batch_id, store.events(batch_id))


def batches(store: Store, kit: str = "") -> list[dict[str, Any]]:
    """The newest batches (of this kit, if one is named): id, name, when (UTC ms), chubs, how far.

    One that cannot be read says so.
    """
    told = []
    for line in store.batches(kit)[:LIST_MOST]:
        one: dict[str, Any] = {"id": line.batch_id, "from_ms": line.first_utc_ms, "to_ms": line.last_utc_ms}
        try:
            found = opened_batch(store, line.batch_id)
            book = found.book
            one |= {"name": found.plan.name, "chubs": len(found.plan.chubs), "state": _state(found)}
            one["out"] = len(book.pulled_s)
        except HubError as fault:
            one |= {"name": line.batch_id, "chubs": None, "state": f"cannot be read: {fault}", "out": None}
        told.append(one)
    return told


def _state(found: Opened) -> str:
    if found.day.closed_s is not None:
        return "closed"
    if found.book.hanging:
        return "in the smoker"
    return "out of the smoker, not closed" if found.book.pulled_s else "planned"


def batch(store: Store, batch_id: str, units: str) -> dict[str, Any] | None:
    """One batch's record as tables; None if there is no such batch."""
    told = _record(store, batch_id)
    if told is None:
        return None
    return {
        "id": batch_id,
        "name": told["name"],
        "hung_utc": told["hung_utc"],
        "closed": told["closed"],
        "ending": told["ending"],
        "beside": told["beside"],
        "blocks": record_view.blocks(told, units),
    }


def compared(store: Store, first: str, second: str, units: str) -> dict[str, Any] | None:
    """Two batches side by side; None if one is not there."""
    one, other = _record(store, first), _record(store, second)
    if one is None or other is None:
        return None
    return {"names": [one["name"], other["name"]], "blocks": record_view.compared(one, other, units)}


def past(store: Store, batch_id: str, points: int) -> dict[str, Any]:
    """The curves of a batch of the record, see `history.columns`."""
    try:
        found = opened_batch(store, batch_id)
    except HubError:
        return nothing()
    hung = [event.utc_ms for event in found.cook if event.kind == HUNG]
    if not hung or not found.kit:
        return nothing()
    to_ms = max(event.utc_ms for event in (*found.cook, *found.days)) + AFTER_MS
    told = columns(store, found.kit, found.plan.channels, min(hung), to_ms, points)
    return told | {"band_degC": list(found.plan.band_degC), "marks": marks_of(found.cook, found.book.void)}


def export(store: Store, batch_id: str, form: str, units: str) -> tuple[str, str, str] | None:
    """A file to take away: (name, media type, text); None for another form or batch."""
    try:
        found, frames = records.read(store.reader, batch_id)
        told = records.record(found, frames)
    except HubError:
        return None
    name = f"batch-{batch_id}"
    if form == "json":
        return f"{name}.json", "application/json", json.dumps(told, indent=1, allow_nan=False)
    if form == "csv":
        zero_ms = min((event.utc_ms for event in found.cook if event.kind == HUNG), default=0)
        out = io.StringIO()
        csv.writer(out).writerows(record_view.rows_of_csv(frames, zero_ms))
        return f"{name}.csv", "text/csv", out.getvalue()
    if form == "label":
        packed = "" if found.day.packed_s is None else told["hung_utc"][:10]
        words = record_view.label_words(told, packed, units)
        return f"{name}-label.html", "text/html", paper.page("label.html", **words)
    return None


def _record(store: Store, batch_id: str) -> dict[str, Any] | None:
    try:
        found, frames = records.read(store.reader, batch_id)
    except HubError:
        return None
    return records.record(found, frames)
