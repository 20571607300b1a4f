"""The kit inside a rehearsal: the firmware's own loop, with the types that the device dialect does not carry."""

from typing import Any, Protocol, cast

from fiftyover.rehearse.fake_board import FakeBoard
from fiftyover_kit import loop, settings

_LOOP: Any = loop
_SETTINGS: Any = settings


class KitLoop(Protocol):
    """What of `fiftyover_kit.loop.Kit` a rehearsal drives."""

    refused: dict[str, int]
    alerts: dict[str, str]

    def tick(self, now_ms: int) -> None:
        """Sense, guard, duty, relay."""

    def record(self, now_ms: int) -> int:
        """Pack one frame."""

    def live(self) -> bytes:
        """Return the newest frame as bytes."""

    def on_message(self, rest: str, payload: bytes, retained: bool, now_ms: int) -> None:
        """Take one message."""

    def on_link(self, up: bool, now_ms: int) -> None:
        """Note the session."""


def boot(settings_text: str, board: FakeBoard, now_ms: int) -> KitLoop:
    """Start the firmware on a board, its session up."""
    kit = cast(KitLoop, _LOOP.Kit(_SETTINGS.load(settings_text), board, now_ms))
    kit.on_link(True, now_ms)
    return kit
