"""The pin map and the parts list, read once for drawings, harness and tests."""

import csv
import re
from pathlib import Path

HARDWARE = Path(__file__).resolve().parents[1]
KITS = ("direct", "mux", "esp32", "fridge")
BOXES = ("ssr", "mechanical")


def _rows(name):
    lines = (HARDWARE / name).read_text("utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line and not line.startswith("#")))


def pins(variant):
    """Rows of pins.csv of one kit: setting, pin, place, net, to."""
    return [row for row in _rows("pins.csv") if row["variant"] == variant]


def parts(variant=None):
    """Rows of parts.csv, of one kit or box, or all."""
    return [row for row in _rows("parts.csv") if variant is None or variant in row["variants"].split()]


def expand(ref):
    """["R11", "R12", "R13"] of "R11-R13", "R11–R13" or "R11 … R13"."""
    ends = re.findall(r"[A-Z]+\d+", ref)
    if len(ends) == 1:
        return ends
    letters = ends[0].rstrip("0123456789")
    first, last = (int(one[len(letters) :]) for one in ends)
    return [f"{letters}{number}" for number in range(first, last + 1)]


def ref_of(variant, start):
    """The ref as printed for the row that begins with `start` ("R11" gives "R11–R18")."""
    found = [row["ref"] for row in parts(variant) if expand(row["ref"])[0] == start]
    return found[0].replace("-", "–")


def refs(variant, place):
    """Every single ref of a variant that parts.csv wants in a place."""
    wanted = [row["ref"] for row in parts(variant) if place in row["place"].split()]
    return {one for ref in wanted for one in expand(ref)}
