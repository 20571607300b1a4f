"""When to call, and whom together: the fewest trips that keep each chub in its band. Pure; degC, kelvin, seconds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

AIM_SHARE = 0.5  # of the band left after the carry-over: where a chub called alone is pulled
EARLY_SHARE = 0.35  # a chub as far as this goes along when another is called
AGAIN_S = 180.0  # a call not answered this long after the person's response time is repeated


@dataclass(frozen=True, slots=True)
class Outlook:
    """A chub's core when it would be pulled if called now [degC], its carry-over [kelvin], whether a probe says so."""

    chub: int
    pulled_degC: float
    carry_kelvin: float
    measured: bool = True


def aim_degC(band_degC: tuple[float, float], carry_kelvin: float, share: float = AIM_SHARE) -> float:
    """Core [degC] at which a chub is to be pulled so that it ends, carry-over and all, inside the band."""
    foot, top = band_degC
    return foot + share * max(0.4 * (top - foot), top - foot - carry_kelvin)


def whom(band_degC: tuple[float, float], outlooks: Iterable[Outlook]) -> list[int]:
    """Chubs to call now, by number: none until one is due, then with it all that are far enough.

    Only a chub with a probe may come along early; one that is reckoned waits until it is due.
    """
    outlooks = list(outlooks)
    if not any(o.pulled_degC >= aim_degC(band_degC, o.carry_kelvin) for o in outlooks):
        return []
    return [
        o.chub
        for o in outlooks
        if o.pulled_degC >= aim_degC(band_degC, o.carry_kelvin, EARLY_SHARE if o.measured else AIM_SHARE)
    ]
