"""Measure a smoker by relay feedback: the duty is switched between two values about the target, and the swing tells.

K. J. Astrom, T. Hagglund, "Automatic tuning of simple regulators with specifications on phase and amplitude margins",
Automatica 20 (1984) 645-651. The describing function of a relay with hysteresis gives the ultimate gain from the
swing; it reads low by 11 to 19 % on processes with delay, so the tuning errs to the safe side. Pure: ``step`` maps
(settings, state, time, chamber, target) to a new state and a duty. Temperatures degC, differences kelvin, times s.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from fiftyover.control.controller import DERIVATIVE_S, ControllerSettings, settings_for, simc_pi

HYSTERESIS_KELVIN = 0.2  # several times the noise of a five-second mean
# Either side of the duty that holds the chamber, and a first guess of that one: as shares of 800 W.
SWING_WATTS, HOLD_WATTS = 200.0, 280.0
SWING_DUTY = (0.1, 0.3)
UNKNOWN_WATTS = 1300.0
NEAR_KELVIN = 1.0  # the test begins when the chamber is this near its target
CYCLES = 2  # measured, after one that is thrown away
LONGEST_S = 1200.0  # of swinging
AHEAD_S = 60.0  # it is near, too, when it will be in so long
STUCK_S = 300.0  # half a swing that lasts longer: the duty that holds the chamber lies elsewhere
STUCK_DUTY = 0.1
OVER_KELVIN = 6.0  # a swing this large is none: the test is given up
SMOOTH_S = 12.0
SPREAD = 0.35  # periods that differ by more than this share of their mean were disturbed
# A measured gain is taken only so far from the one by the element's power, and further where that is not known.
BOUNDS, BOUNDS_UNKNOWN = (0.5, 2.0), (0.5, 4.0)


class Measured(NamedTuple):
    """What a relay test found: ultimate gain [duty/K], period [s], swing of the chamber (half of it) [kelvin]."""

    gain: float
    period_s: float
    swing_kelvin: float


class Tune(NamedTuple):
    """A relay test under way; ``over`` names how it ended: "" not yet, "measured", or why it failed."""

    began_s: float | None = None
    swinging: bool = False
    arrived: bool = False  # over its target once, or no longer rising
    high: bool = True
    centre: float = 0.35
    reach: float = 0.25
    smooth_degC: float | None = None
    at_s: float = 0.0
    switched_s: float = 0.0
    crossed_s: tuple[float, ...] = ()  # each time the relay went on
    crest_kelvin: float = -math.inf  # of the running cycle: the most and the least over the target
    trough_kelvin: float = math.inf
    swings: tuple[float, ...] = ()  # half the swing of each whole cycle
    given: float = 0.0  # duty times seconds in the running cycle
    over: str = ""


def begin(element_watts: float | None) -> Tune:
    """Begin a test whose swing is about as large with any element.

    Parameters: ``element_watts`` [W] > 0 or None when not known. Returns: the state to begin with. Raises nothing.
    Source: our own simulation study (duty 0.05/0.55 at 800 W swings by 1.2 to 2.3 K).
    """
    watts = UNKNOWN_WATTS if element_watts is None else element_watts
    reach = min(SWING_DUTY[1], max(SWING_DUTY[0], SWING_WATTS / watts))
    return Tune(reach=reach, centre=_within(HOLD_WATTS / watts, reach))


def _within(centre: float, reach: float) -> float:
    return min(1.0 - reach, max(reach, centre))


def ultimate(swing_kelvin: float, swing_duty: float, hysteresis_kelvin: float = 0.0) -> float:
    """Give the ultimate gain [duty/K] from a limit cycle.

    Parameters: scalars; ``swing_kelvin`` amplitude of the chamber (half of peak to peak) > ``hysteresis_kelvin`` >= 0,
    ``swing_duty`` amplitude of the relay (half of high less low) > 0.
    Returns: 4 d / (pi sqrt(a^2 - e^2)). Raises ValueError if the swing lies within the hysteresis.
    Source: Astrom and Hagglund 1984, describing function of a relay with hysteresis.
    """
    if not (swing_duty > 0.0 and hysteresis_kelvin >= 0.0 and swing_kelvin > hysteresis_kelvin):
        raise ValueError(f"relay test: a swing of {swing_kelvin} K within {hysteresis_kelvin} K tells nothing.")
    return 4.0 * swing_duty / (math.pi * math.sqrt(swing_kelvin**2 - hysteresis_kelvin**2))


def limit_cycle(gain: float, lag_s: float, delay_s: float, swing_duty: float) -> tuple[float, float]:
    """Give the exact limit cycle of an ideal relay with k e^(-theta s) / (tau s + 1).

    Parameters: scalars; ``gain`` k [K per unit duty], ``lag_s`` tau [s], ``delay_s`` theta [s], ``swing_duty`` d, all
    > 0. Returns: (swing of the chamber a [K] = k d (1 - e^(-theta/tau)), period [s] = 2 tau ln(2 e^(theta/tau) - 1)).
    Raises ValueError if a value is not positive. Source: solution of the linear equation, see Astrom and Hagglund 1984.
    """
    if not (gain > 0.0 and lag_s > 0.0 and delay_s > 0.0 and swing_duty > 0.0):
        raise ValueError(
            f"limit cycle: gain {gain}, lag {lag_s} s, delay {delay_s} s and {swing_duty} must be positive."
        )
    return gain * swing_duty * -math.expm1(-delay_s / lag_s), 2.0 * lag_s * math.log(
        2.0 * math.exp(delay_s / lag_s) - 1.0
    )


def tuned(measured: Measured, relay: str, element_watts: float | None) -> ControllerSettings:
    """Give the controller's settings from what was measured.

    Parameters: ``measured`` by a test with this relay; ``relay`` and ``element_watts`` [W] as in `settings_for`.
    Returns: SIMC for the integrating process with delay that has this ultimate point (k' = 2 pi / (Pu Ku), theta =
    Pu / 4, of which the derivative takes half its time), the gain within bounds about the one by the element's power.
    Raises ValueError as `settings_for`, or if the ultimate point is not positive.
    Source: Skogestad, J. Process Control 13 (2003) 291-309; Astrom and Hagglund 1984.
    """
    if not (measured.gain > 0.0 and measured.period_s > 0.0):
        raise ValueError(f"ultimate gain {measured.gain} and period {measured.period_s} s must be positive.")
    usual = settings_for(relay, element_watts)
    slope = 2.0 * math.pi / (measured.period_s * measured.gain)
    delay_s = max(measured.period_s / 8.0, measured.period_s / 4.0 - DERIVATIVE_S / 2.0)
    gain, integral_s = simc_pi(slope, delay_s)
    low, high = BOUNDS if element_watts is not None else BOUNDS_UNKNOWN
    gain = min(high * usual.gain, max(low * usual.gain, gain))
    integral_s = min(2.0 * usual.integral_s, max(0.5 * usual.integral_s, integral_s))
    return replace(usual, gain=gain, integral_s=integral_s, tracking_s=integral_s / 2.0)


def step(tune: Tune, at_s: float, chamber_degC: float, target_degC: float, cap_degC: float) -> tuple[Tune, float]:
    """One decision of the test, every five seconds.

    Parameters: scalars; ``at_s`` monotonic seconds, ``chamber_degC``, ``target_degC``, ``cap_degC`` [degC].
    Returns: (new state, duty 0..1): full heat until the chamber is near its target, then the relay. When ``over`` is
    set the test has ended and the duty is the one that holds the chamber, as far as is known. Raises nothing.
    Source: Astrom and Hagglund 1984; the centre is moved to the mean duty so that both halves last alike.
    """
    if tune.over:
        return tune, tune.centre
    dt_s = 0.0 if tune.smooth_degC is None else at_s - tune.at_s
    smooth = chamber_degC
    if tune.smooth_degC is not None:
        smooth = tune.smooth_degC + (chamber_degC - tune.smooth_degC) * dt_s / (SMOOTH_S + dt_s)
    slope = (smooth - tune.smooth_degC) / dt_s if tune.smooth_degC is not None and dt_s > 0.0 else 0.0
    tune = tune._replace(smooth_degC=smooth, at_s=at_s)
    over_kelvin = smooth - target_degC
    failed = _failed(tune, over_kelvin, at_s, chamber_degC, cap_degC)
    if failed:
        return tune._replace(over=failed), tune.centre
    if not tune.swinging:
        if over_kelvin + AHEAD_S * max(0.0, slope) < -NEAR_KELVIN:
            return tune, 1.0
        return tune._replace(began_s=at_s, switched_s=at_s, swinging=True, high=False), tune.centre - tune.reach
    if not tune.arrived:
        if over_kelvin <= HYSTERESIS_KELVIN and slope > 0.0:
            return tune, tune.centre - tune.reach
        tune = tune._replace(arrived=True, switched_s=at_s)
    return _swing(tune, over_kelvin, at_s, dt_s)


def result(tune: Tune) -> Measured | None:
    """Read a test that is over.

    Parameters: ``tune``. Returns: the ultimate point, or None if it failed. Raises nothing.
    Source: Astrom and Hagglund 1984.
    """
    if tune.over != "measured":
        return None
    spans = [b - a for a, b in zip(tune.crossed_s[1:], tune.crossed_s[2:], strict=False)]
    swing = sum(tune.swings[1:]) / len(tune.swings[1:])
    return Measured(ultimate(swing, tune.reach, HYSTERESIS_KELVIN), sum(spans) / len(spans), swing)


def _failed(tune: Tune, over_kelvin: float, at_s: float, chamber_degC: float, cap_degC: float) -> str:
    if chamber_degC > cap_degC:
        return "at the limit"
    if tune.crossed_s and abs(over_kelvin) > OVER_KELVIN:
        return "the chamber swung too far"
    if tune.began_s is not None and at_s - tune.began_s > LONGEST_S:
        return "it took too long"
    return ""


def _swing(tune: Tune, over_kelvin: float, at_s: float, dt_s: float) -> tuple[Tune, float]:
    duty = tune.centre + (tune.reach if tune.high else -tune.reach)
    tune = tune._replace(
        crest_kelvin=max(tune.crest_kelvin, over_kelvin),
        trough_kelvin=min(tune.trough_kelvin, over_kelvin),
        given=tune.given + duty * dt_s,
    )
    if tune.high and over_kelvin > HYSTERESIS_KELVIN:
        tune = tune._replace(high=False, switched_s=at_s)
    elif not tune.high and over_kelvin < -HYSTERESIS_KELVIN:
        tune = _cycle(tune._replace(high=True, switched_s=at_s), at_s)
    elif at_s - tune.switched_s >= STUCK_S:
        centre = tune.centre + (STUCK_DUTY if tune.high else -STUCK_DUTY)
        tune = tune._replace(centre=_within(centre, tune.reach), switched_s=at_s, crossed_s=(), swings=())
    return tune, tune.centre + (tune.reach if tune.high else -tune.reach)


def _cycle(tune: Tune, at_s: float) -> Tune:
    """The relay goes on: a cycle ends here."""
    crossed = (*tune.crossed_s, at_s)
    if len(crossed) >= 2:
        span_s = crossed[-1] - crossed[-2]
        centre = tune.given / span_s if span_s > 0.0 else tune.centre
        tune = tune._replace(
            swings=(*tune.swings, (tune.crest_kelvin - tune.trough_kelvin) / 2.0),
            centre=_within(centre, tune.reach),
        )
    tune = tune._replace(crossed_s=crossed, crest_kelvin=-math.inf, trough_kelvin=math.inf, given=0.0)
    if len(tune.swings) < CYCLES + 1:
        return tune
    spans = [b - a for a, b in zip(crossed[1:], crossed[2:], strict=False)]
    mean = sum(spans) / len(spans)
    alike = max(spans) - min(spans) <= SPREAD * mean
    return tune._replace(over="measured" if alike else "the chamber was disturbed")
