"""What the tests of `fiftyover kit` share: a person who answers, settings, a flashed board, what its converter sees."""

import time
from math import inf

import pytest

from fiftyover import cli
from fiftyover.bench import calibration as maths
from fiftyover.bench import command, firmware, kit_settings, slots
from fiftyover.bench.readings import Person

SECRET = "open sesame"


def settings():
    given = kit_settings.template("direct")
    given["wifi"] = {"ssid": "yard", "password": SECRET}
    return given


def script(*answers):
    """A person who gives these answers, and what was said."""
    said, left = [], list(answers)

    def ask(question):
        said.append(question)
        answer = left.pop(0) if left else pytest.fail(f"asked more than expected: {question}")
        return answer() if callable(answer) else answer

    return Person(ask, said.append), said


def flashed(board):
    """What `flash` leaves, put there at once: its own test shows that it does."""
    for name, path in firmware.device_files().items():
        target = board.folder / "slot_a" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())
    (board.folder / "main.py").write_text(slots.selector("slot_a"))
    board.power(False)
    board.power(True)


def kit(board, monkeypatch, answers, *words):
    """`fiftyover kit WORDS` with a scripted person; (exit code, what was said)."""
    who, said = script(*answers)
    monkeypatch.setattr(command, "person", lambda: who)
    return cli.main(["kit", *words, "--port", board.port]), said


def code_of(ohm, series_ohm):
    return round(65535 * maths.known_ratio(ohm, series_ohm, inf))


def see(board, given, ohms):
    """What the converter of the board sees of these resistances [ohm], one a channel."""
    for channel, ohm in enumerate(ohms):
        board.codes[channel] = min(65535, code_of(ohm, given["channels"][channel]["series_ohm"]))
    time.sleep(0.2)  # until the stand-in has said so
    return ""
