"""From the state of a batch to what the page shows: words and numbers only, nothing is decided here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from ..batch.state import BatchState
from ..batch.tracks import believed
from ..process import comeup
from ..store import DatedFrame
from ..web.words import HEATER, PROBE

FRESH_S = 10.0


def picture(
    state: BatchState | None,
    frame: DatedFrame | None,
    *,
    kit: Mapping[str, Any],
    alarms: Sequence[str],
    warmup_s: float | None,
    title: str,
) -> dict[str, Any]:
    """One snapshot for the page (JSON-able). `kit` tells id, age_s and simulated; temperatures in °C."""
    shown: dict[str, Any] = {
        "name": state.plan.name if state else title,
        "kit": dict(kit),
        "chamber_degC": frame.t[0] if frame and frame.t else None,
        "target_degC": None,
        "limit_degC": None,
        "band_degC": [66.67, 68.33],
        "heater": HEATER.get(frame.why, frame.why) if frame else "no word from the kit yet",
        "warmup_s": warmup_s,
        "alarms": list(alarms),
        "chubs": [],
        "stopped": False,
        "next": "No batch is running.",
    }
    if state is None:
        return shown
    notes = list(state.notes)
    shown |= {
        "target_degC": _rounded(state.target_degC) if state.heat else None,
        "limit_degC": state.plan.cap_degC,
        "band_degC": list(state.plan.band_degC),
        "chubs": [_chub(state, frame, one.number) for one in state.plan.chubs],
        "stopped": state.book.stopped is not None,
        "next": _next(state),
    }
    shown["alarms"] += [note for note in notes if not note.startswith(("Pull", "Check"))]
    return shown


def warmup_s_of(rows: Sequence[tuple[float, Sequence[float | None]]]) -> float | None:
    """The longest warm-up clock of any channel, from (steady s, temperatures) rows; None before a core passed 50 °F."""
    longest = None
    for channel in range(1, max((len(t) for _, t in rows), default=0)):
        curve = [(at_s, t[channel]) for at_s, t in rows if channel < len(t) and t[channel] is not None]
        if len(curve) >= 2:
            hours = comeup.hours([at_s for at_s, _ in curve], [degC for _, degC in curve if degC is not None])
            if hours is not None and math.isfinite(hours):
                longest = max(longest or 0.0, hours * 3600.0)
    return longest


def _next(state: BatchState) -> str:
    book = state.book
    if book.calls:
        names = ", ".join(str(number) for number in sorted(book.calls))
        return f"Pull chub {names} now." if len(book.calls) == 1 else f"Pull chubs {names} now."
    if book.checks:
        names = ", ".join(str(number) for number in sorted(book.checks))
        return f"Check by hand and type in: chub {names}."
    if book.finished:
        return "All chubs are out. Into the ice bath with them."
    if not book.hung_s:
        return "Hang the chubs."
    if book.stopped is not None:
        return "The heat is stopped. Look after the meat."
    return "Nothing to do: the smoker follows the meat."


def _chub(state: BatchState, frame: DatedFrame | None, number: int) -> dict[str, Any]:
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
        "place": chub.place,
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
    channel = book.probe_of.get(number)
    if channel is not None and channel in book.out:
        return "hanging", f"its probe is not believed: it {book.out[channel]}", "probe?"
    if trouble:
        return "hanging", trouble, "probe?"
    if guessed:
        return "hanging", "estimated, no probe", "about"
    if channel is not None and number not in believed(state):
        return "hanging", "watching the probe for three minutes first", ""
    return "hanging", "hanging", ""


def _rounded(degC: float | None) -> float | None:
    return None if degC is None or not math.isfinite(degC) else round(degC, 2)
