"""What a page can ask of the hub: the counter between the pages and everything behind them."""

from __future__ import annotations

from typing import Any, Protocol


class Desk(Protocol):
    """Each answers only after it is so. `who` is the name of who is signed in; (done, one sentence) tells how it went.

    `units` are those of hub.toml: "F-lb" or "C-kg".
    """

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """Record a mark."""

    def history(self, points: int) -> dict[str, Any]:
        """Curves of the running batch for the chart, at most `points` rows."""

    def clocks(self) -> dict[str, Any]:
        """Cooling and hold clocks, and what can be marked of the days around the cook."""

    def batches(self) -> list[dict[str, Any]]:
        """The batches of the record, the newest first."""

    def batch(self, batch_id: str, units: str) -> dict[str, Any] | None:
        """One batch's record as tables; None if there is none."""

    def past(self, batch_id: str, points: int) -> dict[str, Any]:
        """The curves of a batch of the record."""

    def compared(self, first: str, second: str, units: str) -> dict[str, Any] | None:
        """Two batches side by side; None if one is not there."""

    def export(self, batch_id: str, form: str, units: str) -> tuple[str, str, str] | None:
        """A file of a batch: (name, media type, text)."""

    def recipes(self) -> list[str]:
        """Names of the shipped recipes."""

    def schedules(self) -> list[str]:
        """Names of the schedules to choose from."""

    def recipe(self, name: str) -> dict[str, Any] | None:
        """A shipped recipe as the form takes it."""

    def sheet(self, data: dict[str, Any], practice: bool) -> dict[str, Any]:
        """The sheet of a form, with `practice` after rehearsed cooks (seconds); `sentence` alone: what is wrong."""

    def practised(self) -> dict[str, int]:
        """How far a practice cook is: `done` of `of` simulated cooks."""

    def sheet_page(self, data: dict[str, Any]) -> dict[str, Any]:
        """The sheet as a page to print: `name` and `text`, or `sentence` alone."""

    def begin(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Begin the batch of a form before it is mixed."""

    def hang(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Begin the batch of a form: its chubs hang now."""

    def kit(self) -> dict[str, Any]:
        """The kit: probes, what it says of itself, faults."""

    def calibrate(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Note a probe's kind, and what it read in ice and in boiling water."""

    def settings(self) -> dict[str, Any]:
        """Who is told of alarms (without secrets) and who has an account."""

    def choose(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Change who is told and when."""

    def try_alarm(self) -> tuple[bool, str]:
        """Send the alarm test."""

    def heard(self, code: str | None) -> bool:
        """Somebody heard an alarm: at the page (None) or by the test's own link; False for a wrong code."""

    def account(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Add or remove a person."""
