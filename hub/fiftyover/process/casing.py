"""What a casing holds: a cylinder of raw batter, less its tied ends."""

import math

from fiftyover.errors import ProcessError
from fiftyover.process.domain import ROUNDING, between, positive

# Raw batter; measured emulsions reach 1070 raw and 970 at 80 degC (Marcotte, Taherian, Karimi 2008).
DENSITY_KG_PER_M3 = 1040.0
# Published weight over full cylinder: 3 lb for 2.5 x 20 in, a casing retailer's listing. 0.75..0.9 is usual.
FILL_FRACTION = 0.81

_DIAMETER_RANGE_MM = (10.0, 250.0)
_LENGTH_RANGE_MM = (50.0, 100_000.0)  # ropes of small casing come in tens of metres
_DENSITY_RANGE = (800.0, 1200.0)


def kg_per_m(diameter_mm: float, density_kg_per_m3: float = DENSITY_KG_PER_M3) -> float:
    """Meat in a metre of a full casing: density x pi d^2 / 4.

    Parameters
    ----------
    diameter_mm : float
        Stuffed diameter [mm], 10..250; not the flat width, which is pi/2 of it.
    density_kg_per_m3 : float
        Density of the raw batter [kg/m^3], 800..1200.

    Returns
    -------
    float
        [kg/m].

    Raises
    ------
    ProcessError
        A number outside its range (inches typed for millimetres).

    References
    ----------
    Geometry; density from memory, within the range of Marcotte, Taherian, Karimi, J. Food Eng. 88 (2008) 315-322.
    """
    diameter_m = between("Diameter", diameter_mm, *_DIAMETER_RANGE_MM, "mm", "Inches typed for millimetres?") / 1000.0
    density = between("Density", density_kg_per_m3, *_DENSITY_RANGE, "kg/m^3")
    return density * math.pi * diameter_m**2 / 4.0


def capacity_g(diameter_mm: float, length_mm: float, fill_fraction: float = FILL_FRACTION) -> float:
    """Meat in one casing.

    Parameters
    ----------
    diameter_mm : float
        Stuffed diameter [mm], 10..250.
    length_mm : float
        Length of the casing as cut [mm], 50 mm..100 m.
    fill_fraction : float
        What is filled of the full cylinder [-], 0.3..1: the ends are tied off.

    Returns
    -------
    float
        Meat [g].

    Raises
    ------
    ProcessError
        A number outside its range.

    References
    ----------
    As `kg_per_m`; the fill fraction is from one retailer's listing.
    """
    length_m = between("Length", length_mm, *_LENGTH_RANGE_MM, "mm", "Inches typed for millimetres?") / 1000.0
    fill = between("Fill fraction", fill_fraction, 0.3, 1.0, "of the full casing")
    return 1000.0 * kg_per_m(diameter_mm) * length_m * fill


def casings_needed(meat_g: float, diameter_mm: float, length_mm: float, fill_fraction: float = FILL_FRACTION) -> int:
    """Casings that hold a weight of meat.

    Parameters
    ----------
    meat_g : float
        All that is stuffed [g], above 0.
    diameter_mm, length_mm, fill_fraction : float
        As for `capacity_g` [mm], [mm], [-].

    Returns
    -------
    int
        Whole casings, 1 or more; the last may be short.

    Raises
    ------
    ProcessError
        A number outside its range.

    References
    ----------
    As `capacity_g`.
    """
    meat = positive("Meat to stuff", meat_g, "g")
    return math.ceil(meat / capacity_g(diameter_mm, length_mm, fill_fraction) - ROUNDING)


def fill_fraction(meat_g: float, diameter_mm: float, length_mm: float) -> float:
    """How full one casing is with a weight of meat.

    Parameters
    ----------
    meat_g : float
        Meat in one casing [g], above 0.
    diameter_mm, length_mm : float
        As for `capacity_g` [mm].

    Returns
    -------
    float
        Meat over the full cylinder [-], up to 1; 0.75..0.9 is usual.

    Raises
    ------
    ProcessError
        A casing that cannot hold it: the nearest possible weight and diameter are named.

    References
    ----------
    As `kg_per_m`.
    """
    meat = positive("Meat in a casing", meat_g, "g")
    full = capacity_g(diameter_mm, length_mm, 1.0)
    if meat > full * (1.0 + ROUNDING):
        raise ProcessError(
            f"{meat:.0f} g does not go into {diameter_mm:g} x {length_mm:g} mm: it holds {full:.0f} g at most,"
            f" or must be {diameter_for_mm(meat, length_mm):.1f} mm thick (flat width given for diameter?)."
        )
    return meat / full


def diameter_for_mm(meat_g: float, length_mm: float, fill_fraction: float = 1.0) -> float:
    """Diameter of the casing that a weight of meat fills.

    Parameters
    ----------
    meat_g : float
        Meat in one casing [g], above 0.
    length_mm, fill_fraction : float
        As for `capacity_g` [mm], [-].

    Returns
    -------
    float
        Stuffed diameter [mm].

    Raises
    ------
    ProcessError
        A number outside its range.

    References
    ----------
    `capacity_g`, solved for the diameter.
    """
    meat = positive("Meat in a casing", meat_g, "g")
    length_m = between("Length", length_mm, *_LENGTH_RANGE_MM, "mm", "Inches typed for millimetres?") / 1000.0
    fill = between("Fill fraction", fill_fraction, 0.3, 1.0, "of the full casing")
    return 1000.0 * math.sqrt(meat / 1000.0 / (DENSITY_KG_PER_M3 * math.pi / 4.0 * length_m * fill))
