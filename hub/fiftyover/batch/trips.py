"""When to call, and whom together: the fewest trips that keep each chub in its band. Pure; degC, kelvin, seconds."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

AIM_SHARE = 0.5  # of the band left after the carry-over: where a chub called alone is pulled
LEAST_SHARE = 0.3  # of the band, that is aimed into at the least, however much a chub carries over
EARLY_SHARE = 0.35  # a chub as far as this goes along when another is called
STALLED_SHARE = 0.06  # a chub that hardly warms any more is called this far into the band: the aim may never come
STALLED_AFTER_S = 1800.0  # it hardly warms if another half hour does not bring it to the aim
AGAIN_S = 180.0  # a call not answered this long after the person's response time is repeated


@dataclass(frozen=True, slots=True)
class Outlook:
    """A chub's core when it would be pulled if called now [degC], its carry-over [kelvin], whether a probe says so.

    ``later_degC`` is the core if it were called `STALLED_AFTER_S` later.
    """

    chub: int
    pulled_degC: float
    carry_kelvin: float
    measured: bool = True
    later_degC: float = math.inf


def aim_degC(band_degC: tuple[float, float], carry_kelvin: float, share: float = AIM_SHARE) -> float:
    """Core [degC] at which a chub is to be pulled so that it ends, carry-over and all, inside the band."""
    foot, top = band_degC
    return foot + share * max(LEAST_SHARE * (top - foot), top - foot - carry_kelvin)


def is_due(band_degC: tuple[float, float], outlook: Outlook) -> bool:
    """Whether a chub is to be called for its own sake: at its aim, or in its band and hardly warming any more."""
    aim = aim_degC(band_degC, outlook.carry_kelvin)
    stalled = aim_degC(band_degC, outlook.carry_kelvin, STALLED_SHARE)
    return outlook.pulled_degC >= aim or (outlook.pulled_degC >= stalled and outlook.later_degC < aim)


def whom(band_degC: tuple[float, float], outlooks: Iterable[Outlook]) -> list[int]:
    """Chubs to call now, by number: none until one is due, then with it all that are far enough.

    Only a chub with a probe may come along early; one that is reckoned waits until it is due.
    """
    outlooks = list(outlooks)
    if not any(is_due(band_degC, o) for o in outlooks):
        return []
    return [
        o.chub
        for o in outlooks
        if is_due(band_degC, o) or (o.measured and o.pulled_degC >= aim_degC(band_degC, o.carry_kelvin, EARLY_SHARE))
    ]
