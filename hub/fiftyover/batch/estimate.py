"""Chubs without a believable probe: cores reckoned from place and casing line, corrected by hand readings. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from fiftyover.batch.ahead import Warming, core_after, pace, settle_s
from fiftyover.batch.plan import Chub, Plan

SPREAD_START_KELVIN = 0.5
SPREAD_SHARE = (0.12, 0.08, 0.05)  # of the rise since the last hand reading, by how many there were
SPREAD_READ_KELVIN = 0.3  # a hand-held thermometer, tip not quite on the axis
SPREAD_PER_S = 0.5 / 3600.0  # near the band the meat stalls, and a small error of the place tells for long
GAIN = (0.6, 1.6)
AIR_KELVIN = (-10.0, 10.0)
PLACE_SPREAD_KELVIN = 2.4  # air at a hook against the probe's (4 % of what the chamber is above the yard)
GAIN_SPREAD = 0.06  # pace of a chub against its line: surface coefficient, diameter
FRESH_S = 3600.0  # a hand reading may lead the chamber this long


class Guess(NamedTuple):
    """The reckoned core of one chub [degC], from where it was last known and when, with its own pace against its line.

    ``source`` says how it was last known: at the ``start``, by a ``probe`` since lost, or by ``hand``. ``air_kelvin``
    is how much hotter its place is than the probe's, ``felt`` how far the core has answered to one kelvin of that
    since.
    """

    chub: int
    core_degC: float
    known_degC: float
    known_s: float
    gain: float = 1.0
    reads: int = 0
    source: str = "start"
    air_kelvin: float = 0.0
    felt: float = 0.0

    def spread_kelvin(self, core_degC: float, at_s: float) -> float:
        """How far off the guess may be (one standard deviation) [kelvin] at a core [degC] and a time [s]."""
        start = SPREAD_READ_KELVIN if self.reads else SPREAD_START_KELVIN
        share = SPREAD_SHARE[min(self.reads, len(SPREAD_SHARE) - 1)]
        return start + share * abs(core_degC - self.known_degC) + SPREAD_PER_S * max(0.0, at_s - self.known_s)


def begin(chub: int, core_degC: float, at_s: float, source: str = "start") -> Guess:
    """Start a guess where the core is taken to be [degC] at ``at_s`` [s]."""
    return Guess(chub, core_degC, core_degC, at_s, 1.0, 0 if source == "start" else 1, source)


def model_for(chub: Chub, plan: Plan, guess: Guess, line: Warming, line_mm: float) -> Warming:
    """Warming of an unprobed chub from that of a probed line, scaled to its diameter, place and own gain."""
    scale = guess.gain * plan.pace(chub.place)
    if chub.diameter_mm != line_mm:
        # Drying is a matter of the surface like the air's heat: as kelvin of air it is the same for any diameter.
        scale *= pace(chub.diameter_mm) / pace(line_mm)
    return replace(line, per_kelvin=line.per_kelvin * scale, settle_s=settle_s(chub.diameter_mm))


def advance(guess: Guess, model: Warming, air_degC: float, dt_s: float) -> Guess:
    """Let the guess warm for ``dt_s`` [s] while the chamber probe reads ``air_degC``."""
    here_degC = air_degC + guess.air_kelvin
    core_degC = core_after(model, guess.core_degC, dt_s, here_degC, 0.0, here_degC)
    return guess._replace(core_degC=core_degC, felt=guess.felt + model.per_kelvin * (1.0 - guess.felt) * dt_s)


def read(guess: Guess, core_degC: float, at_s: float) -> Guess:
    """Take a hand reading [degC]: the guess moves there, and what it was off by corrects its place's air and its pace.

    The two share the error as their usual spreads would have made it (least squares with these priors).
    """
    reckoned, off = guess.core_degC - guess.known_degC, core_degC - guess.core_degC
    by_air, by_gain = guess.felt * PLACE_SPREAD_KELVIN, max(0.0, reckoned) * GAIN_SPREAD
    noise = SPREAD_READ_KELVIN
    total = by_air**2 + by_gain**2 + noise**2
    air = guess.air_kelvin + off * by_air * PLACE_SPREAD_KELVIN / total
    gain = guess.gain * (1.0 + off * by_gain * GAIN_SPREAD / total)
    return Guess(
        guess.chub,
        core_degC,
        core_degC,
        at_s,
        min(GAIN[1], max(GAIN[0], gain)),
        guess.reads + 1,
        "hand",
        min(AIR_KELVIN[1], max(AIR_KELVIN[0], air)),
    )
