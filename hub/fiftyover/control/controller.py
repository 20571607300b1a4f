"""PI + D for the chamber: derivative on the measurement, back-calculation anti-windup, bumpless hand-over.

Pure: ``step`` maps (settings, state, time, chamber, target) to (state, duty). ``Controller`` only holds the state.

Tuning is SIMC for an integrating process with delay (S. Skogestad, J. Process Control 13 (2003) 291-309):
Kc = 1/(k' (tau_c + theta)), tau_I = 4 (tau_c + theta), tight choice tau_c = theta. k' = 0.134 K/s per unit duty at
800 W and an apparent delay of 35 s come from our own step tests on a simulated cabinet; its time constant (740 s) is
long against them, so the integrating form holds. The derivative takes the second lag (about 30 s, the probe), which
leaves 20 s of delay; to that half the relay's period is added. Over ten random simulated cabinets this was the best
of the tunings tried, and a third more gain changed little.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

SLOPE_PER_WATT = 0.134 / 800.0  # K/s per unit duty and watt, simulated cabinet
DELAY_S = 20.0  # what the derivative leaves of the delay, without the relay
PERIOD_S = {"solid-state": 30.0, "mechanical": 60.0}  # the relay code's time-proportioning period
DERIVATIVE_S = 30.0
FILTER_S = 12.0
UNKNOWN_WATTS = 1500.0  # unknown element: a strong one is assumed, so the gain errs small
NOMINAL_S = 5.0


def simc_pi(slope: float, delay_s: float, closed_s: float | None = None) -> tuple[float, float]:
    """Tune a PI controller by SIMC for k' e^(-theta s) / s.

    Parameters: scalars; ``slope`` k' [K/s per unit duty] > 0, ``delay_s`` theta [s] > 0, ``closed_s`` wished
    closed-loop time constant [s], default theta (the tight choice).
    Returns: (Kc [duty/K], tau_I [s]). Raises ValueError if a value is not positive.
    Source: Skogestad 2003, eqs. for integrating processes.
    """
    closed_s = delay_s if closed_s is None else closed_s
    if not (slope > 0.0 and delay_s > 0.0 and closed_s >= 0.0):
        raise ValueError(f"SIMC tuning: slope {slope} and delay {delay_s} s must be positive. Measure the step again.")
    return 1.0 / (slope * (closed_s + delay_s)), 4.0 * (closed_s + delay_s)


def simc_first_order(gain: float, lag_s: float, delay_s: float, closed_s: float | None = None) -> tuple[float, float]:
    """Tune a PI controller by SIMC for k e^(-theta s) / (tau1 s + 1).

    Parameters: scalars; ``gain`` k [K per unit duty] > 0, ``lag_s`` tau1 [s] > 0, ``delay_s`` theta [s] > 0,
    ``closed_s`` wished closed-loop time constant [s], default theta.
    Returns: (Kc [duty/K], tau_I [s] = min(tau1, 4 (tau_c + theta))). Raises ValueError if a value is not positive.
    Source: Skogestad 2003.
    """
    closed_s = delay_s if closed_s is None else closed_s
    if not (gain > 0.0 and lag_s > 0.0 and delay_s > 0.0 and closed_s >= 0.0):
        raise ValueError(f"SIMC tuning: gain {gain}, lag {lag_s} s and delay {delay_s} s must be positive.")
    total_s = closed_s + delay_s
    return lag_s / (gain * total_s), min(lag_s, 4.0 * total_s)


def half_rule(lags_s: list[float], inverse_s: list[float], keep: int = 1) -> tuple[list[float], float]:
    """Reduce a chain of lags to ``keep`` lags and a delay by the half rule.

    Parameters: ``lags_s`` time constants [s], any length, any order; ``inverse_s`` numerator constants [s] of inverse
    responses (-T s + 1), given positive; ``keep`` how many lags stay (1 for PI, 2 for PID).
    Returns: (kept lags [s] in falling order, delay [s]): half of the largest neglected lag goes to the last kept lag
    and half to the delay, smaller lags and inverse responses go to the delay.
    Raises ValueError if there are not enough lags. Source: Skogestad 2003.
    """
    lags = sorted(lags_s, reverse=True)
    if keep < 1 or len(lags) < keep:
        raise ValueError(f"half rule: {len(lags)} lags cannot be reduced to {keep}.")
    kept, rest = lags[:keep], lags[keep:]
    delay_s = sum(inverse_s)
    if rest:
        kept[-1] += rest[0] / 2.0
        delay_s += rest[0] / 2.0 + sum(rest[1:])
    return kept, delay_s


@dataclass(frozen=True, slots=True)
class ControllerSettings:
    """Tuning of one chamber: gain [duty/K], integral, derivative, filter and tracking times [s]."""

    gain: float
    integral_s: float
    derivative_s: float
    filter_s: float
    tracking_s: float
    nominal_s: float = NOMINAL_S


@dataclass(frozen=True, slots=True)
class ControllerState:
    """What the controller remembers: integral part [duty], chamber slope [K/s], last time [s], chamber [degC], duty."""

    integral: float = 0.0
    slope: float = 0.0
    at_s: float | None = None
    chamber_degC: float = 0.0
    duty: float = 0.0


def settings_for(relay: str, element_watts: float | None) -> ControllerSettings:
    """Give the tuning for a relay and an element.

    Parameters: ``relay`` "mechanical" or "solid-state"; ``element_watts`` [W] > 0 or None when not known.
    Returns: ControllerSettings. Raises ValueError for another relay word or a power that is not positive.
    Source: SIMC (see the module) on our own simulated step tests.
    """
    if relay not in PERIOD_S:
        raise ValueError(f"relay {relay!r}: must be one of {', '.join(sorted(PERIOD_S))}.")
    watts = UNKNOWN_WATTS if element_watts is None else element_watts
    if not (watts > 0.0 and math.isfinite(watts)):
        raise ValueError(f"element power {watts} W: must be a positive number of watts.")
    gain, integral_s = simc_pi(SLOPE_PER_WATT * watts, DELAY_S + PERIOD_S[relay] / 2.0)
    return ControllerSettings(gain, integral_s, DERIVATIVE_S, FILTER_S, integral_s / 2.0)


def step(
    settings: ControllerSettings,
    state: ControllerState,
    at_s: float,
    chamber_degC: float,
    target_degC: float,
    hold_duty: float | None = None,
    ceiling: float = 1.0,
) -> tuple[ControllerState, float]:
    """One decision of the controller.

    Parameters: scalars; ``at_s`` monotonic seconds, ``chamber_degC`` and ``target_degC`` [degC], ``hold_duty`` 0..1 or
    None: with it the integral is frozen and this duty is given (a door is open); ``ceiling`` 0..1 bounds the duty and
    unwinds the integral like full power does (0 at the limit).
    Returns: (new state, duty 0..1). A step whose time since the last is outside 0.2..3 nominal intervals neither
    integrates nor differentiates. Raises nothing. Source: SIMC tuning, back-calculation (see the module).
    """
    dt_s = 0.0 if state.at_s is None else at_s - state.at_s
    sane = 0.2 * settings.nominal_s <= dt_s <= 3.0 * settings.nominal_s
    slope = 0.0
    if sane:
        raw = (chamber_degC - state.chamber_degC) / dt_s
        slope = state.slope + (raw - state.slope) * dt_s / (settings.filter_s + dt_s)
    error_kelvin = target_degC - chamber_degC
    fast = settings.gain * (error_kelvin - settings.derivative_s * slope)
    integral = state.integral
    if hold_duty is not None:
        duty = min(1.0, max(0.0, hold_duty))
        return ControllerState(integral, slope, at_s, chamber_degC, duty), duty
    wanted = fast + integral
    duty = min(ceiling, max(0.0, wanted))
    if sane:
        integral += dt_s * (settings.gain * error_kelvin / settings.integral_s + (duty - wanted) / settings.tracking_s)
    return ControllerState(integral, slope, at_s, chamber_degC, duty), duty


def unheated(
    settings: ControllerSettings, state: ControllerState, integral: float, target_degC: float, dt_s: float
) -> ControllerState:
    """Correct the memory after a step whose duty did not run: the permits had run out, nothing heated.

    Parameters: ``state`` after ``step``; ``integral`` [duty] before it; ``target_degC`` [degC]; ``dt_s`` [s] unheated.
    Returns: the state whose integral goes towards the output 0 that ran, so that the recovery does not overshoot.
    Raises nothing. Source: back-calculation from the actuator's true output (Astrom, Hagglund, Advanced PID Control).
    """
    fast = settings.gain * (target_degC - state.chamber_degC - settings.derivative_s * state.slope)
    share = min(1.0, max(0.0, dt_s) / settings.tracking_s)
    return replace(state, integral=integral - (fast + integral) * share)


def hand_over(
    settings: ControllerSettings,
    state: ControllerState,
    at_s: float,
    chamber_degC: float,
    target_degC: float,
    duty: float,
) -> ControllerState:
    """Take over from another source of duty without a jump.

    Parameters: scalars; ``duty`` 0..1 is what ran until now; the rest as in ``step``.
    Returns: a state whose next output at the same chamber and target is ``duty``. Raises nothing.
    Source: conditioned transfer, I = u - Kc e (Peng, Vrancic, Hanus, IEEE Control Systems 1996).
    """
    fast = settings.gain * (target_degC - chamber_degC - settings.derivative_s * state.slope)
    return replace(state, integral=duty - fast, at_s=at_s, chamber_degC=chamber_degC, duty=duty)


class Controller:
    """The controller with its memory, for who wants an object: ``step`` every 5 s gives the duty 0..1."""

    def __init__(self, settings: ControllerSettings) -> None:
        self.settings = settings
        self.state = ControllerState()

    def step(self, at_s: float, chamber_degC: float, target_degC: float, hold_duty: float | None = None) -> float:
        """Give the duty 0..1 for this decision; parameters, units and errors as in the function ``step``."""
        self.state, duty = step(self.settings, self.state, at_s, chamber_degC, target_degC, hold_duty)
        return duty

    def hand_over(self, at_s: float, chamber_degC: float, target_degC: float, duty: float) -> None:
        """Take over from ``duty`` 0..1 without a jump; as in the function ``hand_over``."""
        self.state = hand_over(self.settings, self.state, at_s, chamber_degC, target_degC, duty)
