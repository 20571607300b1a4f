"""The warm-up clock before the smoker: meat that was stuffed warm runs down its six hours on the table. Pure.

From stuffing until it is in the refrigerator all time counts, unless the warmest chub was read at or below 50 °F.
"""

from __future__ import annotations

from fiftyover.batch.day import Day
from fiftyover.process import comeup
from fiftyover_kit.contract.units import degC_from_degF

COLD_DEGC = degC_from_degF(comeup.FROM_DEGF)
TABLE_S = 2 * 3600.0  # so long may stuffed meat lie outside a refrigerator: advice to consumers (USDA, two-hour rule)


def before_s(day: Day, at_s: float) -> float | None:
    """Warm-up clock [s] so far of a batch that does not hang yet; None before it is stuffed."""
    if day.stuffed_s is None:
        return None
    if day.stuffed_degC is not None and day.stuffed_degC <= COLD_DEGC:
        return 0.0
    until_s = day.held_s if _is_cold(day) and day.held_s is not None else at_s
    return max(0.0, until_s - day.stuffed_s)


def sentences(day: Day, name: str, at_s: float) -> list[str]:
    """What a person should hear about stuffed meat that is not in the refrigerator."""
    if day.stuffed_s is None or _is_cold(day) or at_s - day.stuffed_s < TABLE_S:
        return []
    return [f"{name!r} was stuffed more than two hours ago and is not in the refrigerator: put it there, or hang it."]


def _is_cold(day: Day) -> bool:
    return day.held_s is not None and day.stuffed_s is not None and day.held_s >= day.stuffed_s
