"""The simulated meat: every chub a long cylinder of radial cells, heated from its surface.

Coded for the simulated world only and on purpose apart from `fiftyover.process.conduction`, which the forecast uses;
each is tested against published values and never against the other.

Method: finite volumes of equal thickness, explicit in time. A cell holds the *mean* of its ring, so a parabolic
profile (the quasi-steady one of a chub held a fixed lift under the air) is carried without error: for T = a + b r^2
the ring mean lies at r^2 = (r_in^2 + r_out^2) / 2, the difference of neighbouring means over the cell thickness is
the true gradient at their face, and axis and surface follow from the same parabola.

Evaporation: Lewis analogy (Incropera, Fundamentals of Heat and Mass Transfer, section 6.7, from memory): the mass
coefficient is h / (rho cp Le^(2/3)) of the air, times a casing factor that says how much of a free water surface a
casing is. Saturation pressure: Alduchov & Eskridge, J. Appl. Meteorol. 35 (1996) 601-609, eq. 21 (from memory).
Radiation carries no vapour, so only a share of the film counts; that share is chosen so that a 45 mm cook under a
180 degF cap ends in about four hours and a half at a casing factor of 0.05 and never does at 0.07 (our study).
Water that condenses on a cold chub is left out: it would only quicken the first minutes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CELLS = 20
CONDUCTIVITY_W_PER_M_K = 0.42  # inside Marcotte, Taherian, Karimi, J. Food Eng. 88 (2008) 315-322 (abstract)
DENSITY_KG_PER_M3 = 1050.0  # the same
HEAT_CAPACITY_J_PER_KG_K = 3300.0  # the same
LATENT_J_PER_KG = 2.36e6  # water near 60 degC, steam tables, from memory
AIR_VOLUMETRIC_J_PER_M3_K = 1.06 * 1007.0  # moist air near 60 degC, from memory
LEWIS_TO_TWO_THIRDS = 0.86 ** (2.0 / 3.0)  # Le of water vapour in air, from memory
VAPOUR_GAS_J_PER_KG_K = 461.5
CHAMBER_VAPOUR_PA = 7000.0  # our assumption for a loaded, vented cabinet
VAPOUR_SHARE_OF_FILM = 0.75  # the share of the film that is convection and so carries vapour; chosen, see above
YARD_VAPOUR_PA = 1200.0  # 20 degC at about 50 % relative humidity


def radial_operator(cells: int) -> Array:
    """Return K, shape (cells, cells): dT/dt = (alpha / R^2) K T for an insulated cylinder of equal rings."""
    edge = np.arange(cells + 1) / cells
    ring = np.diff(edge**2) / 2.0
    k = np.zeros((cells, cells))
    for face in range(1, cells):
        conductance = edge[face] * cells
        for here, other in ((face - 1, face), (face, face - 1)):
            k[here, other] += conductance / ring[here]
            k[here, here] -= conductance / ring[here]
    return k


@dataclass(frozen=True, slots=True)
class Meat:
    """Conductivity [W/m/K], density [kg/m3] and heat capacity [J/kg/K] of the meat, constant."""

    conductivity: float = CONDUCTIVITY_W_PER_M_K
    density: float = DENSITY_KG_PER_M3
    heat_capacity: float = HEAT_CAPACITY_J_PER_KG_K


MEAT = Meat()


class Chubs:
    """All chubs of a batch, one column each, in a chamber or pulled out of it.

    Parameters
    ----------
    diameters_mm : array, shape (chubs,)
    film_W_per_m2_K : array, shape (chubs,); convection and radiation together
    length_m : one length for all
    casing_factor : share of a free water surface, 0..1
    start_degC : uniform temperature at hanging
    gain : array, shape (chubs,); a place's air is Ta + gain (Ta - Tamb)
    vapour_Pa : vapour pressure in the chamber
    meat : its constant properties
    """

    def __init__(
        self,
        diameters_mm: Array,
        film_W_per_m2_K: Array,
        gain: Array,
        *,
        length_m: float,
        casing_factor: float,
        start_degC: float,
        vapour_Pa: float = CHAMBER_VAPOUR_PA,
        meat: Meat = MEAT,
    ) -> None:
        radius = diameters_mm / 2000.0
        count = len(radius)
        self.count = count
        self.temperature_degC: Array = np.full((CELLS, count), float(start_degC))
        self.surface_degC: Array = np.full(count, float(start_degC))
        self._operator = radial_operator(CELLS)
        volumetric = meat.density * meat.heat_capacity
        self._rate = meat.conductivity / volumetric / radius**2
        cell = radius / CELLS
        # From the mean of the outer ring to the surface, by the parabola of the module's docstring.
        self._skin = meat.conductivity / (cell * (2.0 * radius - cell) / (4.0 * radius))
        self._area = 2.0 * np.pi * radius * length_m
        outer_ring = np.pi * (radius**2 - (radius - cell) ** 2) * length_m
        self._flux_to_outer = self._area / (volumetric * outer_ring)
        self._film = film_W_per_m2_K
        self._film_and_skin = film_W_per_m2_K + self._skin
        self._film_area = film_W_per_m2_K * self._area
        lewis = LATENT_J_PER_KG / (AIR_VOLUMETRIC_J_PER_M3_K * LEWIS_TO_TWO_THIRDS * VAPOUR_GAS_J_PER_KG_K * 333.0)
        self._evaporation = casing_factor * lewis * VAPOUR_SHARE_OF_FILM * film_W_per_m2_K
        self._inside: Array = np.ones(count)
        self._from_air = 1.0 + gain
        self._from_yard = -gain
        self._vapour: Array = np.full(count, vapour_Pa)
        self._joules_per_kelvin = volumetric * np.pi * radius**2 * length_m
        edge = np.arange(CELLS + 1) / CELLS
        self._ring_share = np.diff(edge**2)

    def step(self, dt_s: float, air_degC: float, yard_degC: float) -> tuple[float, float, float]:
        """Advance by dt_s; return watts taken from the chamber air, taken from the yard, and spent on evaporation."""
        t = self.temperature_degC
        place = self._from_air * air_degC
        place += self._from_yard * yard_degC
        surface = self.surface_degC
        pressure = 17.625 * surface
        pressure /= surface + 243.04
        np.exp(pressure, out=pressure)
        pressure *= 610.94
        pressure -= self._vapour
        np.maximum(pressure, 0.0, out=pressure)
        pressure *= self._evaporation  # W/m2 from here on
        surface = place * self._film
        surface -= pressure
        surface += self._skin * t[-1]
        surface /= self._film_and_skin
        self.surface_degC = surface
        into = surface - t[-1]
        into *= self._skin
        change = self._operator @ t
        change *= self._rate
        change[-1] += into * self._flux_to_outer
        change *= dt_s
        t += change
        place -= surface
        place *= self._film_area
        taken = float(place.dot(self._inside))
        return taken, float(place.sum()) - taken, float(pressure.dot(self._area))

    def core_degC(self) -> Array:
        """Return the temperature on each axis, shape (chubs,), in degC."""
        t = self.temperature_degC
        core: Array = 1.25 * t[0]
        core -= 0.25 * t[1]
        return core

    def pull(self, index: int) -> None:
        """Take one chub out of the chamber into the air of the yard, where it goes on being simulated."""
        self._inside[index] = 0.0
        self._from_air[index] = 0.0
        self._from_yard[index] = 1.0
        self._vapour[index] = YARD_VAPOUR_PA

    def stored_joules(self) -> float:
        """Return the heat in all chubs above 0 degC."""
        return float(((self._ring_share @ self.temperature_degC) * self._joules_per_kelvin).sum())
