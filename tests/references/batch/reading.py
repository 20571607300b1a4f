"""Reads figures worked by hand: comment lines start with #, every row says how it was worked."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent


def by_hand(name: str) -> dict[str, tuple[float, float]]:
    """figure -> (value, tolerance)."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["figure"]: (float(row["value"]), float(row["tolerance"])) for row in rows}
