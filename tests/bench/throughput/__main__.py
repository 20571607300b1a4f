"""How fast waiting messages are taken: `python tests/bench/throughput [--quick] [--json FILE]`.

One real mosquitto on 127.0.0.1 holds N QoS-1 messages in a persistent session; three ways of taking them take turns.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2]))

from turns import measured, text  # noqa: E402

COUNT = (4000, 20_000)  # quick, long
ROUNDS = (3, 7)
PROBES = (4, 12)
ASKED = 0.6  # of paho + SQLite


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer messages and rounds, about 20 s")
    parser.add_argument("--json", metavar="FILE", help="write all figures there")
    args = parser.parse_args()
    size, began = int(not args.quick), time.perf_counter()
    found = []
    for probes in PROBES:
        found.append(measured(COUNT[size], ROUNDS[size], probes))
        print(text(found[-1]), flush=True)
    if args.json:
        Path(args.json).write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    kept = all(one["ratio"]["ours"] >= ASKED and not any(one["left"].values()) for one in found)
    print(f"asked of ours: {ASKED} of sqlite, nothing left: {'kept' if kept else 'MISSED'}; ", end="")
    print(f"{time.perf_counter() - began:.0f} s")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
