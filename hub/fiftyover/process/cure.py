"""Cure by weight: its nitrite as parts per million of the meat block.

The base of every figure is the green weight of meat and fat: no water, binder, seasoning, cheese or the like.
A larger base (the whole batch) would read lower than what the meat gets.
"""

import math
from typing import NamedTuple

from fiftyover.errors import ProcessError
from fiftyover.process.additives import NITRITE_CEILING_PPM, USEFUL_LEAST_PPM, USUAL_LEAST_PPM, checked_ppm
from fiftyover.process.domain import ROUNDING, between, fraction, not_negative, positive

MIX_FRACTION = 0.0625  # No. 1 cure: 6.25 % nitrite, 93.75 % salt (labels; some mixes have 1/17 or 6 %)
_MIX_RANGE = (0.002, 0.2)  # no cure mix sold for the kitchen lies outside it
_LARGEST_MIX, _PURE = 0.5, 1.0
_MEAT_RANGE_G = (100.0, 500_000.0)
_LARGEST_PPM = 10_000.0
_COARSE_STEP_G = 1.0
_COARSE_STEP_PPM = 5.0


class Notice(NamedTuple):
    """Something a person should know about a dose that is allowed: a short code, and a sentence."""

    code: str
    text: str


class Dose(NamedTuple):
    """Cure as it is to be weighed, and what it brings along."""

    cure_g: float
    unrounded_g: float
    nitrite_ppm: float
    salt_g: float
    notices: tuple[Notice, ...]


def mix_fraction(nitrite_fraction: float) -> float:
    """Return the nitrite in a cure mix, checked.

    Parameters
    ----------
    nitrite_fraction : float
        Nitrite in the mix [-]: 0.0625 for 6.25 %; above 0 up to 0.5, or 1 for the pure salt.

    Returns
    -------
    float
        The same [-].

    Raises
    ------
    ProcessError
        A percent typed for a fraction (6.25, but 0.6 as well), 0, or no number.

    References
    ----------
    6.25 % in No. 1 cure, 0.4 to 0.6 % in curing salts: labels; the limit of 0.5 is our own.
    """
    share = fraction("Nitrite fraction", nitrite_fraction)
    if share == 0.0:
        raise ProcessError("Nitrite fraction is 0: such a mix does not cure.")
    if _LARGEST_MIX < share < _PURE:
        raise ProcessError(
            f"Nitrite fraction is {share:g}: percent typed for fraction? {share:g} % is {share / 100.0:g}."
        )
    return share


def nitrite_ppm(cure_g: float, nitrite_fraction: float, meat_g: float) -> float:
    """Ingoing nitrite: cure x fraction x 10^6 / meat.

    Parameters
    ----------
    cure_g : float
        Cure mix [g], 0 or more.
    nitrite_fraction : float
        Nitrite in the mix [-], as `mix_fraction` takes it.
    meat_g : float
        Green weight of meat and fat [g], above 0: not of the batch.

    Returns
    -------
    float
        Ingoing nitrite [ppm of the meat, by mass].

    Raises
    ------
    ProcessError
        Nonsense in a number (percent typed for fraction), or more cure than meat.

    References
    ----------
    FSIS Processing Inspectors' Calculations Handbook (Directive 7620.3, 1995), chapter 3.
    """
    share = mix_fraction(nitrite_fraction)
    cure, meat = not_negative("Cure", cure_g, "g"), positive("Meat", meat_g, "g")
    if cure > meat:
        raise ProcessError(f"{cure:g} g of cure in {meat:g} g of meat: are the two the wrong way round?")
    return cure * share / meat * 1e6


def cure_g(target_ppm: float, nitrite_fraction: float, meat_g: float) -> float:
    """Cure for an ingoing nitrite: ppm x meat / (fraction x 10^6), not rounded.

    Parameters
    ----------
    target_ppm : float
        Nitrite wanted [ppm of the meat]: 0, or 1..10 000. Whether it is allowed, `dose` says.
    nitrite_fraction : float
        Nitrite in the mix [-], as `mix_fraction` takes it.
    meat_g : float
        Green weight of meat and fat [g], above 0.

    Returns
    -------
    float
        Cure mix [g].

    Raises
    ------
    ProcessError
        Nonsense in a number.

    References
    ----------
    As `nitrite_ppm`, solved for the cure.
    """
    target = not_negative("Target", target_ppm, "ppm")
    if 0.0 < target < 1.0:
        raise ProcessError(f"The target is {target:g} ppm: fraction typed for ppm? 0.000156 is 156 ppm.")
    if target > _LARGEST_PPM:
        raise ProcessError(f"The target is {target:g} ppm: the ceiling for sausage is {NITRITE_CEILING_PPM:g} ppm.")
    return target * positive("Meat", meat_g, "g") / (mix_fraction(nitrite_fraction) * 1e6)


def dose(
    target_ppm: float,
    nitrite_fraction: float,
    meat_g: float,
    scale_step_g: float,
    batch_g: float | None = None,
) -> Dose:
    """Cure to weigh for a batch: rounded down to the scale's step, held against the ceiling.

    Parameters
    ----------
    target_ppm : float
        Nitrite wanted [ppm of the meat], above 0 up to the ceiling of 156.25.
    nitrite_fraction : float
        Nitrite in the mix [-], 0.002..0.2, from its label.
    meat_g : float
        Green weight of meat and fat [g], 100 g..500 kg.
    scale_step_g : float
        Step of the scale [g], above 0.
    batch_g : float, optional
        Weight of all that goes in [g]: only to catch it being typed for the meat.

    Returns
    -------
    Dose
        Cure [g], the same unrounded [g], its nitrite [ppm of the meat], the salt it brings [g], and notices:
        'below-120', 'below-40', 'coarse-scale'.

    Raises
    ------
    ProcessError
        Above the ceiling, a weight or fraction that makes no sense, a meat heavier than its batch, or a dose
        smaller than one step of the scale.

    References
    ----------
    9 CFR 424.21(c), 1/4 oz per 100 lb; FSIS Calculations Handbook (1995), chapter 3.
    """
    share = between(
        "Nitrite fraction", mix_fraction(nitrite_fraction), *_MIX_RANGE, "(no unit)", "Read it off the label."
    )
    meat = between("Meat", meat_g, *_MEAT_RANGE_G, "g", "Kilograms or pounds typed for grams?")
    step = positive("Scale step", scale_step_g, "g")
    if batch_g is not None and positive("Batch", batch_g, "g") < meat * (1.0 - ROUNDING):
        raise ProcessError(f"{meat:g} g of meat in a batch of {batch_g:g} g: the two weights are the wrong way round.")
    target = checked_ppm("nitrite", positive("Target", target_ppm, "ppm"))
    unrounded = cure_g(target, share, meat)
    steps = math.floor(unrounded / step + ROUNDING)
    if steps == 0:
        raise ProcessError(
            f"{unrounded:.3g} g of cure is less than one step of a {step:g} g scale: take a finer scale or more meat."
        )
    weighed = min(steps * step, unrounded)
    ppm = nitrite_ppm(weighed, share, meat)
    return Dose(weighed, unrounded, ppm, weighed * (1.0 - share), _notices(ppm, step, step * share / meat * 1e6))


def _notices(ppm: float, step_g: float, step_ppm: float) -> tuple[Notice, ...]:
    notices = []
    if ppm < USEFUL_LEAST_PPM * (1.0 - ROUNDING):
        notices.append(Notice("below-40", f"{ppm:.0f} ppm of the meat is below 40: too little to preserve anything."))
    elif ppm < USUAL_LEAST_PPM * (1.0 - ROUNDING):
        notices.append(
            Notice("below-120", f"{ppm:.0f} ppm of the meat is below 120, usual for cured sausage kept cold.")
        )
    if step_g >= _COARSE_STEP_G or step_ppm >= _COARSE_STEP_PPM:
        text = f"One step of the {step_g:g} g scale is {step_ppm:.0f} ppm of this meat: weigh the cure on a finer one."
        notices.append(Notice("coarse-scale", text))
    return tuple(notices)
