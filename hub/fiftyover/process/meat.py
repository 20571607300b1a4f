"""Thermal properties of meat from what it is made of (Choi and Okos)."""

from collections.abc import Mapping
from typing import NamedTuple

from fiftyover.errors import ProcessError
from fiftyover.process.domain import between, fraction, positive

# Each property is a + b T + c T^2, T in degC.
# Choi & Okos (1986), read in two textbook scans (Ibarz & Barbosa-Canovas appendix; Toledo); the second
# heat-capacity coefficient of fat is FROM MEMORY (3 % of that of fat at 50 degC). Water: liquid, 0..150 degC.
CONDUCTIVITY = {  # W/(m K)
    "water": (0.57109, 1.7625e-3, -6.7036e-6),
    "protein": (0.17881, 1.1958e-3, -2.7178e-6),
    "fat": (0.18071, -2.7604e-4, -1.7749e-7),
    "carbohydrate": (0.20141, 1.3874e-3, -4.3312e-6),
    "fiber": (0.18331, 1.2497e-3, -3.1683e-6),
    "ash": (0.32962, 1.4011e-3, -2.9069e-6),
}
DENSITY = {  # kg/m^3
    "water": (997.18, 3.1439e-3, -3.7574e-3),
    "protein": (1329.9, -0.51840, 0.0),
    "fat": (925.59, -0.41757, 0.0),
    "carbohydrate": (1599.1, -0.31046, 0.0),
    "fiber": (1311.5, -0.36589, 0.0),
    "ash": (2423.8, -0.28063, 0.0),
}
HEAT_CAPACITY = {  # kJ/(kg K)
    "water": (4.1762, -9.0864e-5, 5.4731e-6),
    "protein": (2.0082, 1.2089e-3, -1.3129e-6),
    "fat": (1.9842, 1.4733e-3, -4.8008e-6),
    "carbohydrate": (1.5488, 1.9625e-3, -5.9399e-6),
    "fiber": (1.8459, 1.8306e-3, -4.6509e-6),
    "ash": (1.0926, 1.8896e-3, -3.6817e-6),
}
COMPONENTS = tuple(CONDUCTIVITY)
LOWEST_DEGC, HIGHEST_DEGC = 0.0, 150.0
_SUM_MAY_MISS = 0.01


class Properties(NamedTuple):
    """Conductivity [W/(m K)], density [kg/m^3] and specific heat capacity [J/(kg K)] of one mixture."""

    k: float
    rho: float
    cp: float


def properties(composition: Mapping[str, float], degC: float) -> Properties:
    """Conductivity, density and heat capacity of a mixture.

    rho = 1 / sum(x / rho_i), cp = sum(x cp_i), k = sum(volume fraction k_i) (parallel, so an upper figure:
    measured emulsions give 0.26..0.48 W/(m K), Marcotte, Taherian, Karimi, J. Food Eng. 88 (2008) 315-322).

    Parameters
    ----------
    composition : mapping of str to float
        Mass fraction [-] of 'water', 'protein', 'fat', 'carbohydrate', 'fiber', 'ash'; those left out are 0.
        They must add up to 1 within 0.01, and are then scaled to 1.
    degC : float
        Temperature [degC], 0..150 (unfrozen).

    Returns
    -------
    Properties
        (k [W/(m K)], rho [kg/m^3], cp [J/(kg K)]).

    Raises
    ------
    ProcessError
        An unknown component, a fraction outside 0..1, a sum that is not 1, or a temperature out of range.

    References
    ----------
    Y. Choi, M. R. Okos (1986), Effects of temperature and composition on the thermal properties of foods.
    """
    x = _fractions(composition)
    temperature = between(
        "Temperature", degC, LOWEST_DEGC, HIGHEST_DEGC, "degC", "The equations are for unfrozen meat."
    )
    volumes = {name: share / _at(DENSITY[name], temperature) for name, share in x.items()}
    volume = sum(volumes.values())
    k = sum(part / volume * _at(CONDUCTIVITY[name], temperature) for name, part in volumes.items())
    cp = sum(share * _at(HEAT_CAPACITY[name], temperature) for name, share in x.items())
    return Properties(k, 1.0 / volume, 1000.0 * cp)


def diffusivity(k: float, rho: float, cp: float) -> float:
    """Thermal diffusivity alpha = k / (rho cp) [m^2/s].

    Parameters
    ----------
    k, rho, cp : float
        Conductivity [W/(m K)], density [kg/m^3], specific heat capacity [J/(kg K)], each above 0.

    Raises
    ------
    ProcessError
        One of them is not above 0.

    References
    ----------
    The definition; Y. A. Cengel, Heat and Mass Transfer, chapter 1.
    """
    return positive("Conductivity", k, "W/(m K)") / (
        positive("Density", rho, "kg/m^3") * positive("Heat capacity", cp, "J/(kg K)")
    )


def _fractions(composition: Mapping[str, float]) -> dict[str, float]:
    unknown = sorted(set(composition) - set(COMPONENTS))
    if unknown:
        raise ProcessError(f"Meat has no component {', '.join(unknown)}: use {', '.join(COMPONENTS)}.")
    x = {name: fraction(f"Fraction of {name}", share) for name, share in composition.items()}
    total = sum(x.values())
    if abs(total - 1.0) > _SUM_MAY_MISS:
        raise ProcessError(
            f"The fractions add up to {total:.3f}: they must add up to 1, so something is missing or twice."
        )
    return {name: share / total for name, share in x.items()}


def _at(coefficients: tuple[float, float, float], degC: float) -> float:
    a, b, c = coefficients
    return a + b * degC + c * degC**2
