"""What the record tells of this smoker: read from its newest closed or finished batches."""

from __future__ import annotations

from fiftyover.batch import curves as believed
from fiftyover.batch import rig
from fiftyover.batch.rig import Hung, Place
from fiftyover.errors import HubError
from fiftyover.reports import record as records
from fiftyover.reports.sheet_view import Block
from fiftyover.store import Reader

BATCHES_MOST = 12


def learned(reader: Reader) -> tuple[dict[str, Place], list[Hung]]:
    """The map of hot places and how long chubs hung; batches that this version cannot read are passed over."""
    seen_paces, seen_hung = [], []
    for line in reader.batches()[:BATCHES_MOST]:
        try:
            found, frames = records.read(reader, line.batch_id)
        except HubError:
            continue
        if found.book.hanging:
            continue
        seen_hung += rig.hung(found.book)
        curves = believed.curves(found.book, [records.reading_of(frame) for frame in frames])
        turned = {number for _, *pair in found.day.turned for number in pair}  # they tell of no single place
        seen_paces.append(rig.paces(found.plan, {n: curve for n, curve in curves.items() if n not in turned}))
    return rig.places(seen_paces), seen_hung


def block(found: dict[str, Place]) -> Block:
    """The map in words."""
    rows = [
        (place, f"{(one.pace - 1.0) * 100.0:+.0f} %", "faster" if one.pace >= 1.0 else "slower", f"{one.chubs} chubs")
        for place, one in found.items()
    ]
    return Block(
        "Places, the hottest first", ("place", "warms", "than its line", "seen"), tuple(rows) or (("nothing yet",),)
    )
