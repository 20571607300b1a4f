"""1 000 random kits of each variant before and after calibration, an error budget, and probes on the wrong curve.

python hardware/study/calibration_study.py [--quick] [--json FILE] [--write]      (--write: hardware/error_budget.md)
"""

# ruff: noqa: T201  it prints its tables

import argparse
import json
import sys
from itertools import permutations
from math import exp, log
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import random_kits as kits  # noqa: E402  beside this file

from fiftyover.bench import calibration as cal  # noqa: E402
from fiftyover.bench.thermistors import kinds  # noqa: E402
from fiftyover_kit.contract.errors import ContractError  # noqa: E402

PAGE = Path(__file__).resolve().parents[1] / "error_budget.md"
RESULT = Path(__file__).resolve().parent / "result.json"
FULL, QUICK = (1000, 300, 1000), (60, 40, 25)  # kits, draws a line, probes a pair of curves
WITHIN_KELVIN = 0.5
SEED = 20261125
BUDGET_AT = (20.0, 60.0, 100.0)


def budget(variant, draws):
    """{source: [(before, after) at each of BUDGET_AT]}: the largest of `draws` with that source alone."""
    found = {}
    for name in kits.SOURCES:
        one = kits.draw(np.random.default_rng(SEED), draws, {name})
        degC = np.array(BUDGET_AT)
        before = np.abs(kits.errors_kelvin(variant, one, calibrated=False, degC=degC)).max(axis=0)
        after = np.abs(kits.errors_kelvin(variant, one, calibrated=True, degC=degC)).max(axis=0)
        found[name] = list(zip(before.tolist(), after.tolist(), strict=True))
    return found


def shares(variant, count):
    """Of `count` kits: share with every probe within 0.5 K over 20..100 °C; of probes too, and their 95 % error."""
    rng = np.random.default_rng(SEED)
    errors = kits.of_kits(kits.draw(rng, count * variant.probes), count, variant.probes, True)
    found = {}
    for name, options in (
        ("before", {"calibrated": False}),
        ("after", {"calibrated": True}),
        ("after, boiling by altitude alone", {"calibrated": True, "boil_off_kelvin": 0.8}),
    ):
        worst = np.abs(kits.errors_kelvin(variant, errors, **options)).max(axis=1)
        by_kit = worst.reshape(count, variant.probes).max(axis=1)
        found[name] = {
            "kits": float((by_kit <= WITHIN_KELVIN).mean()),
            "probes": float((worst <= WITHIN_KELVIN).mean()),
            "p95_kelvin": float(np.percentile(worst, 95)),
        }
    return found


def _tolerances(rng, count):
    """(R25, beta, ice, boiling) errors of `count` probes and their baths."""
    r25, beta = 0.01 * rng.uniform(-1, 1, (2, count))
    return list(zip(r25, beta, rng.uniform(0, 0.15, count), rng.uniform(-0.25, 0.25, count), strict=True))


def _ohm(kind, degC, r25, beta):
    lean = 1 / (degC + 273.15) - 1 / 298.15
    return kind.curve.ohms(degC) * (1 + r25) * exp(beta * kind.b25_85_kelvin * lean)


def _fit(curve, kind, r25, beta, ice, boil):
    return cal.fit_probe(curve, [(0.0, _ohm(kind, ice, r25, beta)), (98.0, _ohm(kind, 98 + boil, r25, beta))])


def _off(curve, kind, a=0.0, b=1.0, r25=0.0, beta=0.0):
    return max(abs(curve.degC(exp(a + b * log(_ohm(kind, t, r25, beta)))) - t) for t in (20.0, 40.0, 60.0, 80.0, 100.0))


def wrong_curves(count):
    """(chosen, real, kelvin off before, worst after, share told) of every ordered pair of the library."""
    drawn = _tolerances(np.random.default_rng(SEED), count)
    found = []
    for chosen, real in permutations(kinds().values(), 2):
        curve, told, left = chosen.curve, 0, 0.0
        try:
            before = _off(curve, real)
        except ContractError:  # beyond the chosen curve altogether
            before = None
        for r25, beta, ice, boil in drawn:
            try:
                fit = _fit(curve, real, r25, beta, ice, boil)
            except cal.CalibrationError:
                told += 1
                continue
            if fit.verdict == "wrong curve":
                told += 1
            else:
                left = max(left, _off(curve, real, fit.a, fit.b, r25, beta))
        found.append([chosen.name, real.name, before, left, told / count])
    return found


def right_curves(count):
    """Share of probes on their own curve that are called "wrong curve"."""
    drawn = _tolerances(np.random.default_rng(SEED + 1), count)
    wrong = sum(_fit(kind.curve, kind, *one).verdict != "tolerance" for kind in kinds().values() for one in drawn)
    return wrong / (count * len(kinds()))


def _budget_rows(given):
    rows = []
    for name, cells in given["budget"].items():
        if any(max(pair) >= 0.0005 for pair in cells):
            numbers = [f"{pair[which]:.2f}" for which in (0, 1) for pair in cells]
            rows.append(f"| {kits.SOURCES[name][1]} | " + " | ".join(numbers) + " |")
    for title, together in (
        ("root of squares", lambda all_: sum(n * n for n in all_) ** 0.5),
        ("all at their worst", sum),
    ):
        numbers = []
        for which in (0, 1):
            numbers += [f"{together([cells[at][which] for cells in given['budget'].values()]):.2f}" for at in (0, 1, 2)]
        rows.append(f"| **{title}** | " + " | ".join(f"**{number}**" for number in numbers) + " |")
    return rows


def page(result):
    """error_budget.md of a result."""
    lines = [
        "# Error budget and calibration study",
        "",
        "Written by `python hardware/study/calibration_study.py --write`; do not edit. Simulated, not measured:",
        f"{result['kits']} random kits of each variant. The limits are those of `parts.csv` and of the sources named;",
        "each line is the largest of its source alone. K = kelvin off, at 20, 60 and 100 °C.",
        "",
        "## Share of kits with every probe within ±0.5 °C over 20 to 100 °C",
        "",
        "| variant | as built | calibrated | of probes, calibrated | 95 % of probes within, K "
        "| boiling by altitude alone: kits, probes |",
        "|---|---|---|---|---|---|",
    ]
    for name, given in result["variants"].items():
        before, after, altitude = given["shares"].values()
        lines.append(
            f"| {name} | {before['kits']:.1%} | {after['kits']:.1%} | {after['probes']:.1%} "
            f"| {after['p95_kelvin']:.2f} | {altitude['kits']:.1%}, {altitude['probes']:.1%} |"
        )
    lines += [
        "",
        "So: two known resistors, ice, and water boiling at a *station pressure*; altitude alone does not do.",
        "",
    ]
    for name, given in result["variants"].items():
        lines += [
            f"## {name}",
            "",
            "| source | as built 20 °C | 60 °C | 100 °C | calibrated 20 °C | 60 °C | 100 °C |",
            "|---|---|---|---|---|---|---|",
            *_budget_rows(given),
            "",
        ]
    return "\n".join([*lines, *_wrong_lines(result)]) + "\n"


def _wrong_lines(result):
    near = [row for row in result["wrong_curves"] if row[4] < 1]
    least = max(row[2] for row in near)
    sure = len(result["wrong_curves"]) - len(near)
    return [
        "## Probes on a wrong curve",
        "",
        f"{len(result['wrong_curves'])} pairs (chosen, real) of the library, {result['pairs']} probes each, 1 % of R25",
        f"and beta. {sure} pairs are told in 100 % of cases, among them all that would read more than {least:.1f} K",
        f"wrong. Called wrong though right: {result['right_called_wrong']:.1%}. The rest lie so near that a tolerance",
        "of 1 % looks the same; what calibration leaves of them is in the last column.",
        "",
        "| chosen | real | off before, K | told | worst left where not told, K |",
        "|---|---|---|---|---|",
        *[f"| {c} | {r} | {before:.2f} | {told:.1%} | {left:.2f} |" for c, r, before, left, told in near],
    ]


def main():
    """Run, print the page, and write what was asked for."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--quick", action="store_true", help="60 kits instead of 1000")
    given.add_argument("--json", metavar="FILE")
    given.add_argument("--write", action="store_true", help="write hardware/error_budget.md and study/result.json")
    options = given.parse_args()
    result = study(*QUICK if options.quick else FULL)
    print(page(result))
    if options.json:
        Path(options.json).write_text(json.dumps(result), "utf-8")
    if options.write:
        PAGE.write_text(page(result), "utf-8")
        RESULT.write_text(json.dumps(result, indent=1) + "\n", "utf-8")


def study(count, draws, pairs):
    """All of it: `count` kits, `draws` for each line of a budget, `pairs` probes for each pair of curves."""
    return {
        "kits": count,
        "pairs": pairs,
        "variants": {v.name: {"shares": shares(v, count), "budget": budget(v, draws)} for v in kits.VARIANTS},
        "wrong_curves": wrong_curves(pairs),
        "right_called_wrong": right_curves(pairs),
    }


if __name__ == "__main__":
    main()
