"""Where a batch stands in its stages: what the chamber is asked now, what ends a stage, whether the wood can smoke.

Pure. A stage's time runs from its begin by the clock, whether there was heat or not: moving on to the warmer stage is
the safer mistake. A stage ends by a core only when the lowest believable one has been there for three minutes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from fiftyover.batch import events as ev
from fiftyover.batch.believe import CONFIRM_S
from fiftyover.batch.events import Book
from fiftyover.batch.plan import Plan
from fiftyover.batch.stages import HOLD, Stage
from fiftyover_kit.contract.units import degF_from_degC

PREHEATED_MOST_S = 2 * 3600.0  # an empty chamber that nobody hangs in is kept warm so long, then heat goes off
# An element that is on less than this share of the time hardly brings wood on it to smoulder: figure of our own, to be
# corrected by what is seen at the smoker.
SMOKE_LOW, SMOKE_BACK = 0.20, 0.28
SMOKE_AFTER_S = 900.0  # the mean duty has a memory of ten minutes

Add = Callable[..., None]


class Asked(NamedTuple):
    """What the present stage asks: hold a temperature, or follow by lift, floor and limit [degC, kelvin]."""

    hold_degC: float | None
    lift_kelvin: float
    floor_degC: float | None
    limit_degC: float


def asked(stage: Stage, plan: Plan, cap_degC: float) -> Asked:
    """Read a stage, with the plan's figures where it gives none; ``cap_degC`` is the limit that holds now."""
    limit = cap_degC if stage.limit_degC is None else min(stage.limit_degC, cap_degC)
    return Asked(
        stage.hold_degC if stage.does == HOLD else None,
        plan.lift_kelvin if stage.lift_kelvin is None else stage.lift_kelvin,
        plan.floor_degC if stage.floor_degC is None else stage.floor_degC,
        limit,
    )


def preheating(book: Book) -> bool:
    """Whether the empty chamber is being heated for the chubs to come."""
    return book.preheat_s is not None and not book.hung_s


def not_hung(book: Book, at_s: float) -> bool:
    """Whether the preheat has gone on for so long that nobody seems to come."""
    if not preheating(book) or book.preheat_s is None:
        return False
    return at_s - book.preheat_s > (book.plan.stages[0].after_s or 0.0) + PREHEATED_MOST_S


class Met(NamedTuple):
    """Since when the lowest core has been where its stage ends [s], None while it is not."""

    since_s: float | None = None


def advance(met: Met, book: Book, lowest_degC: float | None, at_s: float, add: Add) -> Met:
    """Go on to the next stage if an end has come; ``lowest_degC`` is the lowest believable core or None."""
    if not book.hanging or book.stage >= len(book.plan.stages) - 1 or book.stage_s is None:
        return Met()
    stage = book.plan.stages[book.stage]
    there = stage.core_degC is not None and lowest_degC is not None and lowest_degC >= stage.core_degC
    met = Met((at_s if met.since_s is None else met.since_s) if there else None)
    why = None
    if met.since_s is not None and at_s - met.since_s >= CONFIRM_S:
        why = "core"
    elif stage.after_s is not None and at_s - book.stage_s >= stage.after_s:
        why = "time"
    if why is None:
        return met
    add(ev.STAGE, stage=book.stage + 1, name=book.plan.stages[book.stage + 1].name, ended=why)
    return Met()


def watch_smoke(book: Book, mean_duty: float, at_s: float, add: Add) -> None:
    """Tell when wood on the element cannot smoulder, by the mean share of time in which the element is on lately."""
    stage = book.plan.stages[book.stage]
    smokes = stage.smoke and book.plan.wood == "element" and bool(book.hanging)
    if book.smoke_low and (not smokes or mean_duty > SMOKE_BACK):
        add(ev.SMOKE_LOW, low=False)
    settled = book.stage_s is not None and at_s - book.stage_s >= SMOKE_AFTER_S
    if smokes and settled and not book.smoke_low and mean_duty < SMOKE_LOW:
        add(ev.SMOKE_LOW, low=True, mean_on=round(mean_duty, 2))


def sentence(plan: Plan, book: Book, at_s: float) -> str:
    """Say what stage is on and what ends it; nothing for the plain follow."""
    if len(plan.stages) == 1 and plan.stages[0].does != HOLD:
        return ""
    stage = plan.stages[book.stage]
    what = f"{stage.name}: " + (
        f"chamber at {_f(stage.hold_degC)}" if stage.hold_degC is not None else "chamber follows the meat"
    )
    ends = []
    if stage.after_s is not None and book.stage_s is not None:
        ends.append(f"{max(0, round((book.stage_s + stage.after_s - at_s) / 60.0))} min more")
    if stage.core_degC is not None:
        ends.append(f"the lowest core is at {_f(stage.core_degC)}")
    if stage.mark:
        ends.append(f"you say {stage.mark!r}")
    return f"{what}, until {' or '.join(ends)}." if ends else f"{what}."


def notes(book: Book) -> list[str]:
    """Sentences for the person."""
    if not book.smoke_low:
        return []
    return [
        "The element is too low to smoke: it is on too little to bring wood on it to smoulder. Put the wood into a "
        "tray of its own, or smoke in a warmer stage."
    ]


def _f(degC: float) -> str:
    return f"{degF_from_degC(degC):.0f} °F"
