"""From the bowl into casings: how many chubs of each line, what each weighs, where it hangs, who gets a probe. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fiftyover.batch.plan import Chub
from fiftyover.batch.recipe import Casing, Recipe, Rig
from fiftyover.errors import PlanError
from fiftyover.process import casing

SPARE_SHARE = 0.1  # a casing in ten bursts or tears: common practice
CHUBS_MAX = 99
LEAST_G = 50.0


@dataclass(frozen=True, slots=True)
class Line:
    """One casing line: so many chubs of so many grams; length [mm] as cut, or as it comes out of the weight."""

    name: str
    diameter_mm: float
    length_mm: float
    count: int
    each_g: float
    fill_fraction: float
    spare: int


@dataclass(frozen=True, slots=True)
class Fill:
    """One load of the stuffer [g]."""

    number: int
    weight_g: float


def make_lines(recipe: Recipe, batch_g: float) -> tuple[Line, ...]:
    """Share the batch out over the casing lines; lines without a count take what the others leave.

    PlanError or ProcessError: a casing that cannot hold its chub, or casings that cannot hold the batch.
    """
    names = [one.line for one in recipe.casing]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise PlanError(f"Casing line {twice!r} stands in the recipe twice: give each its own name.")
    fixed = [one for one in recipe.casing if one.count is not None]
    free = [one for one in recipe.casing if one.count is None]
    taken_g = sum((one.count or 0) * _each_g(one) for one in fixed)
    rest_g = batch_g - taken_g
    if not free:
        return tuple(_counted(recipe, batch_g, taken_g))
    if rest_g < LEAST_G * len(free):
        raise PlanError(
            f"The counted casings take {taken_g / 1000:.2f} kg of the {batch_g / 1000:.2f} kg: nothing is left for "
            f"line {free[0].line!r}; lower a count."
        )
    lines = []
    for one in recipe.casing:
        if one.count is not None:
            lines.append(_line(one, one.count, _each_g(one)))
            continue
        count = casing_count(rest_g / len(free), _each_g(one))
        lines.append(_line(one, count, rest_g / len(free) / count))
    _few_enough(sum(line.count for line in lines))
    return tuple(lines)


def casing_count(weight_g: float, each_g: float) -> int:
    """Fewest chubs of at most ``each_g`` [g] that take ``weight_g`` [g]."""
    count = int(weight_g / each_g)
    return max(1, count if count * each_g >= weight_g * (1.0 - 1e-9) else count + 1)


def _counted(recipe: Recipe, batch_g: float, usual_g: float) -> list[Line]:
    """Every line has its count: all chubs are filled in the same proportion, if the casings can hold it."""
    full_g = sum((one.count or 0) * _full_g(one) for one in recipe.casing)
    if batch_g > full_g * (1.0 + 1e-9):
        first = recipe.casing[0]
        others_g = usual_g - (first.count or 0) * _each_g(first)
        needed = casing_count(batch_g - others_g, _each_g(first))
        raise PlanError(
            f"The casings hold {full_g / 1000:.2f} kg at most, the batch weighs {batch_g / 1000:.2f} kg: take "
            f"{needed} of line {first.line!r} or a smaller batch."
        )
    return [_line(one, one.count or 1, _each_g(one) * batch_g / usual_g) for one in recipe.casing]


def _full_g(one: Casing) -> float:
    return casing.capacity_g(one.diameter_mm, one.length_mm, 1.0) if one.length_mm is not None else _each_g(one) * 1.1


def _each_g(one: Casing) -> float:
    """What one chub of a line usually takes [g]."""
    if one.weight_g is not None:
        if one.length_mm is not None:
            casing.fill_fraction(one.weight_g, one.diameter_mm, one.length_mm)
        return one.weight_g
    if one.length_mm is None:
        raise PlanError(f"Casing line {one.line!r} has neither a length nor a weight for each chub: give one of them.")
    return casing.capacity_g(one.diameter_mm, one.length_mm, casing.FILL_FRACTION if one.fill is None else one.fill)


def _line(one: Casing, count: int, each_g: float) -> Line:
    length_mm = one.length_mm
    if length_mm is None:
        length_mm = each_g / casing.kg_per_m(one.diameter_mm) / casing.FILL_FRACTION
    fill = casing.fill_fraction(each_g, one.diameter_mm, length_mm)
    return Line(one.line, one.diameter_mm, length_mm, count, each_g, fill, max(1, round(count * SPARE_SHARE)))


def _few_enough(count: int) -> None:
    if count > CHUBS_MAX:
        raise PlanError(f"The batch makes {count} chubs: up to {CHUBS_MAX} can be planned; take a longer casing.")


def fills(batch_g: float, stuffer_g: float | None) -> tuple[Fill, ...]:
    """Equal loads of a stuffer that holds ``stuffer_g`` [g] for a batch [g]; one if its size is not known."""
    if stuffer_g is None:
        return (Fill(1, batch_g),)
    count = casing_count(batch_g, stuffer_g)
    return tuple(Fill(number + 1, batch_g / count) for number in range(count))


def hang(lines: Sequence[Line], rig: Rig) -> tuple[Chub, ...]:
    """Number the chubs, give each a place, and put the probes into the chubs that tell the most.

    The stoutest line comes first. Every line gets a probe while there are any, the stoutest first; further ones go to
    the larger lines, spread over their places. PlanError: more chubs than hooks.
    """
    ordered = sorted(lines, key=lambda line: -line.diameter_mm)
    count = sum(line.count for line in ordered)
    places = _places(rig, count)
    probed = _probed(ordered, rig.probes)
    chubs: list[Chub] = []
    for line in ordered:
        for place_in_line in range(line.count):
            number = len(chubs) + 1
            probe = probed.get((line.name, place_in_line))
            chubs.append(Chub(number, line.name, line.diameter_mm, places[number - 1], probe))
    return tuple(chubs)


def _places(rig: Rig, count: int) -> list[str]:
    names = list(dict.fromkeys(rig.places))
    if len(names) < len(rig.places):
        raise PlanError("A place stands twice under [rig] places: give each hook its own name.")
    hooks = rig.hooks if rig.hooks is not None else len(names) if names else count
    if count > hooks:
        raise PlanError(
            f"{count} chubs do not hang on {hooks} hooks: {hooks} at most; take longer casings or two loads."
        )
    return names[:count] + [f"hook {number + 1}" for number in range(len(names), count)]


def _probed(lines: Sequence[Line], probes: int) -> dict[tuple[str, int], int]:
    """Which chub (line, index in it) gets which channel."""
    share = {line.name: 0 for line in lines}
    for _ in range(min(probes, sum(line.count for line in lines))):
        open_lines = [line for line in lines if share[line.name] < line.count]
        neediest = max(open_lines, key=lambda line: (share[line.name] == 0, line.count / (share[line.name] + 1)))
        share[neediest.name] += 1
    channel, found = 1, {}
    for line in lines:
        for index in _spread(line.count, share[line.name]):
            found[line.name, index] = channel
            channel += 1
    return found


def _spread(count: int, chosen: int) -> list[int]:
    """Indices of ``chosen`` of ``count`` in a row, evenly apart."""
    return [int((place + 0.5) * count / chosen) for place in range(chosen)]
