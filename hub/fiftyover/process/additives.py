"""Legal ceilings of what goes in beside the meat, as parts per million of the meat block (see `cure`)."""

from typing import NamedTuple

from fiftyover.errors import ProcessError
from fiftyover.process.domain import ROUNDING, not_negative, positive

PPM_PER_OUNCE_PER_CWT = 625.0  # 1 oz in 100 lb = 1/1600


class Ceiling(NamedTuple):
    """Legal ceiling of an additive: as the rule prints it [oz per 100 lb of meat], and in ppm of the meat."""

    oz_per_100lb: float
    ppm: float
    source: str


_RULE = "9 CFR 424.21(c)"
# The rule prints ounces; 156 ppm, the name in the handbook, is 156.25 with all its digits.
CEILINGS = {
    "nitrite": Ceiling(0.25, 0.25 * PPM_PER_OUNCE_PER_CWT, f"{_RULE}, comminuted"),
    "nitrate": Ceiling(2.75, 2.75 * PPM_PER_OUNCE_PER_CWT, f"{_RULE}, comminuted, not bacon"),
    "erythorbate": Ceiling(0.875, 0.875 * PPM_PER_OUNCE_PER_CWT, f"{_RULE}, sodium erythorbate or ascorbate"),
    "erythorbic acid": Ceiling(0.75, 0.75 * PPM_PER_OUNCE_PER_CWT, f"{_RULE}, erythorbic or ascorbic acid"),
    "glucono delta lactone": Ceiling(8.0, 8.0 * PPM_PER_OUNCE_PER_CWT, f"{_RULE}, Genoa salami 16 oz"),
}
NITRITE_CEILING_PPM = CEILINGS["nitrite"].ppm
FINISHED_CEILING_PPM = 200.0  # 9 CFR 424.21(c); 21 CFR 172.170 for home-cure mixes: in the finished product
DRY_CURE_CEILING_PPM = 625.0  # 9 CFR 424.21(c); named only to say that it is not for sausage
USUAL_LEAST_PPM = 120.0  # FSIS Calculations Handbook (1995), p. 12, cured "Keep Refrigerated"; quoted, page not seen
USEFUL_LEAST_PPM = 40.0  # same: some preservative effect; quoted, page not seen
COOLING_LEAST_PPM = 100.0  # FSIS Appendix B (1999): the slow cooling of a cured product
COOLING_ERYTHORBATE_LEAST_PPM = 250.0  # FROM MEMORY (FSIS 2021): erythorbate or ascorbate beside it


def additive_ppm(additive_g: float, meat_g: float) -> float:
    """Ingoing additive, pure: additive x 10^6 / meat.

    Parameters
    ----------
    additive_g : float
        Erythorbate, ascorbate or the like [g], 0 or more.
    meat_g : float
        Green weight of meat and fat [g], above 0.

    Returns
    -------
    float
        Additive [ppm of the meat].

    Raises
    ------
    ProcessError
        Nonsense in a number, or more additive than meat.

    References
    ----------
    FSIS Calculations Handbook (1995), chapter 3.
    """
    additive, meat = not_negative("Additive", additive_g, "g"), positive("Meat", meat_g, "g")
    if additive > meat:
        raise ProcessError(f"{additive:g} g of additive in {meat:g} g of meat: are the two the wrong way round?")
    return additive / meat * 1e6


def checked_ppm(additive: str, ppm: float) -> float:
    """Return an ingoing figure that keeps its legal ceiling.

    Parameters
    ----------
    additive : str
        A key of ``CEILINGS``: 'nitrite', 'nitrate', 'erythorbate', 'erythorbic acid', 'glucono delta lactone'.
    ppm : float
        Ingoing figure [ppm of the meat], 0 or more.

    Returns
    -------
    float
        The same [ppm].

    Raises
    ------
    ProcessError
        Above the ceiling (which is named), below 0, or an additive without one here.

    References
    ----------
    9 CFR 424.21(c).
    """
    if additive not in CEILINGS:
        raise ProcessError(f"No ceiling is known for {additive!r}: known are {', '.join(CEILINGS)}.")
    figure, ceiling = not_negative(additive.capitalize(), ppm, "ppm"), CEILINGS[additive]
    if figure > ceiling.ppm * (1.0 + ROUNDING):
        raise ProcessError(
            f"{figure:.2f} ppm {additive} of the meat is over the ceiling of {ceiling.ppm:g} ppm"
            f" ({ceiling.oz_per_100lb:g} oz per 100 lb, {ceiling.source}): use {ceiling.ppm:g} ppm or less."
        )
    return figure
