"""A recipe as a person writes it (TOML of ours), read into checked figures. Pure: text and files are others' matter.

Every quantity is a text with its unit: weight = "10 lb", fat = "22 %". A key that is not known is refused with the
nearest one that is.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, WithJsonSchema

from fiftyover.batch.quantity import (
    Amount,
    amount,
    difference_kelvin,
    length_mm,
    mass_g,
    ppm,
    share,
    span_s,
    temperature_degC,
)
from fiftyover.errors import PlanError
from fiftyover.process.cure import MIX_FRACTION


def _written(what: str, *examples: str) -> WithJsonSchema:
    """In a JSON Schema a quantity is what a person writes, not the figure that is read out of it."""
    return WithJsonSchema({"type": "string", "description": what, "examples": list(examples)})


Mass = Annotated[float, BeforeValidator(mass_g), _written("a weight with its unit", "10 lb", "2 lb 4 oz", "4.5 kg")]
Length = Annotated[float, BeforeValidator(length_mm), _written("a length with its unit", "45 mm", "12 in")]
Span = Annotated[float, BeforeValidator(span_s), _written("a time with its unit", "14 h", "90 min")]
Share = Annotated[float, BeforeValidator(share), _written("a percentage", "22 %")]
Ppm = Annotated[float, BeforeValidator(ppm), _written("parts per million", "156 ppm")]
Temperature = Annotated[float, BeforeValidator(temperature_degC), _written("a temperature", "152 F", "66.7 C")]
Difference = Annotated[
    float, BeforeValidator(difference_kelvin), _written("a difference of temperature", "50 F", "28 K")
]
HowMuch = Annotated[Amount, BeforeValidator(amount), _written("a weight, % or ppm of the meat", "1.8 %", "30 g")]
Text = Annotated[str, Field(min_length=1, max_length=80)]
Kind = Literal[
    "pork", "beef", "veal", "lamb", "mutton", "goat", "rabbit", "game", "chicken", "turkey", "duck", "goose"
]  # fmt: skip
GAME = ("game", "rabbit")
POULTRY = ("chicken", "turkey", "duck", "goose")


def _lead(value: object) -> object:
    """A chub's number may be typed as text."""
    return int(value) if isinstance(value, str) and value.strip().isdecimal() else value


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)


class Meat(_Table):
    """[[meat]]: one meat, its kind, fat, and weight (left out where the blend is to find it)."""

    name: Text
    kind: Kind
    fat: Share
    weight_g: Mass | None = Field(default=None, alias="weight")


class Wanted(_Table):
    """[target]: what the meats should come to."""

    fat: Share | None = None
    weight_g: Mass | None = Field(default=None, alias="weight")


class Cure(_Table):
    """[cure]: the mix by its label, and how much, as a weight or by the nitrite wanted."""

    number: int = Field(default=1, ge=0, le=9)
    nitrite: Share = MIX_FRACTION
    nitrate: Share = 0.0
    weight_g: Mass | None = Field(default=None, alias="weight")
    wanted_ppm: Ppm | None = Field(default=None, alias="wanted")
    scale_step_g: Mass = Field(default=0.1, alias="scale_step")
    erythorbate: HowMuch | None = None


class Salt(_Table):
    """[salt]: salt in all, the cure's counted."""

    in_all: HowMuch


class Ingredient(_Table):
    """[[seasoning]] and [[extra]]: what else goes in; `breaks` goes in last, by hand."""

    name: Text
    amount: HowMuch
    breaks: bool = False


class Acid(_Table):
    """[acid]: encapsulated acid, mixed last, stuffed and cooked the same day."""

    name: Literal["encapsulated citric acid", "encapsulated lactic acid", "glucono delta lactone"]
    amount: HowMuch


class Casing(_Table):
    """[[casing]]: one casing line; what a chub holds by its length, or said."""

    line: Text
    diameter_mm: Length = Field(alias="diameter")
    length_mm: Length | None = Field(default=None, alias="length")
    fill: Share | None = None
    weight_g: Mass | None = Field(default=None, alias="weight")
    count: int | None = Field(default=None, ge=1, le=99)


class Rig(_Table):
    """[rig]: what there is to hang, probe, stuff and heat with."""

    probes: int = Field(default=2, ge=0, le=30)
    places: list[Text] = Field(default_factory=list, max_length=99)
    hooks: int | None = Field(default=None, ge=1, le=99)
    stuffer_g: Mass | None = Field(default=None, alias="stuffer")
    watts: float | None = Field(default=None, ge=50, le=6000)
    relay: Literal["mechanical", "solid-state"] = "mechanical"
    response_s: Span = Field(default=0.0, alias="response")


class Cook(_Table):
    """[cook]: lift, floor, limit and band; what is left out is proposed. `standby` is offered only if it is there.

    `schedule` names one that is shipped or a file; `wood` overrides where that says it lies; `lead` is lowest, median
    or a chub's number; `autotune` measures the smoker at the start.
    """

    lift_kelvin: Difference = Field(default=27.78, alias="lift")
    floor_degC: Temperature | None = Field(default=None, alias="floor")
    limit_degC: Temperature | None = Field(default=None, alias="limit")
    foot_degC: Temperature | None = Field(default=None, alias="band_from")
    top_degC: Temperature | None = Field(default=None, alias="band_to")
    standby_degC: Temperature | None = Field(default=None, alias="standby")
    schedule: Text | None = None
    wood: Literal["element", "tray", "none"] | None = None
    lead: Annotated[str | int, BeforeValidator(_lead)] = "lowest"
    autotune: bool = False


class Times(_Table):
    """[times]: how long each step takes, and how the chubs are chilled."""

    mix_s: Span = Field(default=5400.0, alias="mix")
    stuff_s: Span = Field(default=3600.0, alias="stuff")
    hold_s: Span = Field(default=14.0 * 3600.0, alias="cure_hold")
    hang_s: Span = Field(default=1800.0, alias="hang")
    chill: Literal["ice", "refrigerator"] = "ice"
    bloom_s: Span = Field(default=5400.0, alias="bloom")


class Recipe(_Table):
    """All of a recipe: one attribute a table."""

    name: Text
    units: Literal["F-lb", "C-kg"] = "F-lb"
    note: str = Field(default="", max_length=400)
    meat: list[Meat] = Field(min_length=1, max_length=10)
    target: Wanted = Wanted()
    cure: Cure
    salt: Salt
    water: HowMuch | None = None
    seasoning: list[Ingredient] = Field(default_factory=list, max_length=30)
    extra: list[Ingredient] = Field(default_factory=list, max_length=10)
    acid: Acid | None = None
    starter: str | None = None
    casing: list[Casing] = Field(min_length=1, max_length=6)
    rig: Rig = Rig()
    cook: Cook = Cook()
    times: Times = Times()


def recipe_from_data(data: Mapping[str, Any], where: str = "The recipe") -> Recipe:
    """Read a recipe; PlanError, one sentence with the table, the key, what is wrong and the nearest right one."""
    try:
        recipe = Recipe.model_validate(dict(data))
    except ValidationError as fault:
        faults = sorted(
            fault.errors(), key=lambda one: one["type"] != "extra_forbidden"
        )  # a typo explains what is missing
        raise PlanError(f"{where}: {_sentence(faults[0])}") from None
    _refuse_foreign(recipe, where)
    return recipe


def _refuse_foreign(recipe: Recipe, where: str) -> None:
    """What makes another product than a cured sausage that is cooked."""
    if recipe.starter is not None:
        raise PlanError(
            f"{where}: a starter culture makes a fermented sausage, whose acidity (pH) this tool does not measure: "
            "leave it out, or follow a tested recipe for fermented sausage."
        )
    if recipe.cure.number != 1 or recipe.cure.nitrate > 0.0:
        raise PlanError(
            f"{where}: cure No. {recipe.cure.number}{' with nitrate' if recipe.cure.nitrate else ''} is for sausage "
            "dried over weeks: is that on the label of what you have? A sausage that is cooked takes No. 1, nitrite "
            "without nitrate."
        )
    if recipe.acid is not None and recipe.times.hold_s > 0.0:
        raise PlanError(
            f'{where}: {recipe.acid.name} is mixed in last and cooked the same day: write cure_hold = "0 h" under '
            "[times], or leave the acid out."
        )


def _sentence(error: Any) -> str:
    loc = [part for part in error["loc"] if part not in ("function-before", "nullable")]
    where = _where(loc)
    if error["type"] == "extra_forbidden":
        return f"{where} is not known{_nearest(loc)}"
    if error["type"] == "missing":
        return f"{where} is missing: a recipe needs it."
    if error["type"] in _OUT_OF_RANGE:
        allowed = str(error["msg"]).removeprefix("Input should be ")
        near = difflib.get_close_matches(str(error["input"]), re.findall(r"'([^']+)'", allowed), n=1, cutoff=0.5)
        return f"{where}: {error['input']!r} must be {allowed}{f'; did you mean {near[0]}?' if near else '.'}"
    text = str(error["msg"]).removeprefix("Value error, ").replace("Input should be", "this must be")
    return f"{where}: {text[0].upper()}{text[1:].rstrip('.')}."


_OUT_OF_RANGE = ("literal_error", "greater_than_equal", "less_than_equal", "greater_than", "less_than")


def _where(loc: list[Any]) -> str:
    """["meat", 0, "fat"] as '[[meat]] 1 fat'."""
    words = []
    for place, part in enumerate(loc):
        if isinstance(part, int):
            words.append(str(part + 1))
            continue
        model = _model_at(loc[:place])
        nested = place < len(loc) - 1 or (model is not None and _model_at(loc[: place + 1]) is not None)
        many = place + 1 < len(loc) and isinstance(loc[place + 1], int)
        words.append(f"[[{part}]]" if many else f"[{part}]" if nested else str(part))
    return " ".join(words)


def _nearest(loc: list[Any]) -> str:
    model = _model_at(loc[:-1])
    known = [field.alias or name for name, field in model.model_fields.items()] if model else []
    near = difflib.get_close_matches(str(loc[-1]).lower(), known, n=1, cutoff=0.5)
    return f"; did you mean {near[0]}?" if near else f"; known here are {', '.join(known)}."


def _model_at(loc: list[Any]) -> type[_Table] | None:
    model: type[_Table] | None = Recipe
    for part in loc:
        if isinstance(part, int) or model is None:
            continue
        fields = {field.alias or name: field for name, field in model.model_fields.items()}
        hint = fields[part].annotation if part in fields else None
        inner = [hint, *get_args(hint)]
        model = next((one for one in inner if isinstance(one, type) and issubclass(one, _Table)), None)
    return model
