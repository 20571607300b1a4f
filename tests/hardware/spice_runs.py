"""Runs the decks of hardware/circuits in ngspice and reads what they print."""

import os
import shutil
import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

CIRCUITS = Path(__file__).resolve().parents[2] / "hardware" / "circuits"


def _ngspice():
    found = shutil.which("ngspice")
    if found is None:
        message = "no `ngspice` on PATH; `bash tests/run` as root installs Debian's package ngspice"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return found


def run_deck(deck, folder):
    """What ngspice prints of a deck, run in `folder`."""
    ran = subprocess.run(
        [_ngspice(), "-b", str(deck)], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    text = ran.stdout + ran.stderr
    assert "error" not in text.lower(), text
    return text


@cache
def rows(name):
    """The numbers behind each `ROW` that a deck prints."""
    with TemporaryDirectory() as folder:
        printed = run_deck(CIRCUITS / f"{name}.cir", folder)
    found = [[float(word) for word in line.split()[1:]] for line in printed.splitlines() if line.startswith("ROW")]
    assert found, printed
    return found


@cache
def sweep(name):
    """Rows (degC, supply, input, low known, high known) of a deck that writes `<name>.txt`."""
    with TemporaryDirectory() as folder:
        run_deck(CIRCUITS / f"{name}.cir", folder)
        text = (Path(folder) / f"{name}.txt").read_text("utf-8")
    found = [[float(word) for word in line.split()[1:]] for line in text.splitlines()]
    assert [round(row[0]) for row in found] == list(range(-10, 131))
    return found
