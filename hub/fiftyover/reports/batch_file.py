"""A sheet's plan as the batch file that the hub takes (TOML), written by hand: the standard library only reads TOML."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from fiftyover.batch.sheet import Sheet, made_of, plan_of
from fiftyover.batch.written import data_of_plan


def batch_toml(sheet: Sheet) -> str:
    """The batch file: what `batch.written.plan_from_data` reads."""
    data = data_of_plan(plan_of(sheet, "sheet"))
    chubs, stages = data.pop("chubs"), data.pop("stages")
    lines = [f"# Made from the recipe {sheet.recipe.name!r}; temperatures in °C, differences in kelvin, sizes in mm."]
    tables = []
    for key, value in data.items():
        if isinstance(value, Mapping):
            tables += ["", f"[{key}]", *_pairs(value)] if value else []
        elif value is not None:
            lines.append(f"{key} = {_value(value)}")
    tables += ["", "[made_of]", *_pairs(made_of(sheet))]
    for chub in chubs:
        tables += ["", "[[chubs]]", *_pairs(chub)]
    for stage in stages:
        tables += ["", "[[stages]]", *_pairs(stage)]
    return "\n".join([*lines, *tables, ""])


def _pairs(table: Mapping[str, Any]) -> list[str]:
    return [f"{json.dumps(key, ensure_ascii=False)} = {_value(one)}" for key, one in table.items() if one is not None]


def _value(value: Any) -> str:
    """Numbers, texts and lists of them are written in TOML as in JSON."""
    return json.dumps(value, ensure_ascii=False)
