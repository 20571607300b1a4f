"""When each step of a batch happens: forwards from a start or backwards from "done by". Pure.

Times are seconds on a wall clock at home, counted from a midnight (0 = midnight); a change to or from summer time
within a batch is not seen. The cook's duration is handed in, as a range by casing line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from fiftyover.batch.recipe import Times
from fiftyover.errors import PlanError
from fiftyover.process.conduction import cylinder_first_term

DAY_S = 86_400.0
NIGHT_FROM_S, NIGHT_TO_S = 23.0 * 3600.0, 6.0 * 3600.0
HOLD_LEAST_S, HOLD_MOST_S = 8.0 * 3600.0, 72.0 * 3600.0  # overnight to three days: common practice
CHECK_S = 900.0  # alarm test and start check before a stage runs unattended
MORNING_S = 7.0 * 3600.0

# Chilling, reckoned by conduction: diffusivity of a lean batter and films FROM MEMORY, on the cautious side.
DIFFUSIVITY = 1.3e-7  # m2/s
CONDUCTIVITY = 0.42  # W/m/K
FILMS = {"ice": 300.0, "refrigerator": 8.0}  # W/m2/K: stirred ice water, still air
BATH_DEGC = {"ice": 1.0, "refrigerator": 3.0}
COLD_DEGC = 4.44  # 40 °F


class CookSpan(NamedTuple):
    """How long a casing line takes [s]: soonest, likely, latest; and how that is known."""

    line: str
    low_s: float
    likely_s: float
    high_s: float
    known: str = "rehearsed"


class Step(NamedTuple):
    """One step: its name, when it begins and ends [s on the wall clock], the latest end, and what to know of it."""

    name: str
    start_s: float
    end_s: float
    latest_s: float
    attended: bool
    note: str = ""

    @property
    def at_night(self) -> bool:
        """Whether someone has to be up between 23 and 6 o'clock."""
        return self.attended and nights_s(self.start_s, self.latest_s) > 0.0


def nights_s(start_s: float, end_s: float) -> float:
    """Seconds of a span that lie between 23 and 6 o'clock."""
    total, day = 0.0, math.floor((start_s - NIGHT_FROM_S) / DAY_S)
    while day * DAY_S + NIGHT_FROM_S < end_s:
        low, high = day * DAY_S + NIGHT_FROM_S, (day + 1) * DAY_S + NIGHT_TO_S
        total += max(0.0, min(end_s, high) - max(start_s, low))
        day += 1
    return total


def cooling_s(diameter_mm: float, how: str, from_degC: float, to_degC: float) -> float:
    """Time [s] for a core to cool between two temperatures in ice water or a refrigerator: one-term conduction.

    Source: `process.conduction` (Çengel, table 4-2) with the film and diffusivity named above.
    """
    radius_m = diameter_mm / 2000.0
    zeta1, c1 = cylinder_first_term(FILMS[how] * radius_m / CONDUCTIVITY)
    theta = (to_degC - BATH_DEGC[how]) / (from_degC - BATH_DEGC[how])
    if not theta > 0.0:
        raise PlanError(f"A core does not cool to {to_degC:.1f} °C in a bath of {BATH_DEGC[how]:.1f} °C.")
    return max(0.0, math.log(c1 / theta) / zeta1**2) * radius_m**2 / DIFFUSIVITY


def forwards(start_s: float, times: Times, cooks: Sequence[CookSpan], chill_s: float) -> tuple[Step, ...]:
    """Lay the steps out from a start; later steps begin at the likely end of the cook, their latest ends add up."""
    hold_s, holds = times.hold_s, times.hold_s > 0.0
    at = start_s
    steps = []

    def add(name: str, length_s: float, attended: bool, note: str = "", late_s: float = 0.0) -> None:
        nonlocal at
        steps.append(Step(name, at, at + length_s, at + length_s + late_s, attended, note))
        at += length_s

    add("weigh, grind, mix", times.mix_s, True)
    add("stuff", times.stuff_s, True)
    if holds:
        add(
            "cure hold in the refrigerator",
            hold_s,
            False,
            "at or below 40 °F; common practice: overnight to three days",
        )
    add("hang, probes, start check, alarm test", times.hang_s + CHECK_S, True)
    longest = max(cooks, key=lambda one: one.likely_s)
    latest_s = max(one.high_s for one in cooks) - longest.likely_s
    add("smoke and cook", longest.likely_s, True, _by_line(cooks), latest_s)
    way = "ice water, to 40 °F" if times.chill == "ice" else "refrigerator, to 40 °F"
    add(f"chill: {way}", chill_s, times.chill == "ice", "the cooling clock runs", latest_s)
    if times.bloom_s:
        add("bloom at room temperature", times.bloom_s, True, "inside the cooling clock, 2 h at most", latest_s)
    add("into the refrigerator", 0.0, True, "weigh, pack and label when cold", latest_s)
    return tuple(steps)


def _by_line(cooks: Sequence[CookSpan]) -> str:
    words = [f"{one.line} {one.low_s / 3600:.1f} to {one.high_s / 3600:.1f} h" for one in cooks]
    return f"{cooks[0].known}: " + ", ".join(words)


def backwards(
    done_by_s: float, now_s: float, times: Times, cooks: Sequence[CookSpan], chill_s: float
) -> tuple[Step, ...]:
    """Lay the steps out so that the last one ends by then even if the cook takes long; PlanError if it cannot."""
    trial = forwards(0.0, times, cooks, chill_s)
    whole_s = trial[-1].latest_s
    start_s = done_by_s - whole_s
    if start_s < now_s:
        raise PlanError(_too_late(now_s, now_s + whole_s, times, start_s))
    return forwards(start_s, times, cooks, chill_s)


def _too_late(now_s: float, nearest_s: float, times: Times, start_s: float) -> str:
    short_s = now_s - start_s
    told = (
        f"Done by then cannot be met: it is {hours(short_s)} too short. Begun now, the batch is done "
        f"{day_and_time(nearest_s)}"
    )
    if times.hold_s - short_s >= HOLD_LEAST_S:
        told += f", or take a cure hold of {hours(times.hold_s - short_s)}"
    return told + "."


def advice(steps: Sequence[Step], times: Times) -> list[str]:
    """Sentences about the night and the hold."""
    told = []
    if 0.0 < times.hold_s < HOLD_LEAST_S:
        told.append(f"A cure hold of {hours(times.hold_s)} is short: overnight to three days is common practice.")
    if times.hold_s > HOLD_MOST_S:
        told.append(f"A cure hold of {hours(times.hold_s)} is long: overnight to three days is common practice.")
    nights = [step.name for step in steps if step.at_night]
    if nights:
        told.append(f"Part of it falls into the night (23 to 6 o'clock): {'; '.join(nights)}.")
    hung = next(step for step in steps if step.name.startswith("hang"))
    cook = next(step for step in steps if step.name == "smoke and cook")
    later_s = (MORNING_S - hung.start_s) % DAY_S
    if cook.at_night and times.hold_s and later_s > 0.0 and times.hold_s + later_s <= HOLD_MOST_S:
        moved = nights_s(cook.start_s + later_s, cook.latest_s + later_s)
        if moved < nights_s(cook.start_s, cook.latest_s):
            told.append(f"A cure hold {hours(later_s)} longer would hang the chubs at 7 in the morning.")
    return told


def hours(seconds: float) -> str:
    """Words for a span: "14 h 30 min"."""
    minutes = max(0, math.ceil(seconds / 60.0 - 1e-6))
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")


def day_and_time(wall_s: float) -> str:
    """Words for a moment relative to its midnight 0: "at 18:30", "the next day at 06:00", "on day 3 at 07:15"."""
    minutes = math.ceil(wall_s / 60.0 - 1e-6)
    day, rest = divmod(minutes, 1440)
    clock = f"at {rest // 60:02d}:{rest % 60:02d}"
    return clock if day == 0 else f"the next day {clock}" if day == 1 else f"on day {day + 1} {clock}"
