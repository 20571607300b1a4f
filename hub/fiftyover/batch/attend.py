"""Whether the smoker may go on with nobody there: only when the alarm test was answered from the phone. Pure.

A batch whose hub sent an alarm test (or has nobody to send it to) is unattended half an hour after the last thing a
person said of it. Until the test is answered its chamber is then held where no core can come to its band unseen.
"""

from __future__ import annotations

from fiftyover.batch import events as ev
from fiftyover.batch.events import Book

ATTEND_S = 1800.0  # so long after a person's mark somebody counts as being there: figure of our own

HELD = (
    "Held at 147 °F: the phone has not been heard and nobody was here for half an hour. "
    "Answer the alarm test, or say that you stay."
)


def touched_s(book: Book) -> float | None:
    """When a person last said something of this batch (s), None before anybody did."""
    marks = (e.at_s for e in reversed(book.log) if e.kind in ev.MARKS and e.data.get("by") != "seen")
    return next(marks, None)


def unheard(book: Book) -> bool:
    """Whether an alarm test is open, or there is nobody to send one to."""
    return book.phone in (ev.TEST_SENT, ev.TEST_NOBODY)


def unattended(book: Book, at_s: float) -> bool:
    """Whether the batch must not go on by itself now."""
    if not unheard(book) or not book.hanging:
        return False
    last_s = touched_s(book)
    return last_s is not None and at_s - last_s > ATTEND_S
