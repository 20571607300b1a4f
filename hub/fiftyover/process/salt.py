"""Salt in all: what is added by itself, and what the cure brings."""

from fiftyover.errors import ProcessError
from fiftyover.process.cure import mix_fraction
from fiftyover.process.domain import ROUNDING, between, fraction, not_negative, positive


def salt_g(added_g: float, weighed_cure_g: float, nitrite_fraction: float) -> float:
    """Salt in all: what is added, and what the cure brings.

    Parameters
    ----------
    added_g : float
        Salt added by itself [g], 0 or more.
    weighed_cure_g : float
        Cure mix [g], 0 or more.
    nitrite_fraction : float
        Nitrite in the mix [-]; the rest is taken as salt, as on the labels of No. 1 mixes.

    Returns
    -------
    float
        Salt in all [g].

    Raises
    ------
    ProcessError
        Nonsense in a number.

    References
    ----------
    Mass balance; 93.75 % salt in No. 1 cure (labels).
    """
    cure = not_negative("Cure", weighed_cure_g, "g")
    return not_negative("Salt", added_g, "g") + cure * (1.0 - mix_fraction(nitrite_fraction))


def salt_to_add_g(salt_fraction: float, base_g: float, weighed_cure_g: float, nitrite_fraction: float) -> float:
    """Salt to add so that, with the cure's, a wanted fraction of a base is reached.

    Parameters
    ----------
    salt_fraction : float
        Salt wanted [-], 0..0.1 of the base.
    base_g : float
        What the fraction is of [g], above 0: the meat, or the batch, as the recipe says.
    weighed_cure_g : float
        Cure mix [g], 0 or more.
    nitrite_fraction : float
        Nitrite in the mix [-].

    Returns
    -------
    float
        Salt to add [g], 0 or more.

    Raises
    ------
    ProcessError
        Nonsense in a number, or a cure that alone brings more salt than is wanted.

    References
    ----------
    Mass balance.
    """
    wanted = between("Salt", fraction("Salt", salt_fraction), 0.0, 0.1, "of the base", "Percent typed for fraction?")
    base = positive("Base of the salt", base_g, "g")
    brought = salt_g(0.0, weighed_cure_g, nitrite_fraction)
    if brought > wanted * base * (1.0 + ROUNDING):
        raise ProcessError(
            f"The cure alone brings {brought:.1f} g of salt, more than {wanted:.2%} of {base:g} g:"
            f" the least possible is {brought / base:.2%}."
        )
    return max(0.0, wanted * base - brought)
