"""Which band a batch is pulled in, and why: proposed from the kinds of meat, the person's own choice kept. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fiftyover.batch.recipe import GAME, POULTRY, Cook
from fiftyover.errors import PlanError
from fiftyover.process.lethality import CONSUMER_ADVICE_DEGF
from fiftyover_kit.contract.units import degC_from_degF, degF_from_degC

BY_PRACTICE_DEGF = (152.0, 155.0)  # common practice for pork, beef, lamb
WIDTH_DEGF = 3.0
COOLEST_DEGF = 145.0  # below it dwell times are minutes to hours: not a finish for a smoker


class Band(NamedTuple):
    """Foot and top [degC], why they are proposed, the consumer advice [degF] for this meat, and a warning or ''."""

    foot_degC: float
    top_degC: float
    why: str
    advice_degF: int
    warning: str


def band_for(kinds: Sequence[str], cook: Cook) -> Band:
    """Propose a band for the kinds of meat, or check the person's own; PlanError if that cannot be."""
    advice = _advice(kinds)
    foot, top, why = _proposed(kinds, advice)
    if (cook.foot_degC is None) != (cook.top_degC is None):
        raise PlanError("Only one end of the band stands under [cook]: give band_from and band_to.")
    if cook.foot_degC is not None and cook.top_degC is not None:
        foot, top, why = cook.foot_degC, cook.top_degC, "as the recipe says"
        if foot < degC_from_degF(COOLEST_DEGF) - 1e-9:
            raise PlanError(
                f"A band from {degF_from_degC(foot):.0f} °F is too low to finish in: take {COOLEST_DEGF:.0f} or more."
            )
    warning = ""
    if foot < degC_from_degF(advice) - 0.3:
        warning = (
            f"The advice to consumers for this meat is {advice} °F; a lower finish rests on time at temperature "
            "(FSIS Appendix A, written for licensed processors)."
        )
        if any(kind in POULTRY for kind in kinds):
            warning = f"The advice for poultry is {advice} °F, and no table here covers less: raise the band."
    return Band(foot, top, why, advice, warning)


def _advice(kinds: Sequence[str]) -> int:
    if any(kind in POULTRY for kind in kinds):
        return CONSUMER_ADVICE_DEGF["poultry"]
    return CONSUMER_ADVICE_DEGF["game" if any(kind in GAME for kind in kinds) else "ground meat"]


def _proposed(kinds: Sequence[str], advice: int) -> tuple[float, float, str]:
    if any(kind in POULTRY for kind in kinds):
        return (*_from(advice), "poultry in the mix: the consumer advice for poultry, 165 °F, is the foot")
    if any(kind in GAME for kind in kinds):
        return (*_from(advice), "game in the mix: the consumer advice, 160 °F, is the foot (some sources say 165 °F)")
    foot, top = BY_PRACTICE_DEGF
    return degC_from_degF(foot), degC_from_degF(top), "152 to 155 °F by common practice for pork, beef and lamb"


def _from(advice: int) -> tuple[float, float]:
    return degC_from_degF(advice), degC_from_degF(advice + WIDTH_DEGF)
