"""When each chub of a running batch will be done: what was seen of it, put as a question to `control.forecast`. Pure.

`Memory` keeps the half-minute means of the whole cook. `ask` makes a snapshot in a millisecond or two; `answer` is the
heavy part and needs nothing but the question, so that a worker can do it and no grant waits for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fiftyover.batch import events as ev
from fiftyover.batch.believe import CONFIRM_S
from fiftyover.batch.course import asked
from fiftyover.batch.events import Book
from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.state import BLOCK_S, BatchState
from fiftyover.control.forecast import (
    BROAD,
    WARM_MOST_S,
    Finish,
    Fit,
    Law,
    Past,
    Prior,
    Question,
    Stretch,
    fitted,
    forecast,
    learn,
)
from fiftyover.control.forecast.heating import Array
from fiftyover.control.target import ripple_room_kelvin
from fiftyover_kit.contract.units import degF_from_degC

STEP_S = 60.0
STEPS_MOST = 480  # a longer cook is looked at in longer steps
SHORTEST_S = 600.0
LEARN_S = 3600.0  # of believed readings, for a chub to be learned from
SURE_SHARE = 0.5  # of the draws: more of them stall, and it is said that the chub will not get there
NEAR_S = 45.0  # a mean counts at a step so near to it
SEEN_MOST = 2 * 86_400 // 30  # half minutes
LATE_START_S = 900.0  # what was seen first so long after hanging: the start of the meat is not known
CHAMBER_LAG_S = 30.0  # a bare probe behind the air: assumption of our own study
YARD_MOST_DEGC = 20.0
WARM_ENOUGH = ("following", "floor", "limit", "stage", "door")


class Seen(NamedTuple):
    """Means over half a minute: middle [s], chamber and cores by channel [degC], the duty given 0..1."""

    at_s: float
    chamber_degC: float
    probe_degC: tuple[float | None, ...]
    duty: float


class Memory:
    """All half-minute means of a batch, in order of time; of one that never ends the last two days."""

    def __init__(self) -> None:
        self.rows: list[Seen] = []

    def heed(self, state: BatchState) -> bool:
        """Take what is new in a state after a decision; whether there was something."""
        last_s = self.rows[-1].at_s if self.rows else float("-inf")
        if not state.blocks or state.blocks[-1].at_s <= last_s:
            return False
        for block in state.blocks:
            if block.at_s > last_s:
                self.rows.append(Seen(block.at_s, block.chamber_degC, block.probe_degC, state.duty))
        if len(self.rows) > SEEN_MOST + SEEN_MOST // 10:
            del self.rows[:-SEEN_MOST]
        return True


class Span(NamedTuple):
    """A probe that could be believed in a chub, from and to [s]; ``open`` while it still can."""

    channel: int
    chub: int
    from_s: float
    to_s: float
    open: bool


def spans(book: Book) -> list[Span]:
    """Say when each probe was to be believed in which chub; exclusions, pulls, moves are struck out as in `events`."""
    found: list[Span] = []
    inside: dict[int, tuple[int, float | None]] = {}

    def end(channel: int, to_s: float) -> int | None:
        chub, from_s = inside.pop(channel, (None, None))
        if chub is not None and from_s is not None and to_s > from_s:
            found.append(Span(channel, chub, from_s, to_s, False))
        return chub

    for number, event in enumerate(book.log):
        data = event.data
        if number in book.void:
            continue
        if event.kind == ev.HUNG:
            for one in book.plan.chubs:
                if one.number in data["chubs"] and one.probe is not None:
                    inside[one.probe] = (one.number, event.at_s)
        elif event.kind == ev.PULLED:
            for channel in [c for c, (chub, _) in inside.items() if chub == data["chub"]]:
                end(channel, event.at_s - ev.STRIKE_S)
                if isinstance(data.get("probe"), int):
                    inside[channel] = (data["probe"], event.at_s + CONFIRM_S)
        elif event.kind == ev.PROBE_OUT:
            chub = end(data["probe"], float(data["from_s"]))
            if chub is not None:
                inside[data["probe"]] = (chub, None)
        elif event.kind == ev.PROBE_BACK and data["probe"] in inside:
            inside[data["probe"]] = (inside[data["probe"]][0], event.at_s)
    found += [Span(c, chub, from_s, float("inf"), True) for c, (chub, from_s) in inside.items() if from_s is not None]
    return found


def ask(state: BatchState, rows: Sequence[Seen], prior: Prior = BROAD) -> Question | None:
    """Put the question for a state and the means up to now; None while it is too early, or the chamber is not led."""
    book, plan = state.book, state.plan
    chubs = [one for one in plan.chubs if one.number in book.hung_s]
    if not rows or not book.hanging or state.why not in WARM_ENOUGH or not chubs:
        return None
    begun_s, now_s = min(book.hung_s.values()), rows[-1].at_s + BLOCK_S / 2.0
    first_s = max(begun_s, rows[0].at_s - BLOCK_S / 2.0)
    if now_s - first_s < SHORTEST_S:
        return None
    known = spans(book)
    past = _past(book, rows, known, first_s if first_s - begun_s > LATE_START_S else begun_s, now_s)
    if past is None:
        return None
    leads = {span.chub for span in known if span.open}
    law = _law(book, chubs, leads, now_s)
    lines, places = tuple(one.line for one in chubs), tuple(one.place for one in chubs)
    return Question(past, law, lines, places, plan.band_degC[0], prior)


def _law(book: Book, chubs: Sequence[Chub], leads: set[int], now_s: float) -> Law:
    """The rest of the stages: the last one as the law, with a hold put as a floor and a limit, those before as such."""
    plan = book.plan
    under = plan.margin_kelvin + ripple_room_kelvin(plan.relay, plan.element_watts)
    end = asked(plan.stages[-1], plan, plan.cap_degC)
    if end.hold_degC is not None:
        end = end._replace(floor_degC=end.hold_degC, limit_degC=min(end.limit_degC, end.hold_degC + under))
    line_caps = dict(plan.line_caps)
    first = []
    for number in range(book.stage, len(plan.stages) - 1):
        row = plan.stages[number]
        asks = asked(row, plan, plan.cap_degC)
        been_s = now_s - book.stage_s if number == book.stage and book.stage_s is not None else 0.0
        left_s = float("inf") if row.after_s is None else max(0.0, row.after_s - been_s)
        core_degC = float("inf") if row.core_degC is None else row.core_degC
        by_word = bool(row.mark)
        first.append(
            Stretch(asks.hold_degC, asks.lift_kelvin, asks.floor_degC, asks.limit_degC, left_s, core_degC, by_word)
        )
    return Law(
        lift_kelvin=end.lift_kelvin,
        floor_degC=end.floor_degC,
        under_cap_kelvin=under,
        caps_degC=np.array([min(plan.cap_degC, line_caps.get(one.line, plan.cap_degC)) for one in chubs]),
        leads=np.array([one.number in leads for one in chubs]),
        hanging=np.array([one.number in book.hanging for one in chubs]),
        first=tuple(first),
        limit_degC=end.limit_degC,
    )


def _past(book: Book, rows: Sequence[Seen], known: list[Span], first_s: float, now_s: float) -> Past | None:
    """Lay the means out on a grid that ends now."""
    chubs = [one for one in book.plan.chubs if one.number in book.hung_s]
    dt_s = STEP_S * (1 + int((now_s - first_s) / (STEP_S * STEPS_MOST)))
    steps = round((now_s - first_s) / dt_s)
    grid: Array = np.asarray(now_s - dt_s * np.arange(steps, -1, -1), dtype=np.float64)
    times: Array = np.array([row.at_s for row in rows], dtype=np.float64)
    chamber = np.array([row.chamber_degC for row in rows])
    cores = np.full((steps + 1, len(chubs)), np.nan)
    for i, one in enumerate(chubs):
        for span in known:
            if span.chub == one.number:
                _fill(cores[:, i], grid, times, rows, span)
        _by_hand(cores[:, i], grid, book, one.number)
    start = _starts(cores)
    if start is None:
        return None
    late = first_s > min(book.hung_s.values())
    hung = np.array([max(0, round((book.hung_s[one.number] - first_s) / dt_s)) for one in chubs])
    return Past(
        dt_s=dt_s,
        air_degC=np.interp(grid[:-1] + dt_s / 2.0 + CHAMBER_LAG_S, times, chamber),
        core_degC=cores,
        start_degC=start,
        hung_step=np.minimum(hung, steps),
        radius_m=np.array([one.diameter_mm / 2000.0 for one in chubs]),
        yard_degC=min(YARD_MOST_DEGC, float(chamber[0])),
        start_slope=_slopes(cores, dt_s) if late else np.zeros(len(chubs)),
        duty=np.interp(grid[:-1] + dt_s / 2.0, times, np.array([row.duty for row in rows])),
    )


def _fill(column: Array, grid: Array, times: Array, rows: Sequence[Seen], span: Span) -> None:
    """Put a probe's means into its chub's column where they can be believed."""
    values = np.array(
        [
            row.probe_degC[span.channel] if len(row.probe_degC) > span.channel else None
            for row in rows
            if span.from_s <= row.at_s <= span.to_s
        ],
        dtype=np.float64,
    )
    at_s = times[(times >= span.from_s) & (times <= span.to_s)][np.isfinite(values)]
    values = values[np.isfinite(values)]
    if not values.size:
        return
    nearest = np.abs(grid[:, None] - at_s[None, :]).min(axis=1)
    here = (nearest <= NEAR_S) & (grid >= span.from_s - NEAR_S) & (grid <= span.to_s)
    column[here] = np.interp(grid[here], at_s, values)


def _by_hand(column: Array, grid: Array, book: Book, number: int) -> None:
    for place, event in enumerate(book.log):
        if event.kind == ev.HAND_READING and place not in book.void and event.data["chub"] == number:
            step = int(np.argmin(np.abs(grid - event.at_s)))
            if np.isnan(column[step]):
                column[step] = float(event.data["core_degC"])


def _starts(cores: Array) -> Array | None:
    """Cores when the past begins: the first that were believed, for the others the mean of those; None without any."""
    start = np.full(cores.shape[1], np.nan)
    for i in range(cores.shape[1]):
        seen = np.flatnonzero(np.isfinite(cores[:, i]))
        if seen.size and seen[0] <= 3:
            start[i] = float(cores[seen[:2], i].mean())
    if np.isnan(start).all():
        return None
    return np.asarray(np.where(np.isnan(start), np.nanmean(start), start))


def _slopes(cores: Array, dt_s: float) -> Array:
    """Slopes at a start in mid-cook [K/s], over the first ten minutes; the mean where a chub has none."""
    steps = min(cores.shape[0] - 1, max(2, round(600.0 / dt_s)))
    slope = (cores[steps] - cores[1]) / (dt_s * (steps - 1))
    usual = float(np.nanmean(slope)) if np.isfinite(slope).any() else 0.0
    return np.asarray(np.where(np.isfinite(slope), slope, usual))


@dataclass(frozen=True, slots=True)
class Prospect:
    """One hanging chub: when it comes to its band, between when and when [steady s], None where it hardly will."""

    chub: int
    done_s: float | None
    low_s: float | None
    high_s: float | None
    finish: Finish


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast for a batch, and when it was made [steady s]; ``fit`` is what there is to learn from it; ``words`` are
    what a person has yet to say before the chamber goes on to its last stage, for instance "dry to the touch"."""

    made_s: float
    prospects: tuple[Prospect, ...]
    fit: Fit
    words: tuple[str, ...] = ()

    def of(self, chub: int) -> Prospect | None:
        """Return the prospect of one chub, or None."""
        return next((one for one in self.prospects if one.chub == chub), None)


def answer(question: Question, plan: Plan, book: Book, made_s: float) -> Outlook:
    """Answer a question (the heavy part, about 0.1 s for 12 chubs)."""
    told = forecast(question)
    numbers = [one.number for one in plan.chubs if one.number in book.hung_s]
    prospects = []
    for number, finish in zip(numbers, told.chubs, strict=True):
        if number in book.hanging:
            at = [None if left is None else made_s + left for left in (finish.left_s, finish.low_s, finish.high_s)]
            prospects.append(Prospect(number, at[0], at[1], at[2], finish))
    words = tuple(row.mark for row in plan.stages[book.stage : -1] if row.mark)
    return Outlook(made_s, tuple(prospects), told.fit, words)


def outlook(state: BatchState, rows: Sequence[Seen], prior: Prior = BROAD) -> Outlook | None:
    """Ask and answer in one, for who can wait."""
    question = ask(state, rows, prior)
    if question is None:
        return None
    return answer(question, state.plan, state.book, rows[-1].at_s + BLOCK_S / 2.0)


def learned(prior: Prior, book: Book, rows: Sequence[Seen]) -> Prior:
    """Learn from a batch whose chubs are out: a new prior for the next one of this smoker and these casing lines."""
    if not rows or not book.hung_s:
        return prior
    past = _past(book, rows, spans(book), min(book.hung_s.values()), rows[-1].at_s + BLOCK_S / 2.0)
    if past is None:
        return prior
    chubs = [one for one in book.plan.chubs if one.number in book.hung_s]
    found = fitted(past, prior, [one.line for one in chubs], [one.place for one in chubs])
    enough = np.isfinite(past.core_degC).sum(axis=0) > LEARN_S / past.dt_s
    keep = [i for i in range(len(chubs)) if enough[i]]
    if not keep:
        return prior
    lines, places = [chubs[i].line for i in keep], [chubs[i].place for i in keep]
    return learn(prior, lines, places, found.theta[:, keep], found.spread()[:, keep])


def sentences(told: Outlook, plan: Plan) -> list[str]:
    """Say what stands in the way: who may not get there and what helps, whose warm-up clock runs long."""
    foot = f"{degF_from_degC(plan.band_degC[0]):.0f} °F"
    found = []
    for why, helps in _HELPS.items():
        for surely in (True, False):
            chubs = [
                one.chub
                for one in told.prospects
                if one.finish.why == why and (one.finish.stalls > SURE_SHARE) == surely
            ]
            if chubs:
                found.append(f"{_who(chubs, surely)} not get to {foot} {helps}")
    for surely in (True, False):
        chubs = [one.chub for one in told.prospects if _long(one.finish, surely)]
        if chubs:
            clocks = "The warm-up clock of" if surely else "Looking ahead, the warm-up clock of"
            verb = "will" if surely else "may"
            found.append(f"{clocks} {_named(chubs).lower()} {verb} pass 6 hours from 50 to 130 °F: warm it faster.")
    if told.words:
        said = " and ".join(f"{word!r}" for word in told.words)
        each = "" if len(told.words) == 1 else " each"
        found.append(f"Looking ahead, all times reckon with {said} said within an hour{each}: nobody knows when it is.")
    return found


# Beginnings and words are those that `alerts.rules` ranks by.
_HELPS = {
    "limit": "under this smoker limit: too much dries off. A water pan, or a higher limit, helps.",
    "element": "with this element: it is too cold out. A place out of the wind or a stronger element helps, "
    "a higher limit does not.",
}


def _who(chubs: list[int], surely: bool) -> str:
    return f"{_named(chubs)} will" if surely else f"Looking ahead, {_named(chubs).lower()} may"


def _named(chubs: list[int]) -> str:
    if len(chubs) == 1:
        return f"Chub {chubs[0]}"
    return f"Chubs {', '.join(map(str, chubs[:-1]))} and {chubs[-1]}"


def _long(finish: Finish, surely: bool) -> bool:
    """Whether a warm-up clock that still runs will (or only may) pass its limit."""
    if finish.warm_high_s is not None and finish.warm_high_s <= WARM_MOST_S:
        return False
    sure = finish.warm_s is None or finish.warm_s > WARM_MOST_S
    return sure == surely
