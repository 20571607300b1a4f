"""Reads the published check values beside it: comment lines start with #, every row names its source."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent


def rows(name: str, folder: Path = FOLDER) -> list[dict[str, str]]:
    text = (folder / name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def half_digit(printed: str) -> float:
    """Half of the last printed digit, and a hair for binary fractions: 156.25 -> 0.005."""
    digits = len(printed.partition(".")[2])
    return 0.5 * 10.0**-digits * (1.0 + 1e-9)
