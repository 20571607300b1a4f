"""Meats of known fat, blended to a wanted fat: mass balance, nothing else."""

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from fiftyover.errors import ProcessError
from fiftyover.process.curve import FloatArray
from fiftyover.process.domain import ROUNDING, fraction, not_negative, positive

_MOST_MEATS = 10  # the search below doubles with each


class Amounts(NamedTuple):
    """Weights of a blend [g], in the order of the meats, and its fat [-]."""

    weights_g: tuple[float, ...]
    fat: float


def two(fat_a: float, fat_b: float, target: float) -> tuple[float, float]:
    """Shares of two meats (the Pearson square): a = |b - target|, b = |target - a|, over their sum.

    Parameters
    ----------
    fat_a, fat_b : float
        Fat of each [-], 0..1.
    target : float
        Fat wanted [-], between the two.

    Returns
    -------
    share_a, share_b : float
        Shares of the blend [-], adding up to 1. Two meats of the wanted fat are shared evenly.

    Raises
    ------
    ProcessError
        A fat outside 0..1 (percent typed for fraction), or a target outside the two: the nearest is named.

    References
    ----------
    Pearson square, common practice; mass balance.
    """
    a, b = fraction("Fat of the first meat", fat_a), fraction("Fat of the second meat", fat_b)
    wanted = _reachable((a, b), fraction("Target fat", target))
    if a == b:
        return 0.5, 0.5
    share_a = min(1.0, max(0.0, (wanted - b) / (a - b)))
    return share_a, 1.0 - share_a


def fat_of(weights_g: Sequence[float], fats: Sequence[float]) -> float:
    """Fat of a blend: the mean weighted by mass.

    Parameters
    ----------
    weights_g : sequence of float, n
        Weights [g], 0 or more, not all 0 (any one unit of mass does).
    fats : sequence of float, n
        Fat of each [-], 0..1.

    Returns
    -------
    float
        Fat [-].

    Raises
    ------
    ProcessError
        Nonsense in a number, counts that differ, or no meat at all.

    References
    ----------
    Mass balance.
    """
    shares = _fats(fats)
    weights = _weights(weights_g, len(shares))
    total = positive("Weight of all meats", float(np.sum(weights)), "g")
    return float(np.dot(weights, shares) / total)


def to_add_g(meat_g: float, fat: float, added_fat: float, target: float) -> float:
    """Weight of a second meat that brings a first to a wanted fat: the blend grows by it.

    3 lb of fat into 10 lb of lean is 3/13 = 23 %, not 30 %: that takes 4.29 lb.

    Parameters
    ----------
    meat_g : float
        Weight of the first [g], above 0.
    fat, added_fat : float
        Fat of the first and of what is added [-], 0..1.
    target : float
        Fat wanted [-], between the two and not that of what is added.

    Returns
    -------
    float
        Weight to add [g], 0 or more.

    Raises
    ------
    ProcessError
        Nonsense in a number, or a target that no weight reaches.

    References
    ----------
    Mass balance.
    """
    meat = positive("Meat", meat_g, "g")
    share, added = two(fat, added_fat, target)
    if fat == added_fat:
        return 0.0
    if share <= ROUNDING:
        raise ProcessError(f"A fat of {target:.1%} is that of what is added: no weight of it brings the meat there.")
    return meat * added / share


def many(
    fats: Sequence[float],
    target: float,
    weights_g: Sequence[float] | None = None,
    total_g: float | None = None,
) -> Amounts:
    """Blend of any number of meats that changes the planned weights least.

    Of all blends with the wanted fat and weight, the one whose weights differ least from the planned ones (sum
    of squares); none is negative. Planned weights are scaled to the wanted weight first.

    Parameters
    ----------
    fats : sequence of float, n
        Fat of each meat [-], 0..1; 1 to 10 meats.
    target : float
        Fat wanted [-], between the leanest and the fattest.
    weights_g : sequence of float, n, optional
        Planned weights [g], 0 or more; even shares if left out.
    total_g : float, optional
        Weight wanted [g], above 0; the sum of the planned weights if left out.

    Returns
    -------
    Amounts
        Weights [g], adding up to the wanted weight, and their fat [-].

    Raises
    ------
    ProcessError
        Nonsense in a number, counts that differ, no weight given at all, or a target out of reach: the nearest
        is named.

    References
    ----------
    Mass balance; projection onto it (convex, so the best of the candidates is the best of all).
    """
    shares = _fats(fats)
    wanted = _reachable(shares, fraction("Target fat", target))
    if weights_g is None and total_g is None:
        raise ProcessError("Neither planned weights nor a weight in all are given: one of them is needed.")
    planned = np.ones(len(shares)) if weights_g is None else _weights(weights_g, len(shares))
    planned_sum = positive("Weight of all meats", float(np.sum(planned)), "g")
    total = planned_sum if total_g is None else positive("Weight in all", total_g, "g")
    weights = total * _nearest(np.asarray(shares), planned / planned_sum, wanted)
    return Amounts(tuple(float(weight) for weight in weights), float(np.dot(weights, shares) / total))


def _nearest(fats: FloatArray, planned: FloatArray, target: float) -> FloatArray:
    """Shares of 1 nearest to the planned ones: the best over every choice of meats left out."""
    candidates = []
    for size in range(1, fats.size + 1):
        for kept in combinations(range(fats.size), size):
            shares = _projected(fats, planned, target, list(kept))
            if shares is not None:
                candidates.append(shares)
    return min(candidates, key=lambda shares: float(np.sum((shares - planned) ** 2)))


def _projected(fats: FloatArray, planned: FloatArray, target: float, kept: list[int]) -> FloatArray | None:
    """Move the kept shares the least way to a sum of 1 and the target fat; None if they cannot, or go negative."""
    balance = np.vstack((np.ones(len(kept)), fats[kept]))
    missing = np.array([1.0, target]) - balance @ planned[kept]
    moved = planned[kept] + np.linalg.pinv(balance) @ missing
    if np.any(moved < -ROUNDING) or not np.allclose(balance @ moved, [1.0, target], rtol=0.0, atol=ROUNDING):
        return None
    shares = np.zeros(fats.size)
    shares[kept] = np.maximum(moved, 0.0)
    return shares


def _fats(fats: Sequence[float]) -> tuple[float, ...]:
    shares = tuple(fraction(f"Fat of meat {place}", fat) for place, fat in enumerate(fats, start=1))
    if not 1 <= len(shares) <= _MOST_MEATS:
        raise ProcessError(f"{len(shares)} meats are given: 1 to {_MOST_MEATS} can be blended.")
    return shares


def _weights(weights_g: Sequence[float], count: int) -> FloatArray:
    if len(weights_g) != count:
        raise ProcessError(f"There are {len(weights_g)} weights for {count} meats: give one for each.")
    return np.array([not_negative(f"Weight of meat {n}", weight, "g") for n, weight in enumerate(weights_g, start=1)])


def _reachable(fats: tuple[float, ...], target: float) -> float:
    nearest = min(max(target, min(fats)), max(fats))
    if abs(target - nearest) > ROUNDING:
        raise ProcessError(
            f"A fat of {target:.1%} is out of reach of meats with {min(fats):.1%} to {max(fats):.1%}:"
            f" the nearest possible is {nearest:.1%}."
        )
    return nearest
