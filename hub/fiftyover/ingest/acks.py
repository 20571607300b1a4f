"""What to acknowledge: the ranges of frames that became durable since the last acknowledgement."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fiftyover_kit.contract.limits import V

from ..store.frames import Key

RANGES_MAX = 250  # in one message; 250 of the longest ranges stay below 8 KB


class Acks:
    """Durable frames not acknowledged yet, per kit and start."""

    def __init__(self, hub_id: str) -> None:
        self._hub_id = hub_id
        self._due: dict[tuple[str, str], set[int]] = {}

    def committed(self, keys: Iterable[Key]) -> None:
        """These frames are on the disk (again, for duplicates)."""
        for key in keys:
            self._due.setdefault((key.kit, key.boot), set()).add(key.seq)

    def take(self) -> list[tuple[str, dict[str, Any]]]:
        """(kit, acknowledgement) for all that is due, each of a size that fits a message; then nothing is due."""
        due, self._due = self._due, {}
        messages = []
        for (kit, boot), numbers in due.items():
            got = ranges(numbers)
            for start in range(0, len(got), RANGES_MAX):
                part = got[start : start + RANGES_MAX]
                messages.append((kit, {"v": V, "hub": self._hub_id, "boot": boot, "got": part}))
        return messages


def ranges(numbers: Iterable[int]) -> list[list[int]]:
    """[[first, last], ...] that cover exactly these numbers, rising, none touching the next."""
    found: list[list[int]] = []
    for number in sorted(set(numbers)):
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return found
