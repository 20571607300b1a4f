"""The ways take turns at one broker, so that whatever crowds the machine crowds them alike."""

from __future__ import annotations

import statistics
import tempfile
from pathlib import Path
from typing import Any

from queued import Broker, readings
from ways import WAYS, Way


def measured(count: int, rounds: int, probes: int, ways: dict[str, Way] = WAYS) -> dict[str, Any]:
    """Messages a second of each way, round by round in turns; AssertionError if any lost or left a message."""
    payloads = readings(count, probes)
    rates: dict[str, list[float]] = {name: [] for name in ways}
    cpu_us: dict[str, list[float]] = {name: [] for name in ways}
    left = dict.fromkeys(ways, 0)
    with tempfile.TemporaryDirectory(prefix="fiftyover-throughput-") as made:
        folder = Path(made)
        broker = Broker(folder)
        broker.start()
        try:
            for turn in range(rounds):
                names = list(ways)
                for name in names[turn % len(names) :] + names[: turn % len(names)]:
                    client_id = broker.queue(payloads)
                    taken = ways[name](broker, client_id, count, folder)
                    assert taken.rows == count, f"{name}: {taken.rows} of {count} rows"
                    assert taken.acknowledged == (0 if name in ("paho", "sqlite") else count), (name, taken)
                    left[name] += broker.left_over(client_id)
                    rates[name].append(count / taken.taken_s)
                    cpu_us[name].append(taken.cpu_s / count * 1e6)
        finally:
            broker.end()
    return {
        "messages": count,
        "probes": probes,
        "bytes": len(payloads[-1]),
        "left": left,
        "rates": rates,
        "cpu_us": cpu_us,
        "ratio": {name: statistics.median(told) / statistics.median(rates["sqlite"]) for name, told in rates.items()},
        "cpu_ratio": {
            name: statistics.median(cpu_us["sqlite"]) / statistics.median(told) for name, told in cpu_us.items()
        },
    }


def text(found: dict[str, Any]) -> str:
    lines = [
        f"{found['messages']} messages of {found['probes']} probes ({found['bytes']} bytes), "
        f"{len(found['rates']['sqlite'])} rounds in turns; messages/s",
        "  way       median  (least .. most)     to sqlite   CPU us each  to sqlite   left at the broker",
    ]
    for name, rates in found["rates"].items():
        told = f"{statistics.median(rates):>8.0f}  ({min(rates):.0f} .. {max(rates):.0f})"
        cpu = f"{statistics.median(found['cpu_us'][name]):>14.0f}{found['cpu_ratio'][name]:>11.2f}"
        lines.append(f"  {name:<8}{told:<28}{found['ratio'][name]:>9.2f}{cpu}{found['left'][name]:>10}")
    return "\n".join(lines)
