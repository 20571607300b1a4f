"""What goes wrong with the smoker itself, told from the chamber's answer to the heat: pure rules over the last minutes.

The figures come from our own simulation study of small cabinets, and none of them is a published one: element off, a
chamber at 80 °C falls by 4 K in 2 min; an element of 1500 W in an almost empty cabinet lifts it by 17 K/min at most; a
door that closes, by 45 K/min, which is why nothing is judged for ten minutes after one. Temperatures degC, times s.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

TRAIL = 122  # points of five seconds: ten minutes
STEP_S = 5.0
TRAIL_GAP_S = 20.0  # a longer hole begins the trail anew
QUIET_S = 600.0  # after a door, an outage or the hanging: until then the chamber answers to these
FULL = 0.9  # share of the time that counts as "on all the time"

RISE_KELVIN_PER_S = 25.0 / 60.0
RISE_WATTS = 1500.0  # a stronger element may lift the chamber faster in proportion
RISE_OVER_S = 30.0
OFF_S, OFF_FROM_S = 180.0, 120.0  # off so long; judged over the last of it, when the element has given its heat away
OFF_FALL_KELVIN = 0.4
OFF_OVER_MEAT_KELVIN = 12.0  # nearer the meat a chamber may well stand still
OFF_FROM_DEGC = 50.0  # what is colder a hot yard, the wood or the warm walls may keep from cooling
# A chamber over its target that rises on hardly any heat: the element is told off on purpose, and must let it turn.
PULSE_OVER_KELVIN, PULSE_LIFT_KELVIN, PULSE_LIFT_S, PULSE_ON = 3.0, 0.8, 60.0, 0.35
PULSE_OFF_S, PULSE_JUDGED_S, PULSE_JUDGED_KELVIN, PULSE_LONGEST_S = 120.0, 60.0, 0.3, 180.0
EMPTY_DEGC, EMPTY_LIFT_KELVIN = (
    50.0,
    1.5,
)  # after the last chub is out, a chamber over this that rises is heated by something
ON_S, ON_FALL_KELVIN = 240.0, 4.0
ON_COLD_S, ON_COLD_KELVIN = 600.0, 5.0
# What this rig needed to hold its chamber, learned from it: well less than full heat must then lift it again.
HELD_ON, HELD_S, HELD_KELVIN, HELD_RISE_KELVIN = 0.6, 300.0, 2.0, 1.0
HELD_TAU_S = 600.0
BACK_S, BACK_KELVIN, BACK_OVER_S = 210.0, 1.0, 120.0  # after a sudden fall: heated so long, and no rise
BACK_ON = 0.1
BACK_SHARE = 0.5  # what has made good so much of its fall has answered: the rest may be heat that the wood gave before
DROP_KELVIN = 10.0  # a fall is a sudden one from here on
BOUND_OVER, BOUND_S = 0.15, 900.0  # after one: no more heat than before it and so much, for so long
BOUND_LOW, TURNED_KELVIN = 0.35, 3.0  # and no more than this until the chamber has turned upwards by so much
BEFORE_S = 300.0
AJAR_S = 480.0  # longer than turning all chubs takes (5 min)
SHUT_KELVIN = 5.0  # a chamber that rises by so much is shut: what falls after that is a door opened once more
ALONE_ASK_S, ALONE_OFF_S = 10 * 3600.0, 16 * 3600.0

WELDED, NO_ANSWER, TOO_FAST = "welded", "no-answer", "too-fast"
AJAR, ALONE, LEFT_ALONE = "ajar", "alone", "left-alone"
START_NO_ANSWER = "start-no-answer"
STOPS = frozenset({WELDED, NO_ANSWER, TOO_FAST, LEFT_ALONE, START_NO_ANSWER})  # heat waits for a person

SAYS = {
    WELDED: "No heat: the element was told off and the chamber does not cool. The relay may be welded: pull the plug "
    "at the smoker now.",
    NO_ANSWER: "No heat: the element was on and the chamber probe did not answer. Look whether it hangs in the "
    "chamber, whether the door is shut, and whether the element warms up.",
    TOO_FAST: "No heat: the chamber probe rose faster than any element can heat. Look at its place and its lead.",
    START_NO_ANSWER: "No heat: the chamber probe did not answer the first heat. Look whether it hangs in the "
    "chamber, and whether the element warms up.",
    AJAR: "The door seems to have been open for eight minutes: close it, the meat cools.",
    ALONE: "Nobody has touched this batch for ten hours: look at the smoker and the meat.",
    LEFT_ALONE: "No heat: nobody has touched this batch for sixteen hours. Look at the meat.",
}


class Point(NamedTuple):
    """Five seconds: when, the chamber, the share of them in which the element was on, the coldest core if any."""

    at_s: float
    chamber_degC: float
    on: float
    coldest_degC: float | None = None


class Watch(NamedTuple):
    """The trail, when it was last disturbed, and how warm the chamber was before that."""

    trail: tuple[Point, ...] = ()
    disturbed_s: float = float("-inf")
    began_s: float | None = None
    open_s: float | None = None  # since when nothing has said that the door is shut
    open_low_degC: float = 0.0
    before_degC: float | None = None
    before_on: float = 1.0
    low_degC: float = 0.0
    stays_under: bool = False  # after a door: heated, and not coming back to where it was
    held_on: float | None = None  # the share of heat that held the chamber lately, and at what temperature
    held_degC: float = 0.0
    off_since_s: float | None = None  # the element is told off on purpose, to see whether the chamber turns


def most_duty(watch: Watch, at_s: float, chamber_degC: float) -> float:
    """Give the most duty (0..1) that may be asked for now.

    What fell suddenly may be the probe alone, with the air as hot as before: so until it is back there is hardly more
    heat than there was. A chamber that was cooled by its door comes back with that, too.
    """
    over = at_s - watch.disturbed_s > BOUND_S and not watch.stays_under
    if watch.before_degC is None or over or chamber_degC > watch.before_degC - DROP_KELVIN:
        return 1.0
    most = min(1.0, watch.before_on + BOUND_OVER)
    return most if chamber_degC >= watch.low_degC + TURNED_KELVIN else min(most, BOUND_LOW)


def look(
    watch: Watch, point: Point, disturbed: bool, element_watts: float | None, target_degC: float | None = None
) -> tuple[Watch, frozenset[str]]:
    """Take the newest five seconds; return the memory and the names of what is wrong now.

    ``disturbed`` is True while a door is open or was a moment ago. ``off_since_s`` of the memory asks for an off-pulse:
    the element told off, whatever the controller wants.
    """
    trail = watch.trail
    if not trail or point.at_s - trail[-1].at_s > TRAIL_GAP_S:
        watch, trail = Watch(disturbed_s=point.at_s), ()
    trail = (*trail[1 - TRAIL :], point)
    if disturbed:
        if watch.began_s is None:
            watch = watch._replace(
                began_s=point.at_s,
                before_degC=max(p.chamber_degC for p in trail[-24:]),
                before_on=_mean_on(trail),
                low_degC=point.chamber_degC,
                stays_under=False,
            )
        watch = _open(watch, point)._replace(disturbed_s=point.at_s)
    else:
        watch = watch._replace(began_s=None, open_s=None)
    watch = watch._replace(trail=trail, low_degC=min(watch.low_degC, point.chamber_degC))
    stays_under = watch.stays_under or _not_back(watch, point.at_s - watch.disturbed_s)
    watch = _pulse(_held(watch._replace(stays_under=stays_under), point), point, target_degC)
    return watch, frozenset(_wrong(watch, point, element_watts))


def _open(watch: Watch, point: Point) -> Watch:
    """Time how long the door stands open at a run: where the chamber rises it is shut, though it may open again."""
    if watch.open_s is None or point.chamber_degC >= watch.open_low_degC + SHUT_KELVIN:
        return watch._replace(open_s=point.at_s, open_low_degC=point.chamber_degC)
    return watch._replace(open_low_degC=min(watch.open_low_degC, point.chamber_degC))


def _held(watch: Watch, point: Point) -> Watch:
    quiet_s = point.at_s - watch.disturbed_s
    if quiet_s <= 0.0:
        return watch._replace(held_on=None)
    if quiet_s < HELD_S or _mean_on(watch.trail[-24:]) >= FULL:
        return watch
    if watch.held_on is None:
        return watch._replace(held_on=_mean_on(watch.trail), held_degC=point.chamber_degC)
    share = STEP_S / HELD_TAU_S
    return watch._replace(
        held_on=watch.held_on + share * (point.on - watch.held_on),
        held_degC=watch.held_degC + share * (point.chamber_degC - watch.held_degC),
    )


def _pulse(watch: Watch, point: Point, target_degC: float | None) -> Watch:
    """Begin an off-pulse where the chamber rises without cause, end it when the chamber has turned."""
    if target_degC is None or point.at_s - watch.disturbed_s < QUIET_S:
        return watch._replace(off_since_s=None)
    lift = _last(watch.trail, PULSE_LIFT_S)
    over = point.chamber_degC > target_degC + PULSE_OVER_KELVIN
    if lift is None or not over:
        return watch._replace(off_since_s=None)
    if watch.off_since_s is not None:
        over_long = point.at_s - watch.off_since_s >= PULSE_LONGEST_S
        return watch._replace(off_since_s=None) if over_long else watch
    rises = point.chamber_degC - lift[0].chamber_degC >= PULSE_LIFT_KELVIN
    idle = sum(p.on for p in lift[1:]) / len(lift[1:]) <= PULSE_ON
    return watch._replace(off_since_s=point.at_s) if rises and idle else watch


def rises_while_off(watch: Watch, at_s: float) -> bool:
    """Whether the chamber still rises at the end of an off-pulse: the relay did not open."""
    if watch.off_since_s is None or at_s - watch.off_since_s < PULSE_OFF_S:
        return False
    off = _last(watch.trail, PULSE_OFF_S - STEP_S)
    if off is None or any(point.on > 0.0 for point in off[1:]):
        return False
    return off[-1].chamber_degC > off[-1 - round(PULSE_JUDGED_S / STEP_S)].chamber_degC + PULSE_JUDGED_KELVIN


def look_empty(watch: Watch, point: Point) -> tuple[Watch, frozenset[str]]:
    """Take five seconds after the last chub is out: is the empty chamber still being heated?"""
    watch, _ = look(watch, point, False, None)
    off = _last(watch.trail, OFF_S)
    if off is None or point.chamber_degC < EMPTY_DEGC or any(p.on > 0.0 for p in off[1:]):
        return watch, frozenset()
    judged = off[-1 - round(OFF_FROM_S / STEP_S) :]
    rises = judged[-1].chamber_degC - judged[0].chamber_degC >= EMPTY_LIFT_KELVIN
    return watch, frozenset({WELDED}) if rises and point.at_s - watch.disturbed_s >= QUIET_S else frozenset()


def _mean_on(trail: tuple[Point, ...]) -> float:
    last = trail[-round(BEFORE_S / STEP_S) :]
    return sum(point.on for point in last) / len(last)


def _wrong(watch: Watch, point: Point, element_watts: float | None) -> list[str]:
    found = []
    quiet_s = point.at_s - watch.disturbed_s
    if quiet_s >= QUIET_S and _too_fast(watch.trail, element_watts):
        found.append(TOO_FAST)
    if quiet_s >= QUIET_S and (_welded(watch.trail) or rises_while_off(watch, point.at_s)):
        found.append(WELDED)
    lost = _not_back(watch, quiet_s) and not _answered(watch, point)
    if (quiet_s >= ON_S and _no_answer(watch.trail, quiet_s)) or _not_held(watch) or lost:
        found.append(NO_ANSWER)
    if watch.open_s is not None and point.at_s - watch.open_s >= AJAR_S:
        found.append(AJAR)
    return found


def _last(trail: tuple[Point, ...], seconds: float) -> tuple[Point, ...] | None:
    """The points of the last so many seconds, or None when the trail does not reach back."""
    count = round(seconds / STEP_S)
    if len(trail) <= count or trail[-1].at_s - trail[-1 - count].at_s > seconds + TRAIL_GAP_S:
        return None
    return trail[-1 - count :]


def _too_fast(trail: tuple[Point, ...], element_watts: float | None) -> bool:
    last = _last(trail, RISE_OVER_S)
    if last is None:
        return False
    limit = RISE_KELVIN_PER_S * max(1.0, (element_watts or RISE_WATTS) / RISE_WATTS)
    return last[-1].chamber_degC - last[0].chamber_degC > limit * (last[-1].at_s - last[0].at_s)


def _welded(trail: tuple[Point, ...]) -> bool:
    """Told off for three minutes, well over the meat, and not cooling."""
    off = _last(trail, OFF_S)
    if off is None or any(point.on > 0.0 for point in off[1:]):
        return False
    judged = off[-1 - round(OFF_FROM_S / STEP_S) :]
    coldest = off[-1].coldest_degC
    over = coldest is None or off[-1].chamber_degC >= coldest + OFF_OVER_MEAT_KELVIN
    over = over and off[-1].chamber_degC >= OFF_FROM_DEGC
    return over and judged[-1].chamber_degC > judged[0].chamber_degC - OFF_FALL_KELVIN


def _no_answer(trail: tuple[Point, ...], quiet_s: float) -> bool:
    """On all the time and yet falling, or on for ten minutes and not warmer than the meat."""
    on = _last(trail, ON_S)
    if on is None or any(point.on < FULL for point in on[1:]):
        return False
    if on[-1].chamber_degC < on[0].chamber_degC - ON_FALL_KELVIN:
        return True
    long, coldest = _last(trail, ON_COLD_S), on[-1].coldest_degC
    if long is None or coldest is None or quiet_s < ON_COLD_S or any(point.on < FULL for point in long[1:]):
        return False
    return on[-1].chamber_degC < coldest + ON_COLD_KELVIN


def _not_held(watch: Watch) -> bool:
    """All the heat there is, where less of it held the chamber a while ago, and no rise."""
    on = _last(watch.trail, HELD_S)
    if on is None or watch.held_on is None or watch.held_on > HELD_ON or any(point.on < FULL for point in on[1:]):
        return False
    now_degC = on[-1].chamber_degC
    return now_degC < watch.held_degC + HELD_KELVIN and now_degC - on[0].chamber_degC < HELD_RISE_KELVIN


def _not_back(watch: Watch, quiet_s: float) -> bool:
    """Fallen suddenly, then heated, and not coming back: what fell is the probe, or the door stands open."""
    heated = _last(watch.trail, BACK_S)
    if heated is None or watch.before_degC is None or quiet_s < BACK_S:
        return False
    now_degC = heated[-1].chamber_degC
    if now_degC > watch.before_degC - DROP_KELVIN or _mean_on(heated) < BACK_ON:
        return False
    return now_degC - heated[-1 - round(BACK_OVER_S / STEP_S)].chamber_degC < BACK_KELVIN


def _answered(watch: Watch, point: Point) -> bool:
    """Whether it made good so much of its fall that the probe hangs in the chamber. It may hang lower than before, so
    the heat stays bound (`most_duty`) until it is back."""
    before_degC = point.chamber_degC if watch.before_degC is None else watch.before_degC
    return point.chamber_degC - watch.low_degC >= BACK_SHARE * (before_degC - watch.low_degC)


# -- the start check: no heat goes on until the chamber channel, and only it, has answered a pulse

PULSE_MIN_S, PULSE_MAX_S = 60.0, 180.0  # a weak element under a full cold load takes the longer
PULSE_RISE_KELVIN = 2.0
CORE_RISE_KELVIN = 2.0  # in so short a time no core in its chub rises by more than half a kelvin
PULSE_UNDER_KELVIN = 2.0  # a chamber this near its target asks for no pulse
GIVE_UP_S = 1200.0  # a smoker that was hot from the start is never pulsed: no pulse in the middle of a batch
PASSED, PENDING = "passed", "pending"


class Start(NamedTuple):
    """The start check so far: since when, the readings that the pulse began with, and its seconds of heat."""

    began_s: float | None = None
    chamber_degC: float = 0.0
    core_degC: Mapping[int, float] = {}  # noqa: RUF012  never changed in place
    on_s: float = 0.0


def wants_pulse(chamber_degC: float, target_degC: float) -> bool:
    """Whether the chamber [degC] is far enough under its target [degC] for the pulse."""
    return chamber_degC < target_degC - PULSE_UNDER_KELVIN


def check_start(start: Start, point: Point, cores: Mapping[int, float]) -> tuple[Start, str | int]:
    """Take five seconds of the first heat; ``cores`` are readings by channel [degC].

    Returns the memory and ``PENDING``, ``PASSED``, ``START_NO_ANSWER``, or the channel of a core probe that answers as
    only the chamber's may.
    """
    if start.began_s is None:
        return Start(point.at_s, point.chamber_degC, dict(cores)), PENDING
    if point.on < FULL:  # no pulse: what rises now is warmed by the yard, or by a little heat for long
        if point.at_s - start.began_s >= GIVE_UP_S:
            return start, PASSED
        return Start(start.began_s, point.chamber_degC, dict(cores)), PENDING
    start = start._replace(on_s=start.on_s + STEP_S * point.on)
    rise = point.chamber_degC - start.chamber_degC
    for channel, core in cores.items():
        risen = core - start.core_degC.get(channel, core)
        if risen >= CORE_RISE_KELVIN and risen > 0.5 * rise:
            return start, channel
    if start.on_s >= PULSE_MIN_S and rise >= PULSE_RISE_KELVIN:
        return start, PASSED
    return start, START_NO_ANSWER if start.on_s >= PULSE_MAX_S else PENDING
