"""`fiftyover plan`: the batch sheet of a recipe, with its timeline, on the terminal, as a page or as data."""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path

from ..batch import sheet as batch_sheet
from ..batch.recipe import Recipe, recipe_from_data
from ..batch.sheet import Sheet
from ..batch.timeline import CookSpan
from ..errors import PlanError
from ..reports import paper, sheet_view
from ..reports.batch_file import batch_toml
from ..reports.figures import UNITS
from . import cook_time, schedules

DENSE_CHUBS = 14  # more of them, and the page is set smaller so that it stays one
RECIPES = resources.files("fiftyover.reports") / "recipes"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("recipe", nargs="?", metavar="RECIPE.TOML", help="a recipe file, or the name of a shipped one")
    add("--recipes", action="store_true", help="name the shipped recipes")
    add("--schedules", action="store_true", help="name the shipped schedules and where they come from")
    add("--write", type=Path, metavar="FILE", help="write the shipped recipe to a file, to be changed")
    when = parser.add_mutually_exclusive_group()
    when.add_argument("--start", metavar="WHEN", help='begin then: "2026-11-27 18:00" (now)')
    when.add_argument("--done-by", metavar="WHEN", help="count back from when all is to be in the refrigerator")
    add("--cook-h", action="append", default=[], metavar="[LINE=]LOW-HIGH", help="hours to hang, instead of rehearsing")
    add("--record", type=Path, metavar="FILE", help="take the hours from this record's batches where it has some")
    add("--no-times", action="store_true", help="leave the timeline out, and the rehearsals for it")
    add("--units", choices=UNITS, help="instead of the recipe's own")
    add("--json", action="store_true", help="print one JSON object")
    add("--html", type=Path, metavar="FILE", help="write the sheet as a page that prints on one side")
    add("--batch", type=Path, metavar="FILE", help="write the plan for `fiftyover serve --batch`")


def run(args: argparse.Namespace) -> int:
    """Work the recipe out and hand out the sheet; 0, or HubError for what cannot be."""
    if args.recipes:
        sys.stdout.write("".join(f"{name}\n" for name in shipped()))
        return 0
    if args.schedules:
        sys.stdout.write(f"{schedules.listing()}\n")
        return 0
    if args.recipe is None:
        raise PlanError("Name a recipe file, or one of the shipped recipes (`fiftyover plan --recipes`).")
    if args.write is not None:
        _write(args.write, _text(args.recipe))
        return 0
    sheet, midnight = planned(args, datetime.now().replace(second=0, microsecond=0))
    if args.html is not None:
        _write(args.html, page(sheet, midnight))
    if args.batch is not None:
        _write(args.batch, batch_toml(sheet))
    if args.json:
        sys.stdout.write(json.dumps(sheet_view.sheet_data(sheet, midnight), allow_nan=False) + "\n")
    elif args.html is None and args.batch is None:
        blocks = sheet_view.blocks(sheet, midnight)
        sys.stdout.write(
            paper.text(sheet.recipe.name, blocks, sheet_view.notices(sheet), sheet_view.closing(sheet)) + "\n"
        )
    return 0


def planned(args: argparse.Namespace, now: datetime) -> tuple[Sheet, datetime | None]:
    """The sheet of the options, and the midnight that its timeline counts from (None: no timeline)."""
    recipe = read_recipe(args.recipe, args.units)
    sheet = schedules.sheet_of(recipe, Path(args.recipe).parent)
    if args.no_times:
        return sheet, None
    start, done_by = _moment("--start", args.start), _moment("--done-by", args.done_by)
    midnight = (start or now).replace(hour=0, minute=0, second=0, microsecond=0)
    cooks, told = (_given(sheet, args.cook_h), []) if args.cook_h else cook_time.known(sheet, args.record)
    sheet = batch_sheet.with_times(
        sheet,
        cooks,
        _wall_s(start, midnight),
        _wall_s(done_by, midnight),
        (now - midnight).total_seconds(),
        tuple(told),
    )
    return sheet, midnight


def page(sheet: Sheet, midnight: datetime | None) -> str:
    """The sheet as one HTML page."""
    return paper.page(
        "sheet.html",
        title=sheet.recipe.name,
        note=sheet.recipe.note,
        notices=sheet_view.notices(sheet),
        blocks=sheet_view.blocks(sheet, midnight),
        closing=sheet_view.closing(sheet),
        dense=len(sheet.chubs) > DENSE_CHUBS,
    )


def shipped() -> list[str]:
    """Names of the recipes that come with the program."""
    return sorted(path.name.removesuffix(".toml") for path in RECIPES.iterdir() if path.name.endswith(".toml"))


def read_recipe(name: str, units: str | None = None) -> Recipe:
    """Read a recipe file or a shipped recipe; PlanError, one sentence, if it cannot be read or used."""
    try:
        data = tomllib.loads(_text(name))
    except tomllib.TOMLDecodeError as fault:
        raise PlanError(f"{name} is not TOML ({fault}): mend that line.") from None
    return recipe_from_data({**data, **({"units": units} if units else {})}, name)


def _text(name: str) -> str:
    try:
        if name in shipped():
            return (RECIPES / f"{name}.toml").read_text("utf-8")
        return Path(name).read_text("utf-8")
    except FileNotFoundError:
        raise PlanError(f"There is no recipe {name}; shipped ones are {', '.join(shipped())}.") from None
    except (OSError, UnicodeDecodeError) as fault:
        why = getattr(fault, "strerror", None) or "it is not UTF-8 text"
        raise PlanError(f"The recipe {name} cannot be read ({why}): check the file.") from None


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise PlanError(f"{path} cannot be written ({fault.strerror}): name another file.") from None


def _moment(option: str, word: str | None) -> datetime | None:
    if word is None:
        return None
    try:
        found = datetime.fromisoformat(word)
    except ValueError:
        raise PlanError(f'{option} {word!r} is no date and time: write it as "2026-11-27 18:00".') from None
    return found.replace(tzinfo=None)


def _wall_s(moment: datetime | None, midnight: datetime) -> float | None:
    return None if moment is None else (moment - midnight) / timedelta(seconds=1)


def _given(sheet: Sheet, words: list[str]) -> list[CookSpan]:
    """Durations handed in: LOW-HIGH for all lines, or LINE=LOW-HIGH."""
    by_line = {}
    for word in words:
        line, equals, span = word.rpartition("=")
        low, dash, high = span.partition("-")
        try:
            low_h, high_h = float(low), float(high if dash else low)
        except ValueError:
            raise PlanError(f"--cook-h {word}: write LOW-HIGH in hours, for example 4-7.") from None
        if not 0.5 <= low_h <= high_h <= 48.0:
            raise PlanError(f"--cook-h {word}: give hours from 0.5 to 48, the shorter first.")
        if equals and line not in {one.name for one in sheet.lines}:
            raise PlanError(f"--cook-h {word}: there is no line {line!r} in the recipe.")
        for one in sheet.lines:
            if not equals or one.name == line:
                mean_s = (low_h + high_h) * 1800.0
                by_line[one.name] = CookSpan(one.name, low_h * 3600.0, mean_s, high_h * 3600.0, "as given")
    return [by_line[one.name] for one in sheet.lines if one.name in by_line]
