"""The simulated smoker: element, air, wall, losses and the chubs in it.

The figures are those of our own design study (a loaded, insulated cabinet of about 0.14 m3); no real smoker stands
behind them, so only ratios between controllers in one run should be quoted.

The plant protocol: any class with this constructor and these names can take the plant's place
(`fiftyover rehearse --plant FILE.py:CLASS`). `diameter_mm` is one number. Where a batch mixes diameters the class is
told the stoutest there, and the whole list, one per chub, as the option `diameters_mm`; a class that knows no such
option is refused for a mixed batch and works as ever for a plain one.
"""

import math

import numpy as np

from fiftyover.errors import HubError
from fiftyover.rehearse.chubs import CHAMBER_VAPOUR_PA, Chubs
from fiftyover.rehearse.disturbance import Disturbance

ELEMENT_J_PER_K = 250.0
ELEMENT_W_PER_K = 2.5  # with the line above: a lag of 100 s, and the cause of all overshoot
ELEMENT_SHARE_TO_WALL = 0.35
AIR_J_PER_K = 600.0
WALL_J_PER_K = 6000.0
AIR_TO_WALL_W_PER_K = 17.0
WALL_TO_YARD_W_PER_K = 2.5
VENT_W_PER_K = 2.0
DOOR_W_PER_K = 80.0
PROBE_LAG_S = 30.0
FILM_W_PER_M2_K = 12.0
FILM_SD = 0.08
PLACE_SD = 0.04
STEP_MAX_S = 1.0


class Plant:
    """A small electric smoker with chubs hanging in it from t = 0.

    Parameters
    ----------
    seed : one seed, one world, to the last digit
    chubs : how many hang
    diameter_mm : of every chub, 25..150
    element_watts : nominal power of the element
    cap_degC : the process cap; told for the protocol, this world does not need it
    diameters_mm : one per chub, instead of diameter_mm
    casing_factor : share of a free water surface that the casing lets evaporate; decides when the cook ends
    start_degC, ambient_degC : of the meat, and of the yard and the cold smoker
    length_m : of every chub
    film_W_per_m2_K : mean surface coefficient, convection and radiation
    loss_factor, capacity_factor : scale the wall's and vents' losses, and the air's and wall's heat capacity
    probe_lag_s : of the chamber probe
    smoulder_watts : the most that burning wood adds
    place_sd, film_sd : how much places and surfaces differ (0: all alike)
    vapour_Pa : vapour pressure in the chamber
    quiet : no disturbances at all

    Raises
    ------
    HubError : an option outside what the explicit step and physics can carry, or an unknown one (TypeError)
    """

    def __init__(
        self,
        seed: int,
        chubs: int,
        diameter_mm: float,
        element_watts: float,
        cap_degC: float,
        *,
        diameters_mm: list[float] | None = None,
        casing_factor: float = 0.05,
        start_degC: float = 5.0,
        ambient_degC: float = 18.0,
        length_m: float = 0.30,
        film_W_per_m2_K: float = FILM_W_PER_M2_K,
        loss_factor: float = 1.0,
        capacity_factor: float = 1.0,
        probe_lag_s: float = PROBE_LAG_S,
        smoulder_watts: float = 60.0,
        place_sd: float = PLACE_SD,
        film_sd: float = FILM_SD,
        vapour_Pa: float = CHAMBER_VAPOUR_PA,
        quiet: bool = False,
    ) -> None:
        sizes = [diameter_mm] * chubs if diameters_mm is None else list(diameters_mm)
        for name, value in (("loss_factor", loss_factor), ("capacity_factor", capacity_factor)):
            _check_within(name, 0.2, 10.0, value)
        _check_within("diameter_mm", 25.0, 150.0, *sizes)
        _check_within("casing_factor", 0.0, 1.0, casing_factor)
        _check_within("probe_lag_s", 2.0, 600.0, probe_lag_s)
        _check_within("film_W_per_m2_K", 1.0, 100.0, film_W_per_m2_K)
        _check_within("length_m", 0.05, 1.0, length_m)
        _check_within("element_watts", 1.0, 5000.0, element_watts)
        if len(sizes) != chubs:
            raise HubError(f"The plant has {chubs} chubs but {len(sizes)} diameters: give one for each chub.")
        rng = np.random.default_rng(seed)
        film = film_W_per_m2_K * np.clip(1.0 + film_sd * rng.standard_normal(chubs), 0.5, 1.5)
        gain = np.clip(place_sd * rng.standard_normal(chubs), -0.3, 0.3)
        self.cap_degC = cap_degC
        self.chubs = Chubs(
            np.array(sizes),
            film,
            gain,
            length_m=length_m,
            casing_factor=casing_factor,
            start_degC=start_degC,
            vapour_Pa=vapour_Pa,
        )
        self._world = Disturbance(rng, ambient_degC, smoulder_watts, quiet)
        self._watts = element_watts
        self._air_capacity = AIR_J_PER_K * capacity_factor
        self._wall_capacity = WALL_J_PER_K * capacity_factor
        self._vent = VENT_W_PER_K * loss_factor
        self._wall_loss = WALL_TO_YARD_W_PER_K * loss_factor
        self._probe_lag_s = probe_lag_s
        self.air_degC = self.chamber_degC = self._element_degC = self._wall_degC = ambient_degC
        self._door_until_s = -1.0
        self.now_s = 0.0
        self.core_degC: list[float] = self.chubs.core_degC().tolist()
        self.supplied_joules = 0.0
        self.lost_joules = 0.0

    def step(self, dt_s: float, element_on: bool) -> None:
        """Advance the world by dt_s (0..1 s) with the element on or off; the door shuts by itself in time."""
        if not 0.0 <= dt_s <= STEP_MAX_S:
            raise HubError(f"The plant cannot step {dt_s} s: give it 0 to {STEP_MAX_S:g} s at a time.")
        world = self._world
        world.at(self.now_s)
        yard = world.ambient_degC
        air, wall, element = self.air_degC, self._wall_degC, self._element_degC
        watts = self._watts * world.mains if element_on else 0.0
        from_element = ELEMENT_W_PER_K * (element - air)
        to_wall = AIR_TO_WALL_W_PER_K * (air - wall)
        vent = (self._vent + (DOOR_W_PER_K if self.now_s < self._door_until_s else 0.0)) * (air - yard)
        wall_loss = self._wall_loss * (wall - yard)
        into_chubs, from_yard, evaporated = self.chubs.step(dt_s, air, yard)
        net = (1.0 - ELEMENT_SHARE_TO_WALL) * from_element + world.smoulder_watts - to_wall - vent - into_chubs
        self.air_degC = air + dt_s * net / self._air_capacity
        net = ELEMENT_SHARE_TO_WALL * from_element + to_wall - wall_loss
        self._wall_degC = wall + dt_s * net / self._wall_capacity
        self._element_degC = element + dt_s * (watts - from_element) / ELEMENT_J_PER_K
        self.chamber_degC += (air - self.chamber_degC) * -math.expm1(-dt_s / self._probe_lag_s)
        self.supplied_joules += dt_s * (watts + world.smoulder_watts)
        self.lost_joules += dt_s * (vent + wall_loss + evaporated - from_yard)
        self.now_s += dt_s
        self.core_degC = self.chubs.core_degC().tolist()

    def pull(self, index: int) -> None:
        """Take chub `index` (from 0) out of the chamber; its core goes on in the air of the yard."""
        self.chubs.pull(index)

    def open_door(self, seconds: float) -> None:
        """Open the door for so many seconds from now."""
        self._door_until_s = max(self._door_until_s, self.now_s + seconds)

    def stored_joules(self) -> float:
        """Return the heat in element, air, wall and meat above 0 degC."""
        cabinet = self._air_capacity * self.air_degC + self._wall_capacity * self._wall_degC
        return cabinet + ELEMENT_J_PER_K * self._element_degC + self.chubs.stored_joules()


def _check_within(name: str, low: float, high: float, *values: object) -> None:
    for value in values:
        if not isinstance(value, int | float) or not low <= value <= high:
            raise HubError(f"The plant's {name} is {value}: give a number from {low:g} to {high:g}.")
