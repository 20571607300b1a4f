"""What can be marked on the days around the cook: before hanging, and from the last pull to the closed batch. Pure."""

from __future__ import annotations

from typing import Any

from ..batch import day
from ..batch.day import Day
from ..batch.events import HUNG, Book
from .errands import Mark, offer


def after(days: Day, book: Book) -> dict[str, Any]:
    """For the page: what comes next once chubs are out, its mark, the others, and the undo of the days' own marks."""
    if days.closed_s is not None:
        return {"next": "The batch is closed. Its record is under Batches.", "mark": None, "others": [], "undo": None}
    steps = _steps(days, book)
    text, mark = steps[0] if steps else ("", None)
    return {"next": text, "mark": mark, "others": [one for _, one in steps[1:]] + _asides(book), "undo": _undo(days)}


def before(days: Day, batch_id: str) -> dict[str, Any]:
    """The same for a batch that was begun and does not hang yet; every mark names the batch."""
    steps = _to_the_smoker(days, batch_id)
    text, mark = steps[0]
    weigh = offer(day.WEIGHED, "Type in the raw weight", ("kg",), what="raw", batch=batch_id)
    others = [one for _, one in steps[1:]] + ([] if "raw" in days.kg else [weigh])
    undo = _undo(days)
    if undo is not None:
        undo["data"]["batch"] = batch_id
    return {"next": text, "mark": mark, "others": others, "undo": undo}


def _to_the_smoker(days: Day, batch_id: str) -> list[tuple[str, Mark]]:
    found = []
    if days.mixed_s is None and days.stuffed_s is None:
        text = "Weigh the cure twice, keep all cold, mix until it is sticky, fry a patty and taste it."
        found.append((text, offer(day.MIXED, "It is mixed", ("mix-core",), batch=batch_id)))
    if days.stuffed_s is None:
        text = "Stuff it, without air in the casings."
        found.append((text, offer(day.STUFFED, "It is stuffed", ("mix-core",), batch=batch_id)))
    if days.held_s is None:
        text = "Into the refrigerator for the cure hold, the probe's tip in a glass of water beside it."
        found.append((text, offer(day.COLD, "It is in the refrigerator", batch=batch_id)))
    text = "Hang the chubs as the sheet says, each probe in its chub."
    return [*found, (text, offer(HUNG, "The chubs hang", ("sure-hung",), batch=batch_id))]


def _steps(days: Day, book: Book) -> list[tuple[str, Mark]]:
    """What is still to be done with what came out, in its order; each (sentence, mark)."""
    if not book.pulled_s:
        return []
    out = set(book.pulled_s)
    iced, cold = out & set(days.iced_s), out & set(days.cold_s)
    found = []
    if out - iced - cold:
        found.append(("Into the ice bath with what is out.", offer(day.INTO_ICE, "They are in the ice")))
    if iced - set(days.out_of_ice_s):
        text = "Out of the ice at 40 °F in the core."
        found.append((text, offer(day.OUT_OF_ICE, "They are out of the ice")))
    if not book.hanging:
        found += _closing(days, out - cold)
    return found


def _closing(days: Day, not_cold: set[int]) -> list[tuple[str, Mark]]:
    found = []
    if days.second is None:
        text = "Read the coldest chub with a second thermometer."
        ask = ("any-chub", "second")
        found.append((text, offer(day.SECOND, "Type in the second thermometer", ask)))
    if days.bloomed_s is None:
        found.append(("Let them bloom, at most two hours.", offer(day.BLOOMED, "They have bloomed")))
    if not_cold:
        found.append(("Into the refrigerator.", offer(day.COLD, "They are in the refrigerator")))
    if "cooked" not in days.kg:
        found.append(("Weigh the batch cold.", offer(day.WEIGHED, "Type in the cooked weight", ("kg",), what="cooked")))
    if days.packed_s is None:
        found.append(("Pack and label.", offer(day.PACKED, "They are packed")))
    if days.second is not None:
        found.append(("Close the batch.", offer(day.CLOSED, "Close the batch")))
    return found


def _asides(book: Book) -> list[Mark]:
    found = [offer(day.CORE, "A core read by hand, after the pull", ("any-chub", "core"))] if book.pulled_s else []
    if book.hanging:
        found += [
            offer(day.WOOD, "Wood added"),
            offer(day.WATER, "Water added"),
            offer(day.DAMPER, "Damper moved"),
            offer(day.TURNED, "Two chubs changed places", ("pair",)),
            offer(day.WEIGHED, "Type in the raw weight", ("kg",), what="raw"),
        ]
    return found


def _undo(days: Day) -> Mark | None:
    able = [i for i, e in enumerate(days.log) if e.kind not in (day.RECIPE, day.UNDO_MARK) and i not in days.void]
    if not able:
        return None
    return offer(day.UNDO_MARK, f"Undo: {_WORDS.get(days.log[able[-1]].kind, days.log[able[-1]].kind)}", event=able[-1])


_WORDS = {
    day.MIXED: "mixed",
    day.STUFFED: "stuffed",
    day.INTO_ICE: "into the ice",
    day.OUT_OF_ICE: "out of the ice",
    day.COLD: "into the refrigerator",
    day.SECOND: "the second thermometer",
    day.BLOOMED: "bloomed",
    day.WEIGHED: "the weight",
    day.PACKED: "packed",
    day.CLOSED: "the batch is closed",
    day.CORE: "the core read by hand",
    day.TURNED: "chubs changed places",
    day.WOOD: "wood",
    day.WATER: "water",
    day.DAMPER: "damper",
}
