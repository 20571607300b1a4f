"""What goes into the bowl: meats blended, cure by weight of the meat, salt with the cure's counted, the rest. Pure.

Every figure of cure and additives is of the green weight of meat and fat, never of the whole batch.
"""

from __future__ import annotations

from dataclasses import dataclass

from fiftyover.batch.recipe import GAME, POULTRY, Meat, Recipe
from fiftyover.errors import PlanError
from fiftyover.process import additives, blend, cure, salt
from fiftyover.process.cure import Notice
from fiftyover_kit.contract.units import lb_from_kg

USUAL_PPM = 156.0  # the handbook's name for 1/4 oz per 100 lb (156.25)
SALT_USUAL = (0.012, 0.03)  # of the meat, FROM MEMORY; outside it a notice, no refusal
SALT_MOST = 0.1
MEAT_G = (100.0, 500_000.0)
FAT_USUAL = (0.12, 0.35)  # of the meat, FROM MEMORY


@dataclass(frozen=True, slots=True)
class Part:
    """One thing to weigh: its name, grams, what it is of the meat (fraction), and when it goes in."""

    name: str
    weight_g: float
    of_meat: float
    when: str = "with the meat"


@dataclass(frozen=True, slots=True)
class MeatPart:
    """One meat of the blend: its name, kind, fat, grams, and the grams first planned (None: found by the blend)."""

    name: str
    kind: str
    fat: float
    weight_g: float
    planned_g: float | None


@dataclass(frozen=True, slots=True)
class Mix:
    """The whole batch by weight. ``nitrite_ppm`` and ``erythorbate_ppm`` are of the meat."""

    meats: tuple[MeatPart, ...]
    meat_g: float
    fat: float
    cure_g: float
    cure_unrounded_g: float
    nitrite_fraction: float
    nitrite_ppm: float
    erythorbate_ppm: float
    salt_in_all_g: float
    parts: tuple[Part, ...]
    batch_g: float
    notices: tuple[Notice, ...]

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of meat, each once, in the recipe's order."""
        return tuple(dict.fromkeys(meat.kind for meat in self.meats))


def make_mix(recipe: Recipe) -> Mix:
    """Work out every weight of a recipe; PlanError or ProcessError with the wrong figure and the nearest right one."""
    meats = _blend(recipe)
    meat_g = sum(meat.weight_g for meat in meats)
    if not MEAT_G[0] <= meat_g <= MEAT_G[1]:
        raise PlanError(
            f"The meat weighs {meat_g / 1000:g} kg ({lb_from_kg(meat_g / 1000):.2f} lb): from {MEAT_G[0] / 1000:g} to "
            f"{MEAT_G[1] / 1000:g} kg ({lb_from_kg(MEAT_G[0] / 1000):.2g} to {lb_from_kg(MEAT_G[1] / 1000):.0f} lb) "
            "can be planned."
        )
    fat = blend.fat_of([m.weight_g for m in meats], [m.fat for m in meats])
    dose = _dose(recipe, meat_g)
    erythorbate_ppm = _erythorbate(recipe, meat_g)
    parts = _parts(recipe, meat_g, dose, erythorbate_ppm)
    batch_g = meat_g + sum(part.weight_g for part in parts)
    salt_in_all_g = dose.salt_g + sum(part.weight_g for part in parts if part.name == "salt")
    notices = (*dose.notices, *_notices(recipe, fat, salt_in_all_g / meat_g, erythorbate_ppm))
    return Mix(
        meats, meat_g, fat, dose.cure_g, dose.unrounded_g, recipe.cure.nitrite, dose.nitrite_ppm, erythorbate_ppm,
        salt_in_all_g, parts, batch_g, notices,
    )  # fmt: skip


def _blend(recipe: Recipe) -> tuple[MeatPart, ...]:
    """Weights of the meats: as given, to a target, or one weight found from the others."""
    meats, target = recipe.meat, recipe.target
    known = [meat.weight_g for meat in meats if meat.weight_g is not None]
    fats = [meat.fat for meat in meats]
    if len(known) == len(meats) and target.fat is None:
        return _as_given(meats, known, target.weight_g)
    if target.fat is None:
        missing = next(meat.name for meat in meats if meat.weight_g is None)
        raise PlanError(f"The weight of {missing} is missing: give it, or a fat under [target] from which it follows.")
    if target.weight_g is None and known and len(known) == len(meats) - 1:
        weights = _one_found(meats, target.fat)
    elif len(known) == len(meats):
        weights = list(blend.many(fats, target.fat, known, target.weight_g).weights_g)
    elif not known and target.weight_g is not None:
        weights = list(blend.many(fats, target.fat, None, target.weight_g).weights_g)
    else:
        raise PlanError(
            "The blend cannot be found: give the weight of every meat, of all but one, or of none and the weight in "
            "all under [target]."
        )
    return tuple(
        MeatPart(meat.name, meat.kind, meat.fat, weight, meat.weight_g)
        for meat, weight in zip(meats, weights, strict=True)
    )


def _as_given(meats: list[Meat], weights: list[float], wanted_g: float | None) -> tuple[MeatPart, ...]:
    scale = 1.0 if wanted_g is None else wanted_g / sum(weights)
    return tuple(
        MeatPart(meat.name, meat.kind, meat.fat, weight * scale, weight)
        for meat, weight in zip(meats, weights, strict=True)
    )


def _one_found(meats: list[Meat], target: float) -> list[float]:
    given = [(meat.weight_g, meat.fat) for meat in meats if meat.weight_g is not None]
    missing = next(meat for meat in meats if meat.weight_g is None)
    weights, fats = [g for g, _ in given], [fat for _, fat in given]
    mean = blend.fat_of(weights, fats)
    found = blend.to_add_g(sum(weights), mean, missing.fat, target)
    if found <= 0.0:
        raise PlanError(
            f"No {missing.name} is needed: the other meats have {mean:.1%} of fat by themselves; leave it out or write "
            "another fat under [target]."
        )
    return [meat.weight_g if meat.weight_g is not None else found for meat in meats]


def _dose(recipe: Recipe, meat_g: float) -> cure.Dose:
    given = recipe.cure
    if given.weight_g is not None and given.wanted_ppm is not None:
        raise PlanError("Both a weight and a wanted ppm stand under [cure]: leave one of them out.")
    wanted = given.wanted_ppm if given.wanted_ppm is not None else USUAL_PPM
    if given.weight_g is not None:
        wanted = cure.nitrite_ppm(given.weight_g, given.nitrite, meat_g)
        most_g = cure.cure_g(additives.NITRITE_CEILING_PPM, given.nitrite, meat_g)
        if given.weight_g > most_g * (1.0 + 1e-9):
            raise PlanError(
                f"{given.weight_g:.2f} g of cure in {meat_g / 1000:.3f} kg of meat is {wanted:.0f} ppm of nitrite; the "
                f"ceiling is {additives.NITRITE_CEILING_PPM:g} ppm (9 CFR 424.21(c)): {most_g:.2f} g at most."
            )
    return cure.dose(wanted, given.nitrite, meat_g, given.scale_step_g)


def _erythorbate(recipe: Recipe, meat_g: float) -> float:
    given = recipe.cure.erythorbate
    if given is None:
        return 0.0
    return additives.checked_ppm("erythorbate", additives.additive_ppm(given.g(meat_g), meat_g))


def _parts(recipe: Recipe, meat_g: float, dose: cure.Dose, erythorbate_ppm: float) -> tuple[Part, ...]:
    def part(name: str, weight_g: float, when: str = "with the meat") -> Part:
        if weight_g > meat_g:
            raise PlanError(f"{weight_g:.0f} g of {name} in {meat_g:.0f} g of meat: that is more than the meat itself.")
        return Part(name, weight_g, weight_g / meat_g, when)

    liquid = "dissolved in the water" if recipe.water is not None else "spread through the salt"
    wanted_salt = recipe.salt.in_all.g(meat_g) / meat_g
    if wanted_salt > SALT_MOST:
        raise PlanError(
            f"Salt in all of {wanted_salt:.1%} of the meat cannot be eaten: {SALT_MOST:.0%} at most; "
            f"{SALT_USUAL[0]:.1%} to {SALT_USUAL[1]:.0%} is usual (from memory)."
        )
    added = salt.salt_to_add_g(wanted_salt, meat_g, dose.cure_g, recipe.cure.nitrite)
    parts = [part("cure No. 1", dose.cure_g, liquid)]
    if erythorbate_ppm:
        parts.append(
            part("sodium erythorbate", erythorbate_ppm * 1e-6 * meat_g, "dissolved in the water, after the cure")
        )
    parts.append(part("salt", added))
    if recipe.water is not None:
        parts.append(part("water, ice-cold", recipe.water.g(meat_g)))
    parts += [part(one.name, one.amount.g(meat_g)) for one in recipe.seasoning]
    parts += [
        part(one.name, one.amount.g(meat_g), "last, folded in by hand" if one.breaks else "last")
        for one in recipe.extra
    ]
    if recipe.acid is not None:
        name, weight_g = recipe.acid.name, recipe.acid.amount.g(meat_g)
        if name == "glucono delta lactone":
            additives.checked_ppm(name, additives.additive_ppm(weight_g, meat_g))
        parts.append(part(name, weight_g, "last of all, mixed for a minute only"))
    return tuple(parts)


def _notices(recipe: Recipe, fat: float, salt_share: float, erythorbate_ppm: float) -> list[Notice]:
    found = []
    if not SALT_USUAL[0] <= salt_share <= SALT_USUAL[1]:
        text = f"Salt in all is {salt_share:.1%} of the meat; 1.2 to 3 % is usual (from memory)."
        found.append(Notice("salt", text))
    if not FAT_USUAL[0] <= fat <= FAT_USUAL[1]:
        found.append(Notice("fat", f"The blend has {fat:.0%} of fat; 12 to 35 % is usual (from memory)."))
    if recipe.water is None:
        found.append(Notice("no-water", "Without water the cure is hard to spread evenly: mix it into the salt first."))
    if erythorbate_ppm and recipe.acid is None:
        text = "Dissolve erythorbate apart and add it after the cure: together in a little water they react."
        found.append(Notice("erythorbate", text + " (From memory.)"))
    kinds = [meat.kind for meat in recipe.meat]
    if any(kind in GAME for kind in kinds):
        text = "Game may carry parasites that curing, smoking and freezing do not kill (CDC): cook it through."
        found.append(Notice("game", text))
    if any(kind in POULTRY for kind in kinds):
        text = "With any poultry the poultry tables apply, which this tool does not judge: see the band."
        found.append(Notice("poultry", text))
    return found
