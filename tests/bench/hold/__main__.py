"""How well the chamber is held and each chub ended: `python tests/bench/hold [--quick] [--part PART] [--json FILE]`.

The whole chain on a virtual clock: simulated smoker, the kit's own loop, the contract, the hub's decisions, a person.
The baselines, a dial turned every half hour and a good thermostat, cook in the same smokers with the same seeds. No
real smoker stands behind the figures, so only the ratios say much.
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
from collections.abc import Callable  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parent))

import endings  # noqa: E402
import pulled_out  # noqa: E402
from smokers import cook, limits, overshoot_kelvin, smoker  # noqa: E402

from fiftyover.rehearse.scenario import Scenario  # noqa: E402

RELAYS = ("mechanical", "solid-state")
BASELINES = ("dial", "thermostat")
SMOKERS = (12, 24)  # quick, long
SEEDS = 2
HOLD_S = (3000, 3 * 3600)
DOOR_SEEDS = (1, 4)
PARTS = ("hold", "doors", "endings", "probes")
DOORS_S = ((5400.0,), (9900.0,), (6300.0, 8100.0, 9900.0, 11700.0))  # on the rise, at the limit, four of them
FIGURES = ("rms_kelvin", "max_kelvin", "above_cap_min", "worst_above_cap_kelvin", "switchings_per_h")


# -- the hold


def held(job: tuple[int, int, int, str]) -> dict[str, Any]:
    """One smoker held by one controller ("mechanical", "solid-state", "dial" or "thermostat")."""
    number, seed, end_s, who = job
    follows = who in RELAYS
    one = cook(
        smoker(number, seed, relay=who if follows else "solid-state", controller="follow" if follows else who), end_s
    )
    told = one.scenario
    return {
        "smoker": number,
        "seed": seed,
        "who": who,
        "watts": told.element_watts,
        **{key: one.outcome[key] for key in FIGURES},
    }


def hold_table(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Figures by controller, and the ratios of each relay to the baselines, smoker by smoker."""
    by = {who: [row for row in rows if row["who"] == who] for who in (*RELAYS, *BASELINES)}
    table: dict[str, Any] = {}
    for who, mine in by.items():
        rms = np.array([row["rms_kelvin"] for row in mine])
        table[who] = {
            "cooks": len(mine),
            "rms_median": float(np.median(rms)),
            "rms_p90": float(np.quantile(rms, 0.9)),
            "rms_worst": float(rms.max()),
            "max_worst": max(row["max_kelvin"] for row in mine),
            "above_cap_min": sum(row["above_cap_min"] for row in mine),
            "worst_above_cap": max(row["worst_above_cap_kelvin"] for row in mine),
            "switchings_most": max(row["switchings_per_h"] for row in mine),
        }
        for baseline in BASELINES if who in RELAYS else ():
            ratio = np.array([row["rms_kelvin"] for row in by[baseline]]) / rms
            table[who][f"{baseline}_median"] = float(np.median(ratio))
            table[who][f"{baseline}_least"] = float(ratio.min())
            of_medians = np.median([row["rms_kelvin"] for row in by[baseline]]) / np.median(rms)
            table[who][f"{baseline}_of_medians"] = float(of_medians)
    return table


def hold_text(table: dict[str, Any]) -> list[str]:
    lines = ["the hold: true air less what was wanted, K; ratios are of the same smoker's rms, median (least)"]
    lines.append(
        "  who          cooks  rms median   p90  worst    max  min>cap  worst>cap  on/h  to dial      to thermostat"
    )
    for who, one in table.items():
        text = (
            f"  {who:<12} {one['cooks']:>5} {one['rms_median']:>11.2f} {one['rms_p90']:>5.2f} {one['rms_worst']:>6.2f} "
        )
        text += f"{one['max_worst']:>6.2f} {one['above_cap_min']:>8.1f} {one['worst_above_cap']:>10.2f} "
        text += f"{one['switchings_most']:>5.0f}"
        for baseline in BASELINES if who in RELAYS else ():
            text += f"  {one[baseline + '_median']:>5.1f} ({one[baseline + '_least']:.1f})"
        lines.append(text)
    return lines


# -- doors


def door(job: tuple[int, str, float, tuple[float, ...]]) -> dict[str, Any]:
    """A cook with a door open for 60 s once or four times: 800 W and 45 mm under 180 °F, 1500 W and 64 mm under 200."""
    seed, who, watts, doors_s = job
    strong, follows = watts > 1000.0, who in RELAYS
    told = Scenario(
        seed=seed,
        diameters_mm=(64.0 if strong else 45.0,),
        element_watts=watts,
        relay=who if follows else "solid-state",
        controller="follow" if follows else who,
        doors_s=doors_s,
        forecast=False,
        options={"casing_factor": 0.03},
        **limits(200.0 if strong else 180.0),
    )
    one = cook(told, int(doors_s[-1]) + 1500)
    return {
        "who": who,
        "watts": watts,
        "doors_s": doors_s,
        "overshoot_kelvin": max(overshoot_kelvin(one, at_s) for at_s in doors_s),
        "worst_above_cap_kelvin": one.outcome["worst_above_cap_kelvin"],
    }


def door_table(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Worst and median by controller, element and doors."""
    kinds = sorted({(row["watts"], row["doors_s"], row["who"]) for row in rows})
    table = []
    for watts, doors_s, who in kinds:
        mine = [row for row in rows if (row["watts"], row["doors_s"], row["who"]) == (watts, doors_s, who)]
        over = [row["overshoot_kelvin"] for row in mine]
        table.append(
            {
                "watts": watts,
                "doors_min": [round(at_s / 60.0) for at_s in doors_s],
                "who": who,
                "cooks": len(mine),
                "overshoot_median": float(np.median(over)),
                "overshoot_worst": max(over),
                "worst_above_cap": max(row["worst_above_cap_kelvin"] for row in mine),
            }
        )
    return table


def door_text(table: list[dict[str, Any]]) -> list[str]:
    lines = ["a door open for 60 s: true air over what was wanted in the 19 min after it closed, K"]
    lines.append("  watts  at min            who          cooks  overshoot median  worst  worst above the limit")
    for one in table:
        at = ",".join(map(str, one["doors_min"]))
        text = f"  {one['watts']:>5.0f}  {at:<16}  {one['who']:<12} {one['cooks']:>5} {one['overshoot_median']:>17.2f}"
        lines.append(f"{text} {one['overshoot_worst']:>6.2f} {one['worst_above_cap']:>22.2f}")
    return lines


# -- endings and probes


def ending_text(found: list[endings.Ending]) -> list[str]:
    bad = [one for one in found if one.below or one.above or one.uncalled]
    chubs = sum(one.chubs for one in found)
    unreached = sum(one.unreached for one in found)
    lines = [
        f"pulled as called: {len(found)} cooks, responses 0 to 15 min, three bands, limits 180, 190, 200 °F, one and "
        "two casing lines",
        f"  {chubs} chubs, {unreached} could not get there; above the band's top {sum(o.above for o in found)}, below "
        f"its foot {sum(o.below for o in found)}, not called {sum(o.uncalled for o in found)}; "
        f"trips per cook {np.mean([o.trips for o in found]):.1f} for {endings.CHUBS} chubs",
    ]
    for one in bad:
        lines.append(
            f"  {one.case}: below {one.below}, above {one.above}, not called {one.uncalled}, pulled from "
            f"{one.lowest_degF:.2f}, peaks to {one.highest_degF:.2f} °F"
        )
    return lines


def probe_text(found: list[pulled_out.Row]) -> list[str]:
    never = sum(row.excluded_s is None for row in found)
    latest = max((row.excluded_s for row in found if row.excluded_s is not None), default=float("nan"))
    lines = [
        f"a probe pulled out at 100 to 150 °F, tips of 8 to 60 s: {len(found)} times; "
        f"calls {sum(r.calls for r in found)}, rows met {sum(r.rows for r in found)}, "
        f"target raised by {max(r.raised_kelvin for r in found):.2f} K at most; "
        f"excluded after {latest:.0f} s at most, never {never}"
    ]
    lines += [f"  {row}" for row in found if row.calls or row.rows or row.raised_kelvin > 0.05]
    return lines


def probe_rows(job: tuple[int, int, bool]) -> list[pulled_out.Row]:
    """All rows of one cook."""
    return pulled_out.rows(*job)


# -- all of it


def measured(pool: Any, quick: bool, parts: list[str], seeds: tuple[int, ...]) -> dict[str, Any]:
    """Run the tables that are wanted and print each when it is there."""
    size = 0 if quick else 1
    end_s = HOLD_S[size]
    jobs = [(n, seed, end_s, who) for n in range(SMOKERS[size]) for seed in seeds for who in (*RELAYS, *BASELINES)]
    doors = [
        (seed, who, watts, at_s)
        for seed in range(DOOR_SEEDS[size])
        for watts in (800.0, 1500.0)
        for at_s in (DOORS_S[1:2] if quick else DOORS_S)
        for who in (RELAYS if quick or len(at_s) > 1 else (*RELAYS, *BASELINES))
    ]
    probes = [(1, 2, True)] if quick else [(seed, count, False) for seed in (1, 2) for count in (8, 2, 1)]
    found: dict[str, Any] = {}

    def run(name: str, job: Callable[[Any], Any], of: list[Any], made: Callable[[Any], Any], text: Any) -> None:
        if name in parts:
            found[name] = made(pool.map(job, of, chunksize=1))
            print("\n".join(text(found[name])), flush=True)

    run("hold", held, jobs, hold_table, hold_text)
    run("doors", door, doors, door_table, door_text)
    run("endings", endings.ending, endings.cases(quick), list, ending_text)
    run("probes", probe_rows, probes, lambda many: [row for rows in many for row in rows], probe_text)
    return found


def plain(found: dict[str, Any]) -> dict[str, Any]:
    """The figures as JSON takes them."""
    return {
        **found,
        "endings": [{**one._asdict(), "case": one.case._asdict()} for one in found.get("endings", ())],
        "probes": [one._asdict() for one in found.get("probes", ())],
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="shorter and fewer cooks, under 45 s on two cores")
    parser.add_argument("--part", choices=PARTS, action="append", help="only this part; may be repeated")
    parser.add_argument("--seeds", type=int, default=0, metavar="N", help="of each smoker (1 quick, 2 long)")
    parser.add_argument("--json", metavar="FILE", help="write all figures there")
    args = parser.parse_args()
    began = time.perf_counter()
    with multiprocessing.get_context("fork").Pool(2) as pool:
        seeds = tuple(range(1, 1 + (args.seeds or (1 if args.quick else SEEDS))))
        found = measured(pool, args.quick, args.part or list(PARTS), seeds)
    taken_s = time.perf_counter() - began
    print(f"{taken_s:.0f} s")
    if args.json:
        Path(args.json).write_text(json.dumps({**plain(found), "taken_s": taken_s}, indent=1) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
