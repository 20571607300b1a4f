"""The cooling clock: the published limits for a cooked core on its way down.

A clock starts when the core falls through the upper temperature of a leg and must stop before its time is over.
Whatever is doubtful counts against the batch: a core that re-warms through a limit has not passed it yet.
"""

from typing import Literal, NamedTuple, TypedDict

import numpy as np
from numpy.typing import ArrayLike

from fiftyover.errors import ProcessError
from fiftyover.process.curve import FloatArray, checked, first_fall_s, last_fall_s, longest_s
from fiftyover.process.domain import ROUNDING, between
from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference

LegState = Literal["waiting", "start missing", "running", "met", "failed"]
State = Literal["not started", "start missing", "running", "met", "failed"]


class Limit(NamedTuple):
    """From one temperature to a lower one within a time; `advised` ones are reported but do not decide."""

    from_degF: int
    to_degF: int
    max_s: float
    advised: bool = False


class Option(NamedTuple):
    """One published way to cool: its limits in order, what else it asks for, and where it was read."""

    limits: tuple[Limit, ...]
    not_judged: tuple[str, ...]
    source: str


class Leg(TypedDict):
    """How one limit fared; times are those of the record [s], None where it did not come to that."""

    name: str
    state: LegState
    advised: bool
    max_s: float
    start_s: float | None
    end_s: float | None
    took_s: float | None
    latest_s: float | None


class Detail(TypedDict):
    """The whole verdict: `failed` names the legs that missed their limit, and "re-warmed"."""

    option: str
    state: State
    failed: list[str]
    legs: list[Leg]
    rewarmed_kelvin: float
    not_judged: list[str]
    source: str


_HOUR_S = 3600.0
OPTIONS = {
    "1.5h+5h": Option(
        (Limit(130, 80, 1.5 * _HOUR_S), Limit(80, 40, 5.0 * _HOUR_S)),
        (),
        "FSIS Appendix B (1999), any cooked product; the 2021 text was not seen",
    ),
    "120-55": Option(
        (Limit(120, 55, 6.0 * _HOUR_S), Limit(120, 80, 1.0 * _HOUR_S, advised=True)),
        ("chilling begins within 90 min of the end of the cook", "cooling goes on to 40 °F before packing"),
        "FSIS Appendix B (1999), any cooked product; the 2021 text was not seen",
    ),
    "cured": Option(
        (Limit(130, 80, 5.0 * _HOUR_S), Limit(80, 45, 10.0 * _HOUR_S)),
        (
            "at least 100 ppm ingoing nitrite",
            "at least 250 ppm erythorbate or ascorbate (from memory: FSIS 2021, not seen)",
        ),
        "FSIS Appendix B (1999) as quoted by CFIA; another page prints 80 to 40 °F in the same 10 h",
    ),
}

# Our own judgement, not published: a record of a core in degC to one decimal may start this much under 130 degF;
# a refrigerator swings by this much; after the cooling, above 80 degF is no refrigerator or bloom any more.
_START_SLACK_KELVIN = 0.1
_SWING_KELVIN = kelvin_from_degF_difference(5.0)
_TOO_WARM_DEGF = 80
_LARGEST_ERROR_KELVIN = 10.0


def judge(times_s: ArrayLike, core_degC: ArrayLike, option: str, error_kelvin: float = 0.0) -> tuple[bool, Detail]:
    """Hold a core's curve against one published way to cool.

    Only what comes after the highest core counts, so a whole cook may be given. A leg starts at the *first* fall
    through its upper temperature and ends at the *last* fall through its lower one before the last temperature of
    the option is reached. Once that is reached, a re-warming is reported, and spoils the verdict if it passes
    80 degF or lasts longer than the last leg may (our own rule, on the strict side).

    Parameters
    ----------
    times_s : array_like, shape (n,)
        Times [s], strictly increasing.
    core_degC : array_like, shape (n,)
        Core of the warmest chub [degC].
    option : {'1.5h+5h', '120-55', 'cured'}
        130 to 80 degF in 1.5 h, then to 40 degF in 5 h; 120 to 55 degF in 6 h; 130 to 80 degF in 5 h, then to
        45 degF in 10 h. 'cured' is only for batches whose nitrite and erythorbate were shown: not judged here.
    error_kelvin : float
        Error of the thermometer [K], 0..10: clocks start that much warmer and stop that much colder.

    Returns
    -------
    met : bool
        True only if the curve shows every limit kept. False also means not yet, or that the record begins
        below the upper temperature, so that the start of the clock is not known.
    detail : Detail
        'state' tells these apart; 'failed' names what was missed; 'legs' has each leg's start, end, time taken and
        latest end [s]; 'rewarmed_kelvin' the largest rise since the clock started; 'not_judged' what else is asked.

    Raises
    ------
    ProcessError
        No such option, a curve that is none (see `curve.checked`), or an error outside its range.

    References
    ----------
    FSIS Compliance Guideline Appendix B (1999), as given in its forum, university and CFIA copies; what the 2021
    revision (FSIS-GD-2021-13) changed is from memory.
    """
    if option not in OPTIONS:
        raise ProcessError(f"There is no way to cool called {option!r}: use one of {', '.join(OPTIONS)}.")
    chosen = OPTIONS[option]
    error = between("Thermometer error", error_kelvin, 0.0, _LARGEST_ERROR_KELVIN, "K")
    times, core = _since_highest(*checked(times_s, core_degC))
    deciding = [limit for limit in chosen.limits if not limit.advised]
    foot_degC = degC_from_degF(deciding[-1].to_degF) - error
    foot_s = first_fall_s(times, core, foot_degC)
    cut = _until(times, core, foot_s, foot_degC)
    # Only a leg that begins its option can lack its start: to any other the leg before it led.
    legs = [_leg(*cut, limit, error, begins=limit.advised or limit is deciding[0]) for limit in chosen.limits]
    failed = [leg["name"] for leg in legs if leg["state"] == "failed" and not leg["advised"]]
    if foot_s is not None and _spoiled(times, core, foot_s, foot_degC, deciding[-1].max_s, error):
        failed.append("re-warmed")
    state = _state([leg["state"] for leg in legs if not leg["advised"]], failed)
    detail: Detail = {
        "option": option,
        "state": state,
        "failed": failed,
        "legs": legs,
        "rewarmed_kelvin": _rise_kelvin(times, core, legs[0]["start_s"]),
        "not_judged": list(chosen.not_judged),
        "source": chosen.source,
    }
    return state == "met", detail


def _since_highest(times: FloatArray, core: FloatArray) -> tuple[FloatArray, FloatArray]:
    if core.size == 0:
        return times, core
    last_highest = core.size - 1 - int(np.argmax(core[::-1]))
    return times[last_highest:], core[last_highest:]


def _until(
    times: FloatArray, core: FloatArray, foot_s: float | None, foot_degC: float
) -> tuple[FloatArray, FloatArray]:
    """Cut the record where the last temperature is first reached, which may lie between two samples."""
    if foot_s is None:
        return times, core
    before = times < foot_s
    return np.append(times[before], foot_s), np.append(core[before], foot_degC)


def _leg(times: FloatArray, core: FloatArray, limit: Limit, error: float, *, begins: bool) -> Leg:
    from_degC = degC_from_degF(limit.from_degF) + error
    start_s = first_fall_s(times, core, from_degC)
    end_s = last_fall_s(times, core, degC_from_degF(limit.to_degF) - error)
    took_s = None if start_s is None else (float(times[-1]) if end_s is None else end_s) - start_s
    is_missing = begins and core.size > 0 and bool(core[0] < from_degC - _START_SLACK_KELVIN)
    return {
        "name": f"{limit.from_degF}-{limit.to_degF}",
        "state": _leg_state(took_s, limit.max_s, is_over=end_s is not None, is_missing=is_missing),
        "advised": limit.advised,
        "max_s": limit.max_s,
        "start_s": start_s,
        "end_s": end_s,
        "took_s": took_s,
        "latest_s": None if start_s is None else start_s + limit.max_s,
    }


def _leg_state(took_s: float | None, max_s: float, *, is_over: bool, is_missing: bool) -> LegState:
    if took_s is None:
        return "waiting"
    if took_s > max_s + ROUNDING:
        return "failed"
    if is_missing:
        return "start missing"
    return "met" if is_over else "running"


def _state(states: list[LegState], failed: list[str]) -> State:
    if failed:
        return "failed"
    if "start missing" in states:
        return "start missing"
    if all(state == "met" for state in states):
        return "met"
    return "not started" if states[0] == "waiting" else "running"


def _spoiled(times: FloatArray, core: FloatArray, foot_s: float, foot_degC: float, max_s: float, error: float) -> bool:
    after = times >= foot_s
    times, core = times[after], core[after]
    if core.size == 0:
        return False
    warm = core > foot_degC + _SWING_KELVIN
    return bool(np.max(core) + error > degC_from_degF(_TOO_WARM_DEGF)) or longest_s(times, warm[:-1] & warm[1:]) > max_s


def _rise_kelvin(times: FloatArray, core: FloatArray, start_s: float | None) -> float:
    if start_s is None:
        return 0.0
    since = core[times >= start_s]
    return float(np.max(since - np.minimum.accumulate(since))) if since.size else 0.0
