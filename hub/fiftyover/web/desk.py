"""What a page can ask of the hub: the counter between the pages and everything behind them."""

from __future__ import annotations

from typing import Any, Protocol


class Desk(Protocol):
    """Each answers only after it is so. `who` is the name of who is signed in."""

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """Record a mark; (done, one sentence for the person)."""

    def history(self, points: int) -> dict[str, Any]:
        """Curves of the running batch for the chart, at most `points` rows."""
