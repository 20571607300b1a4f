"""Half an hour and ten minutes before a chub is called it is said so, with those that come soon after it. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fiftyover.batch import events as ev
from fiftyover.batch.events import Book

MINUTES = (10, 30)
WORDS = {10: "ten minutes", 30: "half an hour"}
TOGETHER_MIN = 8  # a chub that comes so soon after another is told of with it

Add = Callable[..., None]


def tell(book: Book, due: Callable[[int, Iterable[int]], list[int]], add: Add) -> None:
    """Tell of the chubs that are expected to be called in so many minutes.

    ``due`` says which of some chubs would be called by then.
    """
    open_ = [n for n in book.probe_of if n in book.hanging and n not in book.calls]
    for minutes in MINUTES:
        untold = [n for n in open_ if not any((n, told) in book.noticed for told in MINUTES if told <= minutes)]
        new = due(minutes, untold)
        if new:
            more = due(minutes + TOGETHER_MIN, [n for n in untold if n not in new])
            add(ev.NOTICE, chubs=sorted([*new, *more]), minutes=minutes)
            return  # who is told of ten minutes need not hear of half an hour


def notes(book: Book) -> list[str]:
    """Sentences that stand until the call."""
    found = []
    open_ = [n for n in book.hanging if n not in book.calls]
    for minutes in MINUTES:
        told = [
            n
            for n in open_
            if (n, minutes) in book.noticed and not any((n, m) in book.noticed for m in MINUTES if m < minutes)
        ]
        if told:
            named = ", ".join(f"chub {n}" for n in told)
            found.append(f"In about {WORDS[minutes]} you are called to pull {named}.")
    return found
