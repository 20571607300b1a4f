"""One hub, many smokers: `python tests/bench/many [--quick] [--kits N,N] [--seconds S] [--together] [--profile FILE]`.

Real mosquitto, a hub process and a process of simulated kits, each with a batch that is cooked, at the speed of life.
The figures of the last run, and what they were measured on, are in the README beside this.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from stand import Figures, measured  # noqa: E402

KITS = (10, 50, 100, 200)
QUICK = (10, 50)
WATCHED_S, QUICK_S = 75.0, 25.0
LIMITS = {"hub_cores": 1.0, "interval_p99_s": 5.5, "written_p99_s": 0.250}
NOTHING = ("lost", "doubled", "conflicts", "never_acked", "expired", "faults", "lost_in", "refused_out")
COLUMNS = (
    ("kits", "{:d}", 1), ("hub, cores", "{:.2f}", "hub_cores"), ("a kit, ms/s", "{:.1f}", "each"),
    ("interval p99, s", "{:.2f}", "interval_p99_s"), ("longest", "{:.2f}", "interval_max_s"),
    ("to socket p50", "{:.0f} ms", "written_p50_s"), ("p99", "{:.0f} ms", "written_p99_s"),
    ("longest ", "{:.0f} ms", "written_max_s"), ("kit to kit p99", "{:.0f} ms", "answered_p99_s"),
    ("ack p99", "{:.2f} s", "acked_p99_s"), ("commit p50", "{:.0f} ms", "commit_p50_s"),
    ("commit p99", "{:.0f} ms", "commit_p99_s"), ("memory", "{:.0f} MiB", "memory_mib"), ("frames", "{:d}", "frames"),
    ("lost", "{:d}", "lost"), ("doubled", "{:d}", "doubled"), ("load", "{:.1f}", "load"),
)  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="10 and 50 kits, 25 s each")
    parser.add_argument("--kits", help="how many, separated by commas")
    parser.add_argument("--seconds", type=float, help="watched after every kit has a permit")
    parser.add_argument("--together", action="store_true", help="all kits speak in the same moment of each second")
    parser.add_argument("--profile", default="", metavar="FILE", help="cProfile of the deciding thread")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there")
    args = parser.parse_args()
    counts = [int(one) for one in args.kits.split(",")] if args.kits else list(QUICK if args.quick else KITS)
    seconds = args.seconds or (QUICK_S if args.quick else WATCHED_S)
    rows = []
    print("| " + " | ".join(name.strip() for name, _, _ in COLUMNS) + " |")
    print("|" + " ---: |" * len(COLUMNS), flush=True)
    for count in counts:
        with tempfile.TemporaryDirectory(prefix="fiftyover-many-") as folder:
            rows.append(measured(Path(folder), count, seconds, together=args.together, profile=args.profile))
        print(line(rows[-1]), flush=True)
    if args.json:
        args.json.write_text(json.dumps([asdict(one) for one in rows], indent=1) + "\n", "utf-8")
    missed = [miss for one in rows for miss in misses(one)]
    for one in rows:
        told = asdict(one)
        print({key: told[key] for key in ("kits", "broker_cores", "kits_cores", "handed_p99_s", "late_s", "again",
            *NOTHING, "refused", "whys", "forecasts", "grants")}, file=sys.stderr)  # fmt: skip
    print("\n".join(missed) or "Every figure is within its limit.")
    return 1 if missed else 0


def line(one: Figures) -> str:
    """A row of the table."""
    told = asdict(one) | {"each": 1000.0 * one.hub_cores / one.kits}
    cells = []
    for name, form, key in COLUMNS:
        value = told[name if isinstance(key, int) else key]
        cells.append(form.format(1000.0 * value if form.endswith("ms") else value))
    return "| " + " | ".join(cells) + " |"


def misses(one: Figures) -> list[str]:
    """What lies outside its limit."""
    told = asdict(one)
    found = [
        f"{one.kits} kits: {name} = {told[name]:.3f}, limit {most}"
        for name, most in LIMITS.items()
        if told[name] > most
    ]
    return found + [f"{one.kits} kits: {name} = {told[name]}, must be 0" for name in NOTHING if told[name]]


if __name__ == "__main__":
    sys.exit(main())
