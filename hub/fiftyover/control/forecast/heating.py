"""One chub as the forecast sees it: heat into a long cylinder through its surface, less what evaporates there.

The heat equation is solved in its own modes, not on a grid: the mean and the first three modes of an insulated
cylinder (J1(beta) = 0), each exact in time for a steady flux, and all others as if they had settled. That is as good
as a dozen radial cells and lets a step be a minute long. Many chubs and many draws are columns of one array.

Surface balance: flux / h = air - surface - E e^(bend (surface - 60) / 10) (p_sat(surface) - p), the last never below 0.
E [K/kPa] holds the casing, the mass coefficient (Lewis) and the latent heat. The balance is taken at mid-step, linear
in the surface about its last value.

Sources: H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, chapter 7 (constant flux at the surface of a
cylinder; chapter from memory); saturation pressure: Alduchov and Eskridge, J. Appl. Meteor. 35 (1996) 601.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, jn_zeros

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

VOLUMETRIC_J_PER_M3_K = 1050.0 * 3300.0  # density x heat capacity, inside Marcotte et al., J. Food Eng. 88 (2008) 315
MODES = 3
_BETA = jn_zeros(1, MODES)
_AT_SURFACE = j0(_BETA)
# What the modes left out carry once settled: the settled profile is a parabola, qR/(4k) above the mean at the surface
# and as much below it on the axis.
_REST_SURFACE = 0.25 - float(np.sum(2.0 / _BETA**2))
_REST_AXIS = -0.25 - float(np.sum(2.0 / (_BETA**2 * _AT_SURFACE)))

NAMES = ("film", "evaporation", "diffusivity", "place", "vapour", "bend")
FILM, EVAPORATION, DIFFUSIVITY, PLACE, VAPOUR, BEND = range(len(NAMES))
BEND_AT_DEGC = 60.0


@dataclass(frozen=True, slots=True)
class Profile:
    """What a column remembers: mean [degC], modes at the surface [kelvin] (modes, columns), surface [degC], flux."""

    mean_degC: Array
    modes_kelvin: Array
    surface_degC: Array
    flux: Array


def saturation_kPa(degC: Array) -> Array:
    """Vapour pressure over water [kPa] at temperatures [degC], any shape. Source: Alduchov and Eskridge 1996."""
    return np.asarray(0.61094 * np.exp(17.625 * degC / (243.04 + degC)))


class Cylinders:
    """Columns of chubs, ready to be stepped by ``dt_s`` [s].

    Parameters: ``radius_m`` shape (columns,); ``theta`` shape (6, columns): log film [W/(m2 K)], log E [K/kPa], log
    diffusivity [m2/s], place (the air there is air + place x (air - yard)) [ratio], vapour pressure in the chamber
    [kPa], bend [ratio per 10 K]; ``dt_s`` step [s], up to a few minutes.
    """

    def __init__(self, radius_m: Array, theta: Array, dt_s: float) -> None:
        alpha = np.exp(theta[DIFFUSIVITY])
        self.film = np.exp(theta[FILM])
        self.place = theta[PLACE]
        self.radius_m = radius_m
        self._log_evaporation, self._vapour, self._bend = theta[EVAPORATION], theta[VAPOUR], theta[BEND] / 10.0
        rate = np.multiply.outer(_BETA**2, alpha / radius_m**2)
        share = 2.0 / (VOLUMETRIC_J_PER_M3_K * radius_m)
        over_k = radius_m / (alpha * VOLUMETRIC_J_PER_M3_K)
        self._warm = share * dt_s
        self._keep, keep_half = np.exp(-rate * dt_s), np.exp(-rate * dt_s / 2.0)
        self._gain = share / rate * (1.0 - self._keep)
        self._keep_half = keep_half
        rest = _REST_SURFACE * over_k
        self._answer = share * dt_s / 2.0 + np.sum(share / rate * (1.0 - keep_half), axis=0) + rest
        self._axis = 1.0 / _AT_SURFACE[:, None]
        self._rest_axis = _REST_AXIS * over_k

    def start(self, core_degC: Array) -> Profile:
        """Hang columns that are at one temperature throughout, ``core_degC`` shape (columns,)."""
        core = np.array(core_degC, dtype=np.float64)
        zero = np.zeros_like(core)
        return Profile(core, np.zeros((MODES, core.size)), core.copy(), zero)

    def settled(self, core_degC: Array, slope: Array) -> Profile:
        """Begin in mid-cook: the axis at ``core_degC`` [degC], rising by ``slope`` [K/s], the profile a parabola."""
        flux = slope * VOLUMETRIC_J_PER_M3_K * self.radius_m / 2.0
        over_k = self._rest_axis / _REST_AXIS
        modes = 2.0 / _BETA[:, None] ** 2 * (flux * over_k)
        mean = np.asarray(core_degC) + 0.25 * flux * over_k
        return Profile(mean, modes, mean + 0.25 * flux * over_k, flux)

    def step(self, was: Profile, air_degC: Array | float, yard_degC: float) -> Profile:
        """Advance by ``dt_s`` [s] in chamber air [degC] (columns,) or scalar, the yard at ``yard_degC``."""
        before = was.surface_degC
        pressure = saturation_kPa(before)
        over = pressure - self._vapour
        pull = np.exp(self._log_evaporation + self._bend * (before - BEND_AT_DEGC))
        pull *= over > 0.0
        steep = pull * pressure * (17.625 * 243.04) / (243.04 + before) ** 2
        here = air_degC + self.place * (air_degC - yard_degC)
        free = was.mean_degC + np.einsum("mc,mc->c", was.modes_kelvin, self._keep_half)
        one = 1.0 + steep
        drive = here - pull * over + steep * before - one * free
        flux = self.film * drive / (1.0 + self.film * one * self._answer)
        modes = was.modes_kelvin * self._keep
        modes += self._gain * flux
        return Profile(was.mean_degC + self._warm * flux, modes, free + self._answer * flux, flux)

    def core_degC(self, now: Profile) -> Array:
        """Give the temperature on the axis [degC], shape (columns,)."""
        return np.asarray(now.mean_degC + np.sum(now.modes_kelvin * self._axis, axis=0) + self._rest_axis * now.flux)

    def taken(self, now: Profile, air_degC: Array | float) -> Array:
        """Give the heat taken from the chamber, radius x film x (air [degC] - surface) (columns,) [W/m, over 2 pi]."""
        return np.asarray(self.radius_m * self.film * (air_degC - now.surface_degC))

    def slope(self, now: Profile) -> Array:
        """Give the rate at which the mean warms [K/s], shape (columns,); the axis follows it."""
        return np.asarray(2.0 * now.flux / (VOLUMETRIC_J_PER_M3_K * self.radius_m))
