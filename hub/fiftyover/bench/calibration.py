"""Calibration of a kit: pure maths, no board and no files.

Two steps, in this order (bent the other way round, a probe's curve hides the converter's error and moves it elsewhere):

1. the converter: two known resistors in the probe's place -> offset and gain, `fit_converter`;
2. each probe: ice and boiling water -> ln R_curve = a + b ln R, `fit_probe`.

The first goes into settings.json as `converter`; `settings_curve` folds the second, and what a converter's own input
takes from the divider, into the curve's form `maker` there. A ratio is the share of the divider's supply, 0..1,
thermistor to ground.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, isfinite, log

import numpy as np
from numpy.polynomial import Polynomial

from fiftyover.errors import HubError
from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.units import ZERO_DEGC_KELVIN

ICE_DEGC = 0.0  # crushed ice and its water, air about
USE_FROM_DEGC, USE_TO_DEGC = 20.0, 100.0  # where a probe must be right
CURVE_FROM_DEGC, CURVE_TO_DEGC = -10.0, 130.0  # where a folded curve is fitted
CONVERTER_OFF_MAX_RATIO = 0.01  # twice the worst raw error seen of on-chip converters (20 of 4096 steps)
KNOWN_APART_MIN_RATIO = 0.3
BATHS_APART_MIN_KELVIN = 60.0
HOT_BATH_MIN_DEGC = 85.0  # water boils at 88 °C at 3500 m; above it the curve is trusted for 15 K
BATH_OFF_KELVIN = 0.3  # what a careful bath may be off: ice, and boiling water by station pressure
BATH_OFF_BY_ALTITUDE_KELVIN = 0.8  # boiling water by altitude alone: the weather
THIRD_BATH_OFF_KELVIN = 0.3  # a bath that the fit through all of them misses by more is not right
CURVE_OFF_MAX_KELVIN = 0.02
_T25_KELVIN = 25 + ZERO_DEGC_KELVIN


class CalibrationError(HubError):
    """Readings that give no calibration; `str()` is one sentence: what, where, what to do."""


@dataclass(frozen=True)
class ConverterFit:
    """True ratio = `gain` x read ratio + `offset_ratio`."""

    gain: float = 1.0
    offset_ratio: float = 0.0

    @property
    def setting(self) -> dict[str, int]:
        """`converter` of settings.json, in millionths."""
        return {"gain_ppm": round((self.gain - 1) * 1e6), "offset_ppm": round(self.offset_ratio * 1e6)}

    def true(self, read_ratio: float) -> float:
        """The share of the supply that is really there."""
        return self.gain * read_ratio + self.offset_ratio


@dataclass(frozen=True)
class ProbeFit:
    """ln R_curve = `a` + `b` ln R. `verdict` is "tolerance" or "wrong curve"; `off_kelvin`: each bath, before."""

    a: float
    b: float
    verdict: str
    off_kelvin: tuple[float, ...]


@dataclass(frozen=True)
class Tolerance:
    """What the parts list allows a probe, shares of R25 and of beta; and what a bath may be off."""

    r25: float = 0.01
    beta: float = 0.01
    bath_kelvin: float = BATH_OFF_KELVIN


def known_ratio(ohm: float, series_ohm: float, input_ohm: float = inf) -> float:
    """Ratio 0..1 of `ohm` behind `series_ohm`, into a converter of `input_ohm` (common-mode input impedance)."""
    return 1 / (1 + series_ohm / ohm + series_ohm / input_ohm)


def fit_converter(known: Sequence[tuple[float, float]], series_ohm: float, input_ohm: float = inf) -> ConverterFit:
    """Offset and gain from two (ohm stated, ratio read) in one probe's place behind `series_ohm` [ohm].

    CalibrationError if there are not two, they lie too close, or one reads so far off that it is not what it says.
    """
    if len(known) != 2:
        raise CalibrationError(f"The converter needs two known resistors, there are {len(known)} readings; do both.")
    for ohm, ratio in known:
        if not (isfinite(ohm) and ohm > 0 and 0 < ratio < 1):
            raise CalibrationError(f"Resistor {ohm:g} ohm: no reading ({ratio:.3f} of the supply); is it plugged in?")
        if abs(ratio - known_ratio(ohm, series_ohm, input_ohm)) > CONVERTER_OFF_MAX_RATIO:
            seen = thermistor.ohms_from_ratio(ratio, series_ohm)
            raise CalibrationError(
                f"The resistor that should be {ohm:g} ohm reads as {seen:.0f} ohm; measure it, and the series "
                "resistor, with a meter, and tell what they really are."
            )
    (low, low_read), (high, high_read) = sorted(known)
    low_true, high_true = known_ratio(low, series_ohm, input_ohm), known_ratio(high, series_ohm, input_ohm)
    if high_true - low_true < KNOWN_APART_MIN_RATIO:
        raise CalibrationError(
            f"{low:g} and {high:g} ohm lie too close for a gain; take about a third and three times {series_ohm:g} ohm."
        )
    gain = (high_true - low_true) / (high_read - low_read)
    return ConverterFit(gain, low_true - gain * low_read)


def ohm_behind(read_ratio: float, series_ohm: float, converter: ConverterFit, input_ohm: float = inf) -> float:
    """Resistance [ohm] of the probe itself, of a read ratio. CalibrationError if the probe is open or shorted."""
    true = converter.true(read_ratio)
    share = 1 / true - 1 - series_ohm / input_ohm if true > 0 else 0.0
    if not 0 < true < 1 or not share > 0:
        raise CalibrationError(
            f"The probe reads {true:.3f} of the supply: unplugged or shorted; plug it in and repeat."
        )
    return series_ohm / share


def boiling_at_altitude_degC(altitude_m: float) -> float:
    """Boiling point of water [°C] at `altitude_m` above sea on a standard day; good to 0.8 °C in any weather.

    Source: fit (0.0004 °C) to the US Standard Atmosphere 1976 and IAPWS-IF97; tested against both. CalibrationError
    outside -100..3500 m.
    """
    if not -100 <= altitude_m <= 3500:
        raise CalibrationError(f"Altitude {altitude_m:g} m is outside -100 to 3500; give the station pressure instead.")
    return 99.9739 - 3.32059e-3 * altitude_m - 3.910e-9 * altitude_m**2


def boiling_at_pressure_degC(station_hPa: float) -> float:
    """Boiling point of water [°C] at the station pressure (a barometer's on the spot, not reduced to sea level).

    Source: fit (6e-5 °C) to IAPWS-IF97; tested against `iapws`. CalibrationError outside 650..1060 hPa.
    """
    if not 650 <= station_hPa <= 1060:
        raise CalibrationError(f"{station_hPa:g} hPa is no station pressure (650 to 1060); read the barometer again.")
    u = log(station_hPa / 1013.25)
    return 1 / (2.6800721e-3 - 2.012409e-4 * u - 2.164e-6 * u * u) - ZERO_DEGC_KELVIN


def check_baths(baths: Sequence[tuple[float, float]], least: int) -> list[tuple[float, float]]:
    """The (degC, ohm) pairs in ascending degC.

    CalibrationError if they are too few, too close, not on both sides of the use, or ohms do not fall.
    """
    if len(baths) < least:
        raise CalibrationError(
            f"{least} baths are needed, there are {len(baths)}; one alone can make the hot end worse."
        )
    rows = sorted(baths)
    cold, hot = rows[0][0], rows[-1][0]
    if hot - cold < BATHS_APART_MIN_KELVIN:
        raise CalibrationError(
            f"The baths lie {hot - cold:.0f} K apart, under {BATHS_APART_MIN_KELVIN:.0f}; use ice and boiling water."
        )
    if cold > USE_FROM_DEGC or hot < HOT_BATH_MIN_DEGC:
        raise CalibrationError(
            f"Baths of {cold:.0f} to {hot:.0f} °C do not stand on both sides of the use ({USE_FROM_DEGC:.0f} to "
            f"{USE_TO_DEGC:.0f} °C); use ice and boiling water."
        )
    for (colder, more), (hotter, less) in zip(rows, rows[1:], strict=False):
        if not (more > less > 0 and hotter > colder):
            raise CalibrationError(
                f"The probe has {more:.0f} ohm at {colder:.1f} °C and {less:.0f} at {hotter:.1f} °C: it must fall; "
                "were the baths swapped, or the probe not in them?"
            )
    return rows


def fit_probe(
    curve: thermistor.Curve, baths: Sequence[tuple[float, float]], tolerance: Tolerance | None = None
) -> ProbeFit:
    """ln R_curve = a + b ln R through two or more baths (degC, ohm of the probe itself: `ohm_behind`).

    The verdict is "wrong curve" if at some bath the probe lies further off the curve than `tolerance` can explain
    (give it bath_kelvin=0.8 if boiling is by altitude alone). CalibrationError as `check_baths`, or if a bath lies off
    the fit through all.
    """
    rows = check_baths(baths, least=2)
    allowed = tolerance or Tolerance()
    try:
        wanted = [log(curve.ohms(degC)) for degC, _ in rows]
        off = tuple(curve.degC(ohm) - degC for degC, ohm in rows)
    except ContractError as error:
        raise CalibrationError(f"This curve cannot be this probe's: {error}") from error
    measured = [log(ohm) for _, ohm in rows]
    b, a = (float(number) for number in np.polyfit(measured, wanted, 1))
    for (degC, _), has in zip(rows, measured, strict=True):
        missed = curve.degC(exp(a + b * has)) - degC
        if abs(missed) > THIRD_BATH_OFF_KELVIN:
            raise CalibrationError(
                f"The bath of {degC:.1f} °C lies {abs(missed):.1f} K off what the others say; "
                "repeat it, stirred and waited for."
            )
    explained = all(
        abs(has - wants) <= _explained(curve, degC, allowed)
        for (degC, _), has, wants in zip(rows, measured, wanted, strict=True)
    )
    return ProbeFit(a, b, "tolerance" if explained else "wrong curve", off)


def _explained(curve: thermistor.Curve, degC: float, allowed: Tolerance) -> float:
    """How far ln R may lie off the curve at a bath: R25, beta and the bath's own error together."""
    kelvin = degC + ZERO_DEGC_KELVIN
    per_kelvin = log(curve.ohms(degC - 0.5) / curve.ohms(degC + 0.5))
    beta_kelvin = abs(log(curve.ohms(25) / curve.ohms(85))) / (1 / _T25_KELVIN - 1 / (85 + ZERO_DEGC_KELVIN))
    by_beta = allowed.beta * beta_kelvin * abs(1 / kelvin - 1 / _T25_KELVIN)
    return allowed.r25 + by_beta + allowed.bath_kelvin * per_kelvin


def settings_curve(
    curve: thermistor.Curve,
    series_ohm: float,
    probe: ProbeFit | None = None,
    input_ohm: float = inf,
) -> list[float]:
    """[R25, A1, B1, C1, D1] for `{"maker": ...}` in settings.json: the curve with the probe's correction folded in.

    So is what a converter of `input_ohm` takes from the divider. CalibrationError if the form cannot hold it within
    0.02 K over -10..130 °C.
    """
    fit = probe or ProbeFit(0.0, 1.0, "tolerance", ())
    temperatures = np.arange(CURVE_FROM_DEGC, CURVE_TO_DEGC + 1, 5.0)
    seen = []
    for degC in temperatures:
        own = exp((log(curve.ohms(float(degC))) - fit.a) / fit.b)
        ratio = known_ratio(own, series_ohm, input_ohm)
        seen.append(log(thermistor.ohms_from_ratio(ratio, series_ohm)))
    numbers = maker_through(seen, temperatures)
    bent = thermistor.from_maker(*numbers)
    worst = max(abs(bent.degC(exp(x)) - float(degC)) for x, degC in zip(seen, temperatures, strict=True))
    if worst > CURVE_OFF_MAX_KELVIN:
        raise CalibrationError(f"The corrected curve misses by {worst:.3f} K; calibrate again, a reading is far off.")
    return numbers


def maker_through(ln_ohm: Sequence[float], degC: Sequence[float] | np.ndarray) -> list[float]:
    """[R25, A1, B1, C1, D1], least squares through rows of ln(ohm) and °C that span 25 °C; x = ln(R/R25)."""
    y = 1 / (np.asarray(degC, dtype=float) + ZERO_DEGC_KELVIN)
    middle = float(np.interp(1 / _T25_KELVIN, y[::-1], np.asarray(ln_ohm)[::-1]))
    fitted = Polynomial.fit(np.asarray(ln_ohm) - middle, y, 3, domain=[-1, 1])
    roots = (fitted - 1 / _T25_KELVIN).roots()
    shift = float(min((root.real for root in roots if abs(root.imag) < 1e-9), key=abs))
    at25 = fitted(Polynomial([shift, 1.0]))
    return [exp(middle + shift), *(float(number) for number in at25.coef)]
