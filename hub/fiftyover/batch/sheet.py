"""The batch sheet: everything worked out of a recipe before a knife is lifted. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fiftyover.batch import lines as casing_lines
from fiftyover.batch import timeline
from fiftyover.batch.finish import Band, band_for
from fiftyover.batch.lines import Fill, Line
from fiftyover.batch.mix import Mix, make_mix
from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.recipe import POULTRY, Recipe
from fiftyover.batch.schedule import Schedule
from fiftyover.batch.stages import STAGES
from fiftyover.batch.timeline import CookSpan, Step
from fiftyover.batch.written import SLIM_BELOW_MM, SLIM_CAP_DEGC, STOUT_CAP_DEGC
from fiftyover.errors import PlanError
from fiftyover.process.cooling import OPTIONS
from fiftyover_kit.contract.units import degC_from_degF

ICE_PER_KG = 1.0  # of chubs; FROM MEMORY: melting 1 kg takes 334 kJ, 1 kg of batter from 68 to 4 °C gives about 210
TIE_M = 0.5  # string for a chub
LEGS_DEGF = ((130.0, 80.0), (80.0, 40.0))

CHECKLIST = (
    (
        "Before",
        "Meat, fat, bowl and grinder parts at or below 40 °F; work in small lots and back into the refrigerator.",
    ),
    ("Before", "Casings in lukewarm water about 20 minutes (common practice), rinsed inside."),
    ("Before", "Cure and additives weighed twice, by weight, never by spoon."),
    ("Mix", "Cure dissolved in the ice-cold water, then over all the meat; salt and seasoning with it."),
    (
        "Mix",
        "Mixed until it is sticky and a handful hangs from the open hand; mix below 50 °F (from memory), stop and "
        "chill if warmer.",
    ),
    ("Mix", "What breaks goes in last, folded in by hand."),
    ("Mix", "A patty fried through and tasted before anything is stuffed."),
    ("Stuff", "Packed into the stuffer without air; casings firm, air pricked out, ends tied, a loop on top."),
    ("Stuff", "Note the core of the warmest chub and the time: the warm-up clock counts from here."),
)


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the shopping list: what, how much as a number and its unit ("g", "m", "pieces"), and a remark."""

    what: str
    number: float
    unit: str
    remark: str = ""
    size_mm: tuple[float, float] | None = None  # of a casing: stuffed diameter, length


@dataclass(frozen=True, slots=True)
class Sheet:
    """One batch, worked out. ``steps`` is empty while no cook duration is known; notices are sentences."""

    recipe: Recipe
    mix: Mix
    lines: tuple[Line, ...]
    fills: tuple[Fill, ...]
    chubs: tuple[Chub, ...]
    band: Band
    limits_degC: tuple[tuple[str, float], ...]
    chill_s: float
    steps: tuple[Step, ...]
    shopping: tuple[Need, ...]
    notices: tuple[str, ...]
    schedule: Schedule | None = None

    @property
    def limit_degC(self) -> float:
        """The highest of the lines' limits; each line's own holds while it hangs [degC]."""
        return max(limit for _, limit in self.limits_degC)


def make_sheet(recipe: Recipe, schedule: Schedule | None = None) -> Sheet:
    """Work a recipe out, without a timeline; PlanError or ProcessError with the wrong figure and the nearest right.

    ``schedule`` is the one that the recipe names, read by the caller; None follows the meat all the way.
    """
    mix = make_mix(recipe)
    lines = casing_lines.make_lines(recipe, mix.batch_g)
    chubs = casing_lines.hang(lines, recipe.rig)
    band = band_for(mix.kinds, recipe.cook)
    limits = tuple((line.name, _limit_degC(recipe, line)) for line in lines)
    chill_s = max(_chill_s(line, recipe, band) for line in lines)
    notices = [notice.text for notice in mix.notices]
    notices += [band.warning] if band.warning else []
    notices += _line_notices(lines, recipe)
    sheet = Sheet(
        recipe, mix, lines, casing_lines.fills(mix.batch_g, recipe.rig.stuffer_g), chubs, band, limits, chill_s, (),
        _shopping(recipe, mix, lines), tuple(notices), schedule,
    )  # fmt: skip
    plan_of(sheet, "sheet")  # refuses what cannot be cooked
    return sheet


def with_times(
    sheet: Sheet,
    cooks: Sequence[CookSpan],
    start_s: float | None,
    done_by_s: float | None,
    now_s: float,
    told: Sequence[str] = (),
) -> Sheet:
    """Add the timeline: from a start, or back from "done by"; wall seconds as in `timeline`. PlanError: cannot be.

    ``told`` are sentences about the cook's duration, put among the notices.
    """
    times = sheet.recipe.times
    if {one.line for one in cooks} != {line.name for line in sheet.lines}:
        raise PlanError("The cook's duration must be known for each casing line.")
    if done_by_s is not None:
        steps = timeline.backwards(done_by_s, now_s, times, cooks, sheet.chill_s)
    else:
        steps = timeline.forwards(now_s if start_s is None else start_s, times, cooks, sheet.chill_s)
    return replace(sheet, steps=steps, notices=(*sheet.notices, *told, *timeline.advice(steps, times)))


def plan_of(sheet: Sheet, batch_id: str) -> Plan:
    """The plan that the cook runs by."""
    recipe = sheet.recipe
    caps = tuple((name, cap) for name, cap in sheet.limits_degC if cap < sheet.limit_degC)
    return Plan(
        batch_id=batch_id,
        name=recipe.name,
        chubs=sheet.chubs,
        cap_degC=sheet.limit_degC,
        lift_kelvin=recipe.cook.lift_kelvin,
        floor_degC=recipe.cook.floor_degC,
        band_degC=(sheet.band.foot_degC, sheet.band.top_degC),
        response_s=recipe.rig.response_s,
        relay=recipe.rig.relay,
        element_watts=recipe.rig.watts,
        line_caps=caps,
        standby_degC=recipe.cook.standby_degC,
        stages=STAGES if sheet.schedule is None else sheet.schedule.stages,
        wood=recipe.cook.wood or ("none" if sheet.schedule is None else sheet.schedule.wood),
        autotune=recipe.cook.autotune,
        lead=recipe.cook.lead,
    )


def _limit_degC(recipe: Recipe, line: Line) -> float:
    if recipe.cook.limit_degC is not None:
        return recipe.cook.limit_degC
    return SLIM_CAP_DEGC if line.diameter_mm < SLIM_BELOW_MM else STOUT_CAP_DEGC


def _chill_s(line: Line, recipe: Recipe, band: Band) -> float:
    return timeline.cooling_s(line.diameter_mm, recipe.times.chill, band.top_degC, timeline.COLD_DEGC)


def _line_notices(lines: Sequence[Line], recipe: Recipe) -> list[str]:
    told = []
    for line in lines:
        for leg, (from_degF, to_degF) in enumerate(LEGS_DEGF):
            most_s = OPTIONS["1.5h+5h"].limits[leg].max_s
            needs_s = timeline.cooling_s(
                line.diameter_mm, recipe.times.chill, degC_from_degF(from_degF), degC_from_degF(to_degF)
            )
            if needs_s > most_s:
                told.append(
                    f"Line {line.name!r} in the {recipe.times.chill} is reckoned to take {timeline.hours(needs_s)} "
                    f"from {from_degF:.0f} to {to_degF:.0f} °F, where {timeline.hours(most_s)} are allowed: use ice "
                    "(reckoned, with films from memory)."
                )
                break
    if recipe.times.bloom_s > 7200.0:
        told.append(
            f"A bloom of {timeline.hours(recipe.times.bloom_s)} is long: 1 to 2 h is common practice, inside the "
            "cooling clock."
        )
    probes = recipe.rig.probes
    chubs = sum(line.count for line in lines)
    if probes < chubs:
        told.append(f"{chubs - probes} of {chubs} chubs have no probe: the tool asks for them to be checked by hand.")
    if probes == 0:
        told.append("Without a core probe the chamber cannot follow the meat: every core is read by hand.")
    return told


def _shopping(recipe: Recipe, mix: Mix, lines: Sequence[Line]) -> tuple[Need, ...]:
    needs = [
        Need(meat.name, meat.weight_g, "g", f"{meat.kind}, {meat.fat:.0%} fat") for meat in mix.meats if meat.weight_g
    ]
    needs += [Need(part.name, part.weight_g, "g") for part in mix.parts if not part.name.startswith("water")]
    for line in lines:
        remark = f"{line.spare} of them spare (common practice: one in ten)"
        size = (line.diameter_mm, line.length_mm)
        needs.append(Need(f"casings, {line.name}", line.count + line.spare, "pieces", remark, size))
    count = sum(line.count for line in lines)
    needs.append(Need("string", math.ceil(count * TIE_M), "m"))
    needs.append(Need("wood for smoke", 1.0, "bag", "chips, dust or pellets, as the smoker takes it"))
    if recipe.times.chill == "ice":
        needs.append(Need("ice", mix.batch_g * ICE_PER_KG, "g", "at least as heavy as the chubs (from memory)"))
    return tuple(needs)


def made_of(sheet: Sheet) -> dict[str, Any]:
    """What the record keeps of the mix, as data of a `day.RECIPE` event: kinds, grams, ppm of the meat, times in s."""
    mix, times = sheet.mix, sheet.recipe.times
    return {
        "kinds": list(mix.kinds),
        "poultry": any(kind in POULTRY for kind in mix.kinds),
        "fat": mix.fat,
        "meat_g": mix.meat_g,
        "batch_g": mix.batch_g,
        "nitrite_ppm": mix.nitrite_ppm,
        "erythorbate_ppm": mix.erythorbate_ppm,
        "hold_s": times.hold_s,
        "chill": times.chill,
        "bloom_s": times.bloom_s,
    }
