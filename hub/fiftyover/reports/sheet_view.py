"""The batch sheet in words: blocks of rows that the terminal, the page and the data file share."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from fiftyover.batch.sheet import CHECKLIST, Need, Sheet, plan_of
from fiftyover.batch.timeline import COLD_DEGC, Step, hours
from fiftyover.batch.written import data_of_plan
from fiftyover.process.additives import CEILINGS, NITRITE_CEILING_PPM
from fiftyover.reports.figures import Figures

CAUTION = (
    "Follow your local code, and ask a licensed processor or your extension office before you change a cure, a time or "
    "a temperature. Advice to consumers: 160 °F ground meat and game, 165 °F poultry. The smoker needs a hard-wired "
    "cut-out with manual reset; this tool is not a certified safety control."
)


LIFT_KELVIN, LIFT_SLACK = 27.78, 0.5  # 50 °F, by practice


class Block(NamedTuple):
    """A titled table: head (may be empty) and rows of words."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def blocks(sheet: Sheet, midnight: datetime | None) -> list[Block]:
    """The sheet's tables in order; ``midnight`` is second 0 of its timeline, None without one."""
    figures = Figures(sheet.recipe.units)
    found = [_meats(sheet, figures), _bowl(sheet, figures), _lines(sheet, figures), _cook(sheet, figures), _hang(sheet)]
    if sheet.steps and midnight is not None:
        found.append(_steps(sheet.steps, midnight))
    found.append(Block("Shopping", (), tuple(_need(need, figures) for need in sheet.shopping)))
    found.append(Block("Check", (), tuple((f"[ ] {when}", text) for when, text in CHECKLIST)))
    return [one._replace(rows=tuple(tuple(figures.words(cell) for cell in row) for row in one.rows)) for one in found]


def notices(sheet: Sheet) -> list[str]:
    """What to look at first, in the person's units."""
    return [Figures(sheet.recipe.units).words(text) for text in sheet.notices]


def closing(sheet: Sheet) -> str:
    """What stands under every sheet, in the person's units."""
    return Figures(sheet.recipe.units).words(CAUTION)


def _meats(sheet: Sheet, figures: Figures) -> Block:
    rows = []
    for meat in sheet.mix.meats:
        planned = (
            "" if meat.planned_g is None or abs(meat.planned_g - meat.weight_g) < 1.0 else figures.mass(meat.planned_g)
        )
        rows.append((meat.name, meat.kind, f"{meat.fat:.0%}", figures.mass(meat.weight_g), planned))
    rows.append(("meat and fat", "", f"{sheet.mix.fat:.1%}", figures.mass(sheet.mix.meat_g), ""))
    return Block("Meat", ("", "kind", "fat", "weigh", "planned"), tuple(rows))


def _bowl(sheet: Sheet, figures: Figures) -> Block:
    mix = sheet.mix
    rows = []
    for part in mix.parts:
        of_meat = f"{part.of_meat:.2%} of the meat"
        if part.name.startswith("cure"):
            of_meat = f"{mix.nitrite_ppm:.1f} ppm nitrite of the meat (ceiling {NITRITE_CEILING_PPM:g})"
        if part.name.startswith("sodium"):
            of_meat = f"{mix.erythorbate_ppm:.0f} ppm of the meat (ceiling {CEILINGS['erythorbate'].ppm:.0f})"
        rows.append((part.name, figures.mass(part.weight_g), of_meat, part.when))
    rows.append(
        ("all that is stuffed", figures.mass(mix.batch_g), f"salt in all {mix.salt_in_all_g / mix.meat_g:.2%}", "")
    )
    return Block("Into the bowl", ("", "weigh", "", "when"), tuple(rows))


def _lines(sheet: Sheet, figures: Figures) -> Block:
    rows = [
        (
            line.name,
            f"{line.count} chubs",
            f"{figures.length(line.diameter_mm)} x {figures.length(line.length_mm)}",
            f"{figures.mass(line.each_g)} each",
            f"{line.fill_fraction:.0%} full",
        )
        for line in sheet.lines
    ]
    fill = sheet.fills[0]
    rows.append(("stuffer", f"{len(sheet.fills)} fills", "", f"{figures.mass(fill.weight_g)} each", ""))
    return Block("Casings", (), tuple(rows))


def _hang(sheet: Sheet) -> Block:
    rows = [
        (str(c.number), c.line, c.place, "hand" if c.probe is None else f"probe {c.probe + 1}") for c in sheet.chubs
    ]
    return Block("Hang (probe 1 is the chamber's)", ("chub", "line", "place", "core by"), tuple(rows))


def _cook(sheet: Sheet, figures: Figures) -> Block:
    cook, band, fine = sheet.recipe.cook, sheet.band, 1 if figures.metric else 0
    rows = [
        (
            "pull at",
            f"{figures.temperature(band.foot_degC, fine)} to {figures.temperature(band.top_degC, fine)}",
            band.why,
        ),
        (
            "chamber",
            f"{figures.difference(cook.lift_kelvin)} over the coldest core",
            _practice(abs(cook.lift_kelvin - LIFT_KELVIN) < LIFT_SLACK),
        ),
    ]
    rows += [
        (
            "smoker limit",
            figures.temperature(cap),
            "; ".join(one for one in (line, _practice(cook.limit_degC is None)) if one),
        )
        for line, cap in sheet.limits_degC
    ]
    if cook.floor_degC is not None:
        rows.append(("never below", figures.temperature(cook.floor_degC), ""))
    rows.append(
        (
            "chill",
            f"{sheet.recipe.times.chill}, about {hours(sheet.chill_s)} to {figures.temperature(COLD_DEGC)}",
            "reckoned for the stoutest line; how ice and meat take up heat from memory",
        )
    )
    return Block("Cook and chill", (), tuple(rows))


def _practice(usual: bool) -> str:
    return "common practice" if usual else "as the recipe says"


def _steps(steps: tuple[Step, ...], midnight: datetime) -> Block:
    rows = []
    for step in steps:
        latest = "" if step.latest_s <= step.end_s else _when(step.latest_s, midnight)
        note = "; ".join(part for part in ("AT NIGHT" if step.at_night else "", step.note) if part)
        rows.append((_when(step.start_s, midnight), step.name, _when(step.end_s, midnight), latest, note))
    return Block("Times", ("begin", "", "end", "at the latest", ""), tuple(rows))


def _when(wall_s: float, midnight: datetime) -> str:
    return (midnight + timedelta(seconds=round(wall_s / 60.0) * 60)).strftime("%a %d %b %H:%M")


def _need(need: Need, figures: Figures) -> tuple[str, ...]:
    if need.unit == "g":
        return need.what, figures.mass(need.number), need.remark
    if need.size_mm is not None:
        size = " x ".join(figures.length(mm) for mm in need.size_mm)
        return need.what, f"{need.number:g} {need.unit}", f"{size} long; {need.remark}"
    return need.what, f"{need.number:g} {need.unit}", need.remark


def sheet_data(sheet: Sheet, midnight: datetime | None) -> dict[str, Any]:
    """The sheet as plain data, for `--json` and for the hub: g, °C, mm, s, fractions; times as local ISO text."""
    mix, times = sheet.mix, [] if midnight is None else list(sheet.steps)

    def iso(wall_s: float) -> str:
        return ((midnight or datetime.min) + timedelta(seconds=round(wall_s))).isoformat()

    return {
        "name": sheet.recipe.name,
        "units": sheet.recipe.units,
        "meats": [_meat_data(sheet, place) for place in range(len(mix.meats))],
        "meat_g": mix.meat_g,
        "fat": mix.fat,
        "cure": {
            "weight_g": mix.cure_g,
            "unrounded_g": mix.cure_unrounded_g,
            "nitrite_fraction": mix.nitrite_fraction,
            "nitrite_ppm": mix.nitrite_ppm,
            "erythorbate_ppm": mix.erythorbate_ppm,
        },
        "salt_in_all_g": mix.salt_in_all_g,
        "parts": [{"name": p.name, "weight_g": p.weight_g, "of_meat": p.of_meat, "when": p.when} for p in mix.parts],
        "batch_g": mix.batch_g,
        "lines": [_line_data(sheet, place) for place in range(len(sheet.lines))],
        "fills_g": [fill.weight_g for fill in sheet.fills],
        "band": sheet.band._asdict(),
        "chill_s": sheet.chill_s,
        "times": [
            {
                "step": step.name,
                "begin": iso(step.start_s),
                "end": iso(step.end_s),
                "latest_end": iso(step.latest_s),
                "at_night": step.at_night,
                "note": step.note,
            }
            for step in times
        ],
        "shopping": [{"what": n.what, "number": n.number, "unit": n.unit, "remark": n.remark} for n in sheet.shopping],
        "notices": list(sheet.notices),
        "caution": CAUTION,
        "plan": data_of_plan(plan_of(sheet, "sheet")),
    }


def _meat_data(sheet: Sheet, place: int) -> dict[str, Any]:
    """One meat as plain data."""
    meat = sheet.mix.meats[place]
    return {
        "name": meat.name,
        "kind": meat.kind,
        "fat": meat.fat,
        "weight_g": meat.weight_g,
        "planned_g": meat.planned_g,
    }


def _line_data(sheet: Sheet, place: int) -> dict[str, Any]:
    line = sheet.lines[place]
    return {
        "line": line.name,
        "diameter_mm": line.diameter_mm,
        "length_mm": line.length_mm,
        "count": line.count,
        "each_g": line.each_g,
        "fill_fraction": line.fill_fraction,
        "spare": line.spare,
        "limit_degC": dict(sheet.limits_degC)[line.name],
    }
