"""What a number may be: each check names the quantity, the value and what was probably meant."""

import math

from fiftyover.errors import ProcessError

# Two routes to one temperature (x 5/9, / 1.8) differ in the last bit; no limit may turn on that.
ROUNDING = 1e-9


def number(name: str, value: float, unit: str = "") -> float:
    """Return ``value`` as a finite float.

    Parameters
    ----------
    name : str
        What the person calls the quantity.
    value : float
        Any real number [unit].
    unit : str
        Unit for the message.

    Raises
    ------
    ProcessError
        ``value`` is NaN, infinite or no number.
    """
    try:
        result = float(value)
    except (TypeError, ValueError):
        raise ProcessError(f"{name} is {value!r}: a number{_in(unit)} is needed.") from None
    if not math.isfinite(result):
        raise ProcessError(f"{name} is {value!r}: a finite number{_in(unit)} is needed.")
    return result


def positive(name: str, value: float, unit: str) -> float:
    """Return ``value`` [unit] as a float above 0; ProcessError otherwise."""
    result = number(name, value, unit)
    if result <= 0.0:
        raise ProcessError(f"{name} is {result:g} {unit}: it must be above 0.")
    return result


def not_negative(name: str, value: float, unit: str) -> float:
    """Return ``value`` [unit] as a float of 0 or more; ProcessError otherwise."""
    result = number(name, value, unit)
    if result < 0.0:
        raise ProcessError(f"{name} is {result:g} {unit}: it cannot be below 0.")
    return result


def between(name: str, value: float, low: float, high: float, unit: str, hint: str = "") -> float:
    """Return ``value`` [unit] as a float within low..high [unit]; ProcessError, with ``hint`` added, otherwise."""
    result = number(name, value, unit)
    if not low <= result <= high:
        raise ProcessError(f"{name} is {result:g} {unit}: it must lie in {low:g}..{high:g} {unit}.{_said(hint)}")
    return result


def fraction(name: str, value: float) -> float:
    """Return ``value`` as a float of 0..1; ProcessError otherwise, asking whether a percent was typed."""
    result = number(name, value)
    if result > 1.0:
        raise ProcessError(
            f"{name} is {result:g}: percent typed for fraction? {result:g} % is {result / 100.0:g} as a fraction."
        )
    if result < 0.0:
        raise ProcessError(f"{name} is {result:g}: a fraction lies in 0..1.")
    return result


def _in(unit: str) -> str:
    return f" in {unit}" if unit else ""


def _said(hint: str) -> str:
    return f" {hint}" if hint else ""
