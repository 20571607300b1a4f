"""What to alarm about, and how urgently: act now, soon, or only to know. Pure.

Each alarm has a name that stays the same while it stands for the same thing, so that nobody is told twice; a call that
was repeated is a new thing. The sentences say what is wrong and what to do.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..batch.state import BatchState

ACT, SOON, KNOW = "act", "soon", "know"
ORDER = (ACT, SOON, KNOW)

# How urgent a sentence of the batch, the hub or the kit is, by how it begins; the first that fits. What is not listed
# is "soon": a new sentence must not be lost for want of a line here.
BY_BEGINNING = (
    ("No heat", ACT),
    ("Late, not lost", ACT),
    ("Held at 147 °F", ACT),
    ("No core can be believed", ACT),
    ("The power was away", ACT),
    ("The kit is not heard", ACT),
    ("The stop is", ACT),
    ("Another hub", ACT),
    ("The hub's link is down", ACT),
    ("The published rule", ACT),
    ("The kit says:", SOON),
    ("Looking ahead", KNOW),
    ("The door is open", KNOW),
    ("Heat is stopped", KNOW),
    ("A message to", KNOW),
    ("This machine's clock", KNOW),
)
_NUMBER = re.compile(r"(?<!chub )(?<!probe )\b\d+(?:[.,:]\d+)*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Alert:
    """One alarm: its name, priority (`ACT`, `SOON` or `KNOW`) and the sentence for the person."""

    key: str
    priority: str
    text: str


def alerts_of(state: BatchState | None, sentences: Iterable[str]) -> list[Alert]:
    """All that stands now, the most urgent first: the batch's calls and notes, and what hub and kit have to tell."""
    found = [] if state is None else [*_errands(state), *_notes(state.notes)]
    found += [ranked(sentence) for sentence in sentences]
    once: dict[str, Alert] = {}
    for alert in found:
        once.setdefault(alert.key, alert)
    return sorted(once.values(), key=lambda alert: ORDER.index(alert.priority))


def ranked(sentence: str) -> Alert:
    """An alarm of a plain sentence; figures in it may change without making it another alarm."""
    priority = next((rank for beginning, rank in BY_BEGINNING if sentence.startswith(beginning)), SOON)
    return Alert(_NUMBER.sub("#", sentence), priority, sentence)


def _errands(state: BatchState) -> list[Alert]:
    """Calls are urgent, and each repeat is told anew; so is a check by hand, a little less."""
    found = []
    for number, call in state.book.calls.items():
        again = f" Called {call.again + 1} times." if call.again else ""
        found.append(Alert(f"call {number} {call.again}", ACT, f"Pull chub {number} now.{again}"))
    for number, check in state.book.checks.items():
        text = f"Check chub {number} by hand and type in its core."
        found.append(Alert(f"check {number} {check.again}", SOON, text))
    return found


def _notes(notes: Sequence[str]) -> list[Alert]:
    """The batch's own sentences but for calls and checks, which the book tells with how often they were repeated."""
    return [ranked(note) for note in notes if not note.startswith(("Pull chub", "Check chub"))]
