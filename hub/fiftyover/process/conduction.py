"""Heat into a long cylinder: the published closed forms, radial conduction only.

Symbols inside the formulas are those of the heat-transfer texts: Bi = h R / k, Fo = alpha t / R^2,
theta = (T - T_surroundings) / (T_start - T_surroundings).
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j0, j1, jn_zeros

from fiftyover.errors import ProcessError
from fiftyover.process.curve import FloatArray
from fiftyover.process.domain import number, positive

# Terms die out as exp(-zeta^2 Fo), zeta_n being about n pi: at this exponent they are below rounding.
_NEGLIGIBLE_EXPONENT = 40.0
_MOST_TERMS = 1000


def cylinder_first_term(biot: float) -> tuple[float, float]:
    """First-term coefficients of the infinite cylinder, theta = C1 J0(zeta1 r/R) exp(-zeta1^2 Fo).

    One term is within about 1 % for Fo > 0.2.

    Parameters
    ----------
    biot : float
        Biot number h R / k [-], above 0.

    Returns
    -------
    zeta1, c1 : float
        First root of zeta J1(zeta) = Bi J0(zeta), and C1 = 2 J1 / (zeta (J0^2 + J1^2)) [-].

    Raises
    ------
    ProcessError
        ``biot`` is not above 0 or not finite.

    References
    ----------
    Y. A. Cengel, Heat and Mass Transfer, table 4-2 (the values), section 4-2 (the equations).
    """
    zeta, c = _series(positive("Biot number", biot, "(no unit)"), 1)
    return float(zeta[0]), float(c[0])


def cylinder_theta(r_over_R: ArrayLike, fourier: ArrayLike, biot: float) -> float | FloatArray:
    """Temperature excess of an infinite cylinder put into other surroundings, the full series.

    Parameters
    ----------
    r_over_R : float or array_like
        Place, distance from the axis over the radius [-], 0..1; broadcast with ``fourier``.
    fourier : float or array_like
        Time, alpha t / R^2 [-], 0 or more. Below about 4e-6 the series is cut at 1000 terms: off by up to
        0.002 at the surface, far less inside.
    biot : float
        Biot number h R / k [-], above 0.

    Returns
    -------
    float or ndarray
        theta [-], 1 at the start and 0 in the end; a float if both places and times were single numbers.

    Raises
    ------
    ProcessError
        A number is outside its range or not finite.

    References
    ----------
    Y. A. Cengel, Heat and Mass Transfer, section 4-2; G. Nellis, S. Klein, Heat Transfer (cylinder function).
    """
    bi = positive("Biot number", biot, "(no unit)")
    place, time = np.broadcast_arrays(np.asarray(r_over_R, dtype=np.float64), np.asarray(fourier, dtype=np.float64))
    if not np.all((place >= 0.0) & (place <= 1.0)):
        raise ProcessError("r/R has a value outside 0..1: it is the distance from the axis over the radius.")
    if not np.all(np.isfinite(time) & (time >= 0.0)):
        raise ProcessError("The Fourier number has a value that is negative or not finite: it is alpha t / R^2.")
    begun = time > 0.0
    theta = np.ones(time.shape)
    if np.any(begun):
        zeta, c = _series(bi, _terms(float(np.min(time[begun]))))
        terms = c * j0(np.multiply.outer(place[begun], zeta)) * np.exp(-np.multiply.outer(time[begun], zeta**2))
        theta[begun] = np.sum(terms, axis=-1)
    return float(theta) if theta.ndim == 0 else theta


def quasi_steady_rate(
    lift_kelvin: float, radius_m: float, diffusivity: float, film: float, density: float, heat_capacity: float
) -> float:
    """Rate at which a long cylinder warms while the air is held a fixed lift above its axis.

    After a start of about R^2 / (4 alpha) every point rises at
    beta = lift / (R^2 / (4 alpha) + rho c R / (2 h)). No evaporation, no limit on the air.

    Parameters
    ----------
    lift_kelvin : float
        Air above the axis [K]; negative while cooling.
    radius_m : float
        Radius [m].
    diffusivity : float
        Thermal diffusivity alpha = k / (rho c) [m^2/s].
    film : float
        Film coefficient h, convection and radiation together [W/(m^2 K)].
    density : float
        Density rho [kg/m^3].
    heat_capacity : float
        Specific heat capacity c [J/(kg K)].

    Returns
    -------
    float
        Rate of the core [K/s].

    Raises
    ------
    ProcessError
        A property is not above 0, a number is not finite, or the heat capacity is below 100 (given in kJ).

    References
    ----------
    Quasi-steady solution of the heat equation for a linearly rising surface, H. S. Carslaw, J. C. Jaeger,
    Conduction of Heat in Solids, chapter 7 (chapter from memory); the film term is the balance of the whole cylinder.
    """
    lift = number("Lift", lift_kelvin, "K")
    radius = positive("Radius", radius_m, "m")
    alpha = positive("Diffusivity", diffusivity, "m^2/s")
    h = positive("Film coefficient", film, "W/(m^2 K)")
    rho = positive("Density", density, "kg/m^3")
    c = positive("Heat capacity", heat_capacity, "J/(kg K)")
    if c < 100.0:
        raise ProcessError(f"Heat capacity is {c:g} J/(kg K), which no meat has: kJ typed for J?")
    return lift / (radius**2 / (4.0 * alpha) + rho * c * radius / (2.0 * h))


def _terms(shortest: float) -> int:
    wanted = math.ceil(math.sqrt(_NEGLIGIBLE_EXPONENT / shortest) / math.pi) + 2
    return min(_MOST_TERMS, 8 * math.ceil(wanted / 8))  # in steps of eight, so that calls share the cached roots


@lru_cache(maxsize=256)
def _series(biot: float, terms: int) -> tuple[FloatArray, FloatArray]:
    """Return the first roots of zeta J1 = Bi J0 and their coefficients.

    Root n lies between zero n-1 of J1 (0 for n = 1) and zero n of J0, and nowhere else: bisection cannot miss it.
    """
    low = np.concatenate(([0.0], jn_zeros(1, terms - 1))) if terms > 1 else np.zeros(1)
    high = np.asarray(jn_zeros(0, terms), dtype=np.float64)
    sign = np.where(np.arange(terms) % 2 == 0, 1.0, -1.0)
    for _ in range(120):  # halvings: enough for the tiny first root of a tiny Bi as well
        middle = 0.5 * (low + high)
        over = sign * (middle * j1(middle) - biot * j0(middle)) > 0.0
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    zeta = 0.5 * (low + high)
    c = 2.0 * j1(zeta) / (zeta * (j0(zeta) ** 2 + j1(zeta) ** 2))
    zeta.setflags(write=False)  # they are shared through the cache
    c.setflags(write=False)
    return zeta, c
