"""What a board on USB measures, through its own board.py, while its program does not run."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fiftyover_kit.contract import limits, thermistor
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.sense import READS
from fiftyover_kit.settings import load

from .slots import import_path
from .usb import Usb

_FULL = READS * 65535


@dataclass(frozen=True)
class Person:
    """Who sits at the bench: `ask` gives the answer typed, `say` shows a line."""

    ask: Callable[[str], str]
    say: Callable[[str], None]

    def agrees(self, question: str) -> bool:
        """Yes or no."""
        return self.ask(f"{question} (y/n) ").strip().lower().startswith("y")


class Bench:
    """A board made ready: its settings loaded into its own `Board`, named `b` there. Nothing heats."""

    def __init__(self, usb: Usb, slot: str | None, settings: dict[str, Any], raw: bool = False) -> None:
        given = {**settings, "converter": {"gain_ppm": 0, "offset_ppm": 0}} if raw else settings
        text = json.dumps(given)
        self.settings: Any = load(text)  # type: ignore[no-untyped-call]
        self._usb = usb
        usb.run(
            import_path(slot) + "from fiftyover_kit.board import Board\nfrom fiftyover_kit.settings import load\n"
            f"b=Board(load({text!r}))"
        )
        self.ratios()  # the first look settles the inputs

    def run(self, code: str, limit_s: float = 10.0) -> str:
        """Code on the board, where `b` is its Board."""
        return self._usb.run(code, limit_s)

    def ratios(self) -> list[float]:
        """Share 0..1 of the supply at each channel."""
        count = len(self.settings.channels)
        said = self.run(f"import time\ntime.sleep_ms(20)\nprint([b.read_sum(i,{READS}) for i in range({count})])")
        return [int(one) / _FULL for one in said.strip("[]").split(",")]

    def shown(self, ratio: float, channel: int) -> tuple[str, float | None]:
        """Status word and °C of a ratio."""
        if ratio < limits.RATIO_SHORT:
            return "short", None
        if ratio > limits.RATIO_OPEN:
            return "open", None
        one = self.settings.channels[channel]
        try:
            degC = one.thermistor.degC(thermistor.ohms_from_ratio(ratio, one.series_ohm))
        except ContractError:
            return "range", None
        if not limits.RANGE_MIN_DEGC <= degC <= limits.RANGE_MAX_DEGC:
            return "range", None
        return "ok" if one.calibrated else "uncalibrated", float(degC)


def line(bench: Bench) -> str:
    """One line of live readings."""
    parts = []
    for channel, ratio in enumerate(bench.ratios()):
        status, degC = bench.shown(ratio, channel)
        parts.append(f"{channel + 1}: {status if degC is None else f'{degC:.2f} °C'}")
    return "   ".join(parts)
