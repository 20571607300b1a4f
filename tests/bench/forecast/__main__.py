"""How good the forecast is: `python tests/bench/forecast [--quick] [--json FILE] [--calibrate] [--cooks DIR]`.

Tables over random plants: the median and mean error at a quarter, half and three quarters of each chub's own time,
beside a straight line through the last quarter of an hour, and how often the truth lay inside the interval. The
interval's factors come from `--calibrate`, which uses other seeds than the tables and writes `factors.py`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: two processes on two cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse  # noqa: E402
import json  # noqa: E402
import multiprocessing  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from collections.abc import Callable, Iterable  # noqa: E402
from dataclasses import replace  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parent))

import judge  # noqa: E402
import kept  # noqa: E402
import series  # noqa: E402
from judge import FRACTIONS, Row  # noqa: E402

from fiftyover.control.forecast import CALIBRATED, Calibration  # noqa: E402

SIZES = {  # cooks of each table: quick, long
    "ours": (24, 102),
    "foreign": (9, 51),
    "two probes": (3, 100),
    "prior": (6, 51),
    "rig": (2, 17),
    "stalls": (1, 3),
}
# Cooks for the interval's factors: no seed, and so no plant, that a table uses.
CALIBRATION_SEEDS = range(10_000, 10_102)
CALIBRATION_FOREIGN = range(10_200, 10_251)
CALIBRATION_PROBES = range(10_300, 10_351)
CALIBRATION_RIGS = range(10_900, 10_924)
MISS = 0.06  # of each side, in the plant where more are missed
FACTORS = Path(__file__).parents[3] / "hub/fiftyover/control/forecast/factors.py"


def summary(rows: list[Row]) -> dict[str, Any]:
    """Figures of one table, by moment."""
    found = {}
    for fraction in FRACTIONS:
        here = [row for row in rows if row.fraction == fraction]
        if not here:
            continue
        error = np.abs([row.error_min for row in here])
        line = np.abs([row.line_error_min for row in here])
        found[f"{fraction:g}"] = {
            "forecasts": len(here),
            "median_min": float(np.median(error)),
            "mean_min": float(np.mean(error)),
            "p90_min": float(np.quantile(error, 0.9)),
            "bias_min": float(np.median([row.error_min for row in here])),
            "line_median_min": float(np.median(line)),
            "ratio": float(np.median(line) / max(np.median(error), 1e-9)),
            "covered": float(np.mean([row.covered for row in here])),
            "warned": float(np.mean([row.stalls > 0.05 for row in here])),
            "width_min": float(np.median([row.high_min - row.low_min for row in here])),
        }
    return found


def shown(name: str, table: dict[str, Any]) -> str:
    """One table as text."""
    lines = [name, "  at     n   median   mean    p90    bias   line   ratio  covered  width (minutes)"]
    for fraction, one in table.items():
        error = f"{one['median_min']:>7.1f} {one['mean_min']:>7.1f} {one['p90_min']:>6.1f} {one['bias_min']:>7.1f}"
        line = f"{one['line_median_min']:>6.1f} {one['ratio']:>6.1f}"
        lines.append(
            f"  {fraction:<5}{one['forecasts']:>4} {error} {line} {one['covered']:>8.2f} {one['width_min']:>6.0f}"
        )
    return "\n".join(lines)


def spread(pool: Any, work: Callable[[int], Any], seeds: Iterable[int]) -> list[Any]:
    """Do a cook's work for each seed, in order."""
    return list(pool.imap(work, list(seeds)))


def flat(parts: list[list[Row]]) -> list[Row]:
    """All rows of all cooks."""
    return [row for part in parts for row in part]


def measured(pool: Any, quick: bool) -> dict[str, Any]:
    """Run every table."""
    size = {name: sizes[0 if quick else 1] for name, sizes in SIZES.items()}
    foreign = flat(spread(pool, series.foreign, range(500, 500 + size["foreign"])))
    probes = flat(spread(pool, series.two_probes, range(700, 700 + size["two probes"])))
    rigs = spread(pool, series.rig, range(900, 900 + size["rig"]))
    foreign_rigs = spread(pool, series.foreign_rig, range(950, 950 + size["rig"]))
    off = spread(pool, series.off_by, range(size["prior"]))
    by_hand = flat(spread(pool, series.read_by_hand, range(700, 700 + size["two probes"])))
    tables = {
        "ours: the rehearsal's plant": summary(flat(spread(pool, series.plain, range(size["ours"])))),
        "a plant it was not built for": summary(foreign),
        "two probes for twelve chubs, with a probe": summary([row for row in probes if row.probed]),
        "two probes for twelve chubs, without": summary([row for row in probes if not row.probed]),
        "two probes for twelve chubs, without, read by hand half an hour ago": summary(by_hand),
        "evaporation expected four times too high": summary(flat([one[4.0] for one in off])),
        "evaporation expected four times too low": summary(flat([one[0.25] for one in off])),
        "a fourth batch, nothing learned": summary(flat([one["nothing learned"] for one in rigs])),
        "a fourth batch, three learned": summary(flat([one["three batches"] for one in rigs])),
        "a fourth batch of a foreign plant, nothing learned": summary(
            flat([one["nothing learned"] for one in foreign_rigs])
        ),
        "a fourth batch of a foreign plant, three learned": summary(
            flat([one["three batches"] for one in foreign_rigs])
        ),
    }
    apart = [one for part in spread(pool, series.apart_min, range(700, 700 + size["two probes"])) for one in part]
    costs = series.cost_ms(42)
    said = spread(pool, series.stalls, range(size["stalls"]))
    return {
        "tables": tables,
        "apart_min": float(np.median(apart)),
        "cost_ms": {"median": float(np.median(costs)), "most": max(costs)},
        "stalls": {
            kind: {
                "stuck": sum(one[kind]["stuck"] for one in said),
                "warned": sum(one[kind]["warned"] for one in said),
                "ahead_min": [one[kind]["ahead_min"] for one in said],
                "told_apart": sum(why == kind for one in said for why in one[kind]["why"]),
            }
            for kind in ("limit", "element")
        },
    }


def pool_with(interval: Calibration) -> Any:
    """Two processes that judge by these factors."""
    judge.interval = interval
    return multiprocessing.get_context("fork").Pool(2)


def calibrate() -> None:
    """Write the factors, from cooks that no table uses.

    Nobody tells the forecast which plant it is in, so each factor is what the worse of them asks for. A chub without a
    probe is told no surer than its mates with one, so its factors come last, with those of its mates in place.
    """
    ones = (1.0,) * len(FRACTIONS)
    told = Calibration(FRACTIONS, *(ones,) * 6, floor_s=1.0, floor_share=0.0)
    with pool_with(told) as pool:
        plain = [
            flat(spread(pool, series.plain, CALIBRATION_SEEDS)),
            flat(spread(pool, series.foreign, CALIBRATION_FOREIGN)),
        ]
        learned = [
            flat([one["three batches"] for one in spread(pool, rig, CALIBRATION_RIGS)])
            for rig in (series.rig, series.foreign_rig)
        ]
    told = replace(told, early=_factors(plain, "early"), late=_factors(plain, "late"))
    told = replace(told, early_learned=_factors(learned, "early"), late_learned=_factors(learned, "late"))
    with pool_with(told) as pool:
        rows = flat(spread(pool, series.two_probes, CALIBRATION_PROBES))
    unprobed = [[row for row in rows if not row.probed]]
    told = replace(told, early_unprobed=_factors(unprobed, "early"), late_unprobed=_factors(unprobed, "late"))
    chubs = {"": plain, "_learned": learned, "_unprobed": unprobed}
    lines = [f"PROGRESS = {FRACTIONS}"]
    for name, plants in chubs.items():
        for side in ("early", "late"):
            count = sum(map(len, plants)) // len(FRACTIONS)
            lines.append(f"{(side + name).upper()} = {getattr(told, side + name)}  # {count} chubs")
    text = FACTORS.read_text("utf-8")
    FACTORS.write_text(text[: text.index("PROGRESS")] + "\n".join(lines) + "\n", "utf-8")
    print("\n".join(lines))


def _factors(plants: list[list[Row]], side: str) -> tuple[float, ...]:
    """One side's factors by moment: the largest of the plants' quantiles."""
    scores = [
        [[getattr(row, f"share_{side}") for row in rows if row.fraction == at] for rows in plants] for at in FRACTIONS
    ]
    return tuple(round(max(map(_quantile, of_plants)), 2) for of_plants in scores)


def _quantile(scores: list[float]) -> float:
    """The split-conformal quantile of one side's scores [ratio]."""
    return float(np.quantile(scores, min(1.0, (1.0 - MISS) * (1.0 + 1.0 / len(scores)))))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer cooks, under 45 s on two cores")
    parser.add_argument("--json", metavar="FILE", help="write all figures there")
    parser.add_argument("--calibrate", action="store_true", help="work the interval's factors out anew and write them")
    parser.add_argument("--cooks", metavar="DIR", type=Path, help="keep simulated cooks there between runs")
    args = parser.parse_args()
    began = time.perf_counter()
    kept.folder = args.cooks
    if args.calibrate:
        calibrate()
        return 0
    with pool_with(CALIBRATED) as pool:
        found = measured(pool, args.quick)
    found["taken_s"] = time.perf_counter() - began
    print("\n".join(shown(name, table) for name, table in found["tables"].items()))
    print(f"chubs without a probe lie {found['apart_min']:.1f} min (median) from the middle of their own batch's")
    print(f"12 chubs cost {found['cost_ms']['median']:.0f} ms of a core (most {found['cost_ms']['most']:.0f})")
    for kind, one in found["stalls"].items():
        print(
            f"never done because of the {kind}: {one['stuck']} chubs, warned of {one['warned']}, "
            f"told apart {one['told_apart']}; minutes before the core stands still: "
            + ", ".join("never" if ahead is None else f"{ahead:.0f}" for ahead in one["ahead_min"])
        )
    print(f"{found['taken_s']:.0f} s")
    if args.json:
        Path(args.json).write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
