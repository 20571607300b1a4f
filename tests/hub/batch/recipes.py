"""Recipes for tests, as the plain data that a TOML file gives."""

from typing import Any

from fiftyover.batch.recipe import Recipe, recipe_from_data


def data(**changes: Any) -> dict[str, Any]:
    """The recipe of `references/batch/sheet_by_hand.csv`; a change of None takes a key out."""
    made: dict[str, Any] = {
        "name": "by hand",
        "units": "C-kg",
        "meat": [
            {"name": "pork", "kind": "pork", "fat": "30 %", "weight": "6 kg"},
            {"name": "beef", "kind": "beef", "fat": "10 %", "weight": "4 kg"},
        ],
        "cure": {"wanted": "150 ppm", "scale_step": "0.1 g"},
        "salt": {"in_all": "1.8 %"},
        "water": "5 %",
        "seasoning": [{"name": "pepper", "amount": "0.3 %"}],
        "extra": [{"name": "apple", "amount": "8 %", "breaks": True}],
        "casing": [{"line": "slim", "diameter": "45 mm", "length": "300 mm"}],
        "rig": {"stuffer": "2.5 kg"},
        "times": {"mix": "1 h 30 min", "stuff": "1 h", "cure_hold": "20 h", "hang": "30 min", "bloom": "1 h"},
    }
    made.update(changes)
    return {key: value for key, value in made.items() if value is not None}


def recipe(**changes: Any) -> Recipe:
    """The same, read."""
    return recipe_from_data(data(**changes))


def meats(*lines: tuple[str, str, str | None]) -> list[dict[str, str]]:
    """Meats of (kind, fat, weight)."""
    found = []
    for number, (kind, fat, weight) in enumerate(lines):
        one = {"name": f"meat {number + 1}", "kind": kind, "fat": fat}
        found.append(one if weight is None else {**one, "weight": weight})
    return found
