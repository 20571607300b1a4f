"""What a rehearsal compares itself with: a good thermostat, and a person who turns a dial every half hour.

Both see the lowest core as measured by the kit's probes and switch the element themselves.
"""

import random

from fiftyover_kit.contract.units import kelvin_from_degF_difference

THERMOSTAT_HALF_BAND_KELVIN = kelvin_from_degF_difference(1.0)
DIAL_HALF_BAND_KELVIN = kelvin_from_degF_difference(20.0) / 2.0
DIAL_PERIOD_S = 1800.0
DIAL_ERROR_SD_KELVIN = 2.0
BULB_LAG_S = 90.0


class Thermostat:
    """On and off 1 degF about the target on the chamber probe, at every sample, without minimum times."""

    def __init__(self) -> None:
        self.on = False

    def step(self, chamber_degC: float | None, target_degC: float) -> bool:
        """Return whether the element is on; off without a chamber reading."""
        if chamber_degC is None:
            self.on = False
        elif chamber_degC < target_degC - THERMOSTAT_HALF_BAND_KELVIN:
            self.on = True
        elif chamber_degC > target_degC + THERMOSTAT_HALF_BAND_KELVIN:
            self.on = False
        return self.on


class Dial:
    """A bulb thermostat whose dial a person sets every 30 min, with an error of 2 K sd.

    `bulb_degC` starts at the air's temperature and follows it with a lag of 90 s.
    """

    def __init__(self, seed: int, air_degC: float) -> None:
        self._random = random.Random(f"dial {seed}")
        self._next_s = 0.0
        self.bulb_degC = air_degC
        self.set_degC: float | None = None
        self.on = False

    def step(self, now_s: float, dt_s: float, air_degC: float, wanted_degC: float | None) -> bool:
        """Return whether the element is on.

        wanted_degC is min(lowest measured core + lift, cap); None leaves the dial where it is.
        """
        self.bulb_degC += (air_degC - self.bulb_degC) * min(1.0, dt_s / BULB_LAG_S)
        if now_s >= self._next_s and wanted_degC is not None:
            self._next_s += DIAL_PERIOD_S
            self.set_degC = wanted_degC + self._random.gauss(0.0, DIAL_ERROR_SD_KELVIN)
        if self.set_degC is None:
            self.on = False
        elif self.bulb_degC < self.set_degC - DIAL_HALF_BAND_KELVIN:
            self.on = True
        elif self.bulb_degC > self.set_degC + DIAL_HALF_BAND_KELVIN:
            self.on = False
        return self.on
