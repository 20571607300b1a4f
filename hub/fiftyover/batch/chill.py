"""The cooling clock while it runs: what is left, the latest moment for the refrigerator, an alarm in time to act. Pure.

Looks ahead by the core's own recent fall and by conduction in ice water and in a refrigerator
(`timeline.cooling_s`). What was missed is judged by `judge`; here is only what can still be done.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from fiftyover.batch import timeline
from fiftyover.batch.day import Day
from fiftyover.process import cooling
from fiftyover.process.curve import FloatArray
from fiftyover_kit.contract.units import degC_from_degF

AROUND_DEGC = {**timeline.BATH_DEGC, "room": 24.0}  # what a core falls towards; the room: a warm kitchen
TAIL_S = 900.0  # the fall is read off the last quarter of an hour
LEAST_S = 300.0
ICE_SLOWER = 1.5  # the ice may do worse than reckoned
ACT_S = 1800.0  # and a person needs time to come


class Outlook(NamedTuple):
    """One leg that runs: its way and name, time left, needed at the present fall (None: never), and in ice [s]."""

    way: str
    leg: str
    left_s: float
    needs_s: float | None
    ice_s: float

    @property
    def act(self) -> bool:
        """Whether it is time for ice: not on course, and ice has to begin soon."""
        on_course = self.needs_s is not None and self.needs_s <= self.left_s
        return not on_course and self.left_s < self.ice_s * ICE_SLOWER + ACT_S


class Chill(NamedTuple):
    """The chill of one chub now: running legs, the latest moment for the refrigerator [steady s] or None, alarms."""

    legs: tuple[Outlook, ...]
    refrigerator_by_s: float | None
    alarms: tuple[str, ...]
    rewarmed_kelvin: float


def where(day: Day, number: int) -> str:
    """Where a pulled chub is: "ice", "refrigerator" or "room"."""
    if number in day.cold_s:
        return "refrigerator"
    return "ice" if number in day.iced_s and number not in day.out_of_ice_s else "room"


def look(
    number: int,
    diameter_mm: float,
    times: FloatArray,
    core: FloatArray,
    ways: tuple[str, ...],
    place: str = "room",
    error_kelvin: float = 0.0,
) -> Chill:
    """Look at a chub's curve up to now (its last reading), cook included; ``place`` as `where` says it."""
    if not times.size:
        return Chill((), None, (), 0.0)
    legs: list[Outlook] = []
    lost: list[bool] = []
    latest: list[float] = []
    rewarmed = 0.0
    for way in ways:
        met, detail = cooling.judge(times, core, way, error_kelvin)
        rewarmed = max(rewarmed, detail["rewarmed_kelvin"])
        if met:
            return Chill((), None, (), rewarmed)
        lost.append(detail["state"] == "failed")
        running = [leg for leg in detail["legs"] if leg["state"] == "running" and not leg["advised"]]
        if lost[-1] or not running:
            continue
        leg = _outlook(way, running[0], diameter_mm, times, core, place, error_kelvin)
        legs.append(leg)
        latest.append(_refrigerator_by(leg, running[0], diameter_mm, float(times[-1]), float(core[-1]), error_kelvin))
    return Chill(tuple(legs), max(latest, default=None), tuple(_alarms(number, legs, lost)), rewarmed)


def _foot_degC(leg: cooling.Leg, error_kelvin: float) -> float:
    return degC_from_degF(float(leg["name"].partition("-")[2])) - error_kelvin


def _outlook(
    way: str,
    leg: cooling.Leg,
    diameter_mm: float,
    times: FloatArray,
    core: FloatArray,
    place: str,
    error_kelvin: float,
) -> Outlook:
    to_degC, now_s, now_degC = _foot_degC(leg, error_kelvin), float(times[-1]), float(core[-1])
    left_s = (leg["latest_s"] or now_s) - now_s
    ice_s = timeline.cooling_s(diameter_mm, "ice", max(now_degC, to_degC), to_degC)
    return Outlook(way, leg["name"], left_s, _needs(times, core, to_degC, AROUND_DEGC[place]), ice_s)


def _refrigerator_by(
    out: Outlook, leg: cooling.Leg, diameter_mm: float, now_s: float, now_degC: float, error_kelvin: float
) -> float:
    to_degC = _foot_degC(leg, error_kelvin)
    return now_s + out.left_s - timeline.cooling_s(diameter_mm, "refrigerator", max(now_degC, to_degC), to_degC)


def _alarms(number: int, legs: list[Outlook], lost: list[bool]) -> list[str]:
    """An alarm only when no way is left that gets there by itself."""
    if lost and all(lost):
        return [f"Chub {number} cooled too slowly for every published way."]
    open_ways = lost.count(False)  # one whose clock does not run yet is still open
    if not legs or len(legs) < open_ways or not all(leg.act for leg in legs):
        return []
    best = max(legs, key=lambda leg: leg.left_s)
    from_degF, _, to_degF = best.leg.partition("-")
    return [
        f"Chub {number} cools too slowly: {timeline.hours(best.left_s)} left from {from_degF} to {to_degF} °F."
        " Put it into ice water now, to 40 °F; bloom at most 2 h after that."
    ]


def _needs(times: FloatArray, core: FloatArray, to_degC: float, around_degC: float) -> float | None:
    """Seconds to a temperature, falling towards what surrounds the core as fast as of late; None: never, or unknown."""
    if core[-1] <= to_degC:
        return 0.0
    if to_degC <= around_degC or core[-1] <= around_degC:
        return None
    tail = times >= times[-1] - TAIL_S
    t, over = times[tail], core[tail] - around_degC
    if t[-1] - t[0] < LEAST_S or np.any(over <= 0.0):
        return None
    rate = -float(np.polyfit(t - t[0], np.log(over), 1)[0])
    return None if rate < 1e-7 else math.log((core[-1] - around_degC) / (to_degC - around_degC)) / rate
