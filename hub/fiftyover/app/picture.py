"""From the state of a batch to what the page shows: words and numbers only, nothing is decided here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from ..alerts.rules import alerts_of
from ..batch import course, judge
from ..batch.day import Day
from ..batch.state import BatchState
from ..batch.tracks import believed
from ..process import comeup
from ..store import DatedFrame
from ..web.words import PROBE, STAGE, heater
from .errands import errands

Span = tuple[int, int]  # UTC ms, from and to


def picture(
    state: BatchState | None,
    frame: DatedFrame | None,
    *,
    kit: Mapping[str, Any],
    alarms: Sequence[str],
    warmup_s: float | None,
    title: str,
    finishes: Mapping[int, Span] | None = None,
    today: Day | None = None,
) -> dict[str, Any]:
    """One snapshot for the page (JSON-able). `kit` tells id, age_s and simulated; temperatures in °C, times UTC ms.

    `alarms` are what hub and kit have to tell; the batch's own are added. `finishes`: when each chub is
    expected. `today`: the days' marks of the batch.
    """
    shown: dict[str, Any] = {
        "name": state.plan.name if state else title,
        "kit": dict(kit),
        "at_ms": frame.utc_ms if frame else None,
        "t": [_rounded(degC) for degC in frame.t] if frame else [],
        "chamber_degC": frame.t[0] if frame and frame.t else None,
        "target_degC": None,
        "limit_degC": None,
        "band_degC": [66.67, 68.33],
        "heater": heater(frame.why, bool(kit.get("armed"))) if frame else "no word from the kit yet",
        "warmup_s": warmup_s,
        "warmup_limit_s": comeup.LIMIT_H * 3600.0,
        "alarms": [asdict(alert) for alert in alerts_of(state, alarms)],
        "chubs": [],
        "stopped": False,
        "phone": "",
        "stage": "",
        "next": "No batch is running.",
        "next_at": None,
        "mark": None,
        "others": [],
        "undo": None,
    }
    if state is None:
        return shown
    finishes = finishes or {}
    return shown | {
        "target_degC": _rounded(state.target_degC) if state.heat else None,
        "limit_degC": state.plan.cap_degC,
        "band_degC": list(state.plan.band_degC),
        "chubs": [_chub(state, frame, one.number, finishes, today or Day()) for one in state.plan.chubs],
        "stopped": state.book.stopped is not None,
        "phone": state.book.phone,
        "stage": _stage(state),
        **errands(state, finishes),
    }


def _stage(state: BatchState) -> str:
    """What the chamber is doing, and the row of the stages where there are some."""
    words = STAGE.get(state.why, "")
    row = course.sentence(state.plan, state.book, state.last.at_s) if state.last is not None and state.heat else ""
    return "; ".join(part for part in ("" if row and state.why == "stage" else words, row.removesuffix(".")) if part)


def warmup_s_of(
    rows: Sequence[tuple[float, Sequence[float | None]]], day: Day | None = None, hung_s: float | None = None
) -> float | None:
    """The longest warm-up clock of any channel, from (steady s, temperatures) rows, and what the days' marks say of the
    time before them; None before the first two."""
    longest = None
    for channel in range(1, max((len(t) for _, t in rows), default=0)):
        curve = [(at_s, t[channel]) for at_s, t in rows if channel < len(t) and t[channel] is not None]
        if len(curve) >= 2:
            hours = comeup.hours([at_s for at_s, _ in curve], [degC for _, degC in curve if degC is not None])
            if hours is not None and math.isfinite(hours):
                if day is not None:
                    at_s, degC = curve[0]
                    hours += judge.hours_before(at_s, degC or 0.0, day, at_s if hung_s is None else hung_s)
                longest = max(longest or 0.0, hours * 3600.0)
    return longest


def _chub(
    state: BatchState, frame: DatedFrame | None, number: int, finishes: Mapping[int, Span], today: Day
) -> dict[str, Any]:
    book, chub = state.book, state.plan.chub(number)
    channel = book.probe_of.get(number)
    status = frame.s[channel] if frame and channel is not None and channel < len(frame.s) else ""
    core = frame.t[channel] if frame and channel is not None and channel < len(frame.t) else None
    guess = state.guesses.get(number)
    guessed = core is None and guess is not None and number in book.hanging
    where, words, flag = _where(state, number, PROBE.get(status, ""), guessed)
    return {
        "number": number,
        "line": chub.line,
        "place": today.place(state.plan, number),
        "probe": channel,
        "lead": number == state.lead_chub and number in book.hanging,
        "guessed": guessed,
        "finish": finishes.get(number) if number in book.hanging else None,
        "diameter_mm": chub.diameter_mm,
        "core_degC": _rounded(guess.core_degC) if guessed and guess else core,
        "state": where,
        "words": words,
        "flag": flag,
    }


def _where(state: BatchState, number: int, trouble: str, guessed: bool) -> tuple[str, str, str]:
    """(state word for the picture, words for the person, short flag under the chub)."""
    book = state.book
    if number in book.pulled_s:
        return "pulled", "pulled", "out"
    if number in book.calls:
        return "called", "pull it now", "PULL"
    if number in book.checks:
        return "check", "check by hand", "CHECK"
    if number not in book.hung_s:
        return "waiting", "not hung yet", ""
    if trouble:
        return "hanging", trouble, "probe?"
    channel = book.probe_of.get(number)
    if channel is not None and channel in book.out:
        return "hanging", f"its probe is not believed: it {_reason(book.out[channel])}", "probe?"
    if guessed:
        return "hanging", "estimated, no probe", "about"
    if channel is not None and number not in believed(state):
        return "hanging", "watching the probe for three minutes first", ""
    return "hanging", "hanging", ""


def _reason(out: str) -> str:
    """Why a probe is not believed, after the words "it"."""
    return "gave no reading" if out == "no reading" else "was moved" if out == "moved" else out


def _rounded(degC: float | None) -> float | None:
    return None if degC is None or not math.isfinite(degC) else round(degC, 2)
