"""Thermistors (NTC): ohms <-> °C, and the divider that turns ohms into ADC counts.

All curves are one form, y = 1/T = a + b x + c x² + d x³ with x = ln(R / R_ref) and T in kelvin:

    from_points, from_coefficients   Steinhart-Hart, 3-term: R_ref = 1 ohm, c = 0
    from_maker                       a maker's published inverse, A1..D1: R_ref = R25
    from_beta                        R_ref = R25, c = d = 0 (0.3..0.6 °C off over 20..100 °C: for a first look only)

Sources: Steinhart and Hart, "Calibration curves for thermistors", Deep-Sea Research 15 (1968) 497-503; the 4-term form
as in Vishay's NTCLE100E3 data sheet (document 29049); the closed inverse is Cardano's. Every curve is refused by name
unless it falls, and like a thermistor, all over -10..150 °C. Good to 0.001 °C in single precision, both ways.
"""

from math import exp, log, sqrt

from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.limits import RANGE_MAX_DEGC, RANGE_MIN_DEGC, RATIO_OPEN, RATIO_SHORT
from fiftyover_kit.contract.units import ZERO_DEGC_KELVIN

FALLS_FROM_DEGC = -10.0
FALLS_TO_DEGC = 150.0
R25_MIN_OHM = 10.0  # outside these no temperature probe is made (common practice): the coefficients are of another form
R25_MAX_OHM = 1e8
BETA_MIN_KELVIN = 1000.0  # of the whole or anywhere on it; published parts lie at 2000..5600 (makers' tables)
BETA_MAX_KELVIN = 10000.0
READ_FULL_SCALE = 65535  # of one `read_u16`
_STEP = 0.125  # of x: about 3 K
_FAR = 25.0  # of x: no thermistor's resistance spans so many e-folds
_NEAR = 1e-9  # of x; single precision never gets so near and stops by count
_THIRD = 1 / 3
_CLOSED_MAX = 1e4  # above this b / 3d the closed form loses single precision; Newton serves there


def _finite(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and -3e38 < value < 3e38


def _is_list(value: object, length: int) -> bool:
    return isinstance(value, (list, tuple)) and len(value) == length


def _need_finite(where: str, *named: tuple[str, float]) -> None:
    for name, value in named:
        if not _finite(value):
            raise ContractError(f"thermistor {where}: {name} is {value!r}, it must be a finite number.")


class Curve:
    """One thermistor's curve; made by the `from_...` functions. `degC(ohms)` and `ohms(degC)`."""

    def __init__(self, ref_ohm: float, a: float, b: float, c: float, d: float) -> None:
        self._ref_ohm = ref_ohm
        self._a, self._b, self._c, self._d = a, b, c, d
        self._x25 = self._find_x25()
        self._y_cold, self._y_hot = _per_kelvin(FALLS_FROM_DEGC), _per_kelvin(FALLS_TO_DEGC)
        self._x_cold = self._newton(self._y_cold, *self._bracket(self._y_cold))
        self._x_hot = self._newton(self._y_hot, *self._bracket(self._y_hot))
        self._check_falls()
        self._root_p = 0.0  # the closed inverse serves where this is set
        if c == 0 and d > 0 and 0 < b / (3 * d) < _CLOSED_MAX:
            self._root_p = sqrt(b / (3 * d))
            self._z_per_y = 0.5 / (d * self._root_p * self._root_p * self._root_p)

    def degC(self, ohms: float) -> float:
        """Temperature [°C] at `ohms`, from the curve even beyond -20..150 °C (`status` tells).

        ContractError if `ohms` is not a positive finite number, or so far out that the curve has no temperature.
        """
        if not _finite(ohms) or not ohms > 0:
            raise ContractError(f"thermistor: {ohms!r} ohm is no resistance, it must be positive and finite.")
        share = ohms / self._ref_ohm
        y = self._y(log(share)) if share > 0 else 0.0
        if not y > 0:
            raise ContractError(f"thermistor: {ohms!r} ohm is beyond the curve, check the probe's kind.")
        return 1 / y - ZERO_DEGC_KELVIN

    def ohms(self, degC: float) -> float:
        """Resistance [ohm] at `degC`: Cardano's closed form where the curve is 3-term, else a bracketed Newton.

        ContractError if `degC` is not finite, not above absolute zero, or beyond where the curve stops falling.
        """
        if not _finite(degC) or not degC > -ZERO_DEGC_KELVIN:
            raise ContractError(f"thermistor: {degC!r} °C is no temperature.")
        y = _per_kelvin(degC)
        if self._root_p:
            x = self._closed(y)
        elif self._y_hot <= y <= self._y_cold:
            x = self._newton(y, self._x_hot, self._x_cold)
        else:
            x = self._newton(y, *self._bracket(y))
        if not -_FAR < x - self._x25 < _FAR:
            raise ContractError(f"thermistor: {degC!r} °C is beyond what a thermistor can show.")
        return self._ref_ohm * exp(x)

    def _y(self, x: float) -> float:
        return self._a + x * (self._b + x * (self._c + x * self._d))

    def _slope(self, x: float) -> float:
        return self._b + x * (2 * self._c + 3 * x * self._d)

    def _closed(self, y: float) -> float:
        """Cardano's x = 2 sqrt(p) sinh(asinh(z) / 3), p = b / 3d; scaled so, z is of the order of one."""
        z = (y - self._a) * self._z_per_y
        u: float = (abs(z) + sqrt(z * z + 1)) ** _THIRD
        x = self._root_p * (u - 1 / u)
        return x if z > 0 else -x

    def _newton(self, y: float, low: float, high: float) -> float:
        """The x of `y` between `low` and `high`: Newton's steps, halving instead where one would leave the bracket."""
        x = low + (high - low) / 2
        for _ in range(20):
            error = self._y(x) - y
            if error > 0:
                high = x
            else:
                low = x
            slope = self._slope(x)
            moved = x - error / slope if slope else high
            if not low <= moved <= high:
                moved = low + (high - low) / 2
            if abs(moved - x) < _NEAR:
                return moved
            x = moved
        return x

    def _bracket(self, y: float) -> tuple[float, float]:
        """Two x, one step apart, with `y` between; walks from 25 °C and refuses where the curve stops falling."""
        x = self._x25
        step = _STEP if y > self._y(x) else -_STEP
        while abs(x - self._x25) < _FAR and self._slope(x) > 0:
            past = x
            x += step
            if (self._y(x) - y) * step >= 0:
                return (past, x) if step > 0 else (x, past)
        raise ContractError(
            f"thermistor: the curve does not fall as far as {1 / y - ZERO_DEGC_KELVIN:.1f} °C, check its numbers."
        )

    def _find_x25(self) -> float:
        """The x at 25 °C: the first place, from low ohms up, where the curve comes down to it."""
        y25 = _per_kelvin(25)
        low = log(R25_MIN_OHM / self._ref_ohm)
        end = log(R25_MAX_OHM / self._ref_ohm)
        while low < end:
            if self._y(low) < y25 <= self._y(low + _STEP):
                return low + _STEP / 2
            low += _STEP
        raise ContractError(
            "thermistor: the curve has no resistance of 10 ohm to 100 megohm at 25 °C; check its numbers, "
            "and that coefficients of ln R and of ln(R/R25) are not mixed up."
        )

    def _check_falls(self) -> None:
        """Refuse unless dx/dy, the local beta, is a thermistor's at both ends and at the extreme between, if any."""
        places = [self._x_cold, self._x_hot]
        if self._d != 0:
            extreme = -self._c / (3 * self._d)
            if self._x_hot < extreme < self._x_cold:
                places.append(extreme)
        for x in places:
            if not 1 / BETA_MAX_KELVIN <= self._slope(x) <= 1 / BETA_MIN_KELVIN:
                raise ContractError(
                    f"thermistor: near {1 / self._y(x) - ZERO_DEGC_KELVIN:.0f} °C the curve does not fall like a "
                    "thermistor's (a beta of 1000 to 10000 K); check its numbers."
                )


def _per_kelvin(degC: float) -> float:
    return 1 / (degC + ZERO_DEGC_KELVIN)


def from_points(points: list[tuple[float, float]]) -> Curve:
    """The 3-term curve through three (degC, ohms) pairs, degC ascending, ohms falling; best spread, as 0, 50, 100 °C.

    ContractError on another count, a value not finite, ohms not positive, points out of order or equal, or a curve
    that does not fall over -10..150 °C. Source: the 3 x 3 system of Steinhart and Hart (1968), by divided differences.
    """
    if not _is_list(points, 3) or not all(_is_list(point, 2) for point in points):
        raise ContractError(f"thermistor points: {points!r} are not three pairs of (degC, ohms).")
    for degC, ohms in points:
        _need_finite("points", ("degC", degC), ("ohms", ohms))
        if degC <= -ZERO_DEGC_KELVIN or ohms <= 0:
            raise ContractError(f"thermistor points: ({degC!r}, {ohms!r}) is impossible, give °C and positive ohms.")
    for colder, hotter in ((points[0], points[1]), (points[1], points[2])):
        if not colder[0] < hotter[0]:
            raise ContractError(f"thermistor points: {hotter[0]!r} °C follows {colder[0]!r} °C, give them ascending.")
        if not colder[1] > hotter[1]:
            raise ContractError(
                f"thermistor points: ohms do not fall from {colder[0]!r} to {hotter[0]!r} °C; swapped, or not an NTC?"
            )
    y1, y2, y3 = [_per_kelvin(degC) for degC, _ in points]
    l1, l2, l3 = [log(ohms) for _, ohms in points]
    if not l1 > l2 > l3 or l1 + l2 + l3 == 0:  # ohms that only differ beyond a float's digits, or of micro-ohms
        raise ContractError(f"thermistor points: ohms of {points!r} lie too close together for a curve.")
    g2 = (y2 - y1) / (l2 - l1)
    g3 = (y3 - y1) / (l3 - l1)
    d = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
    b = g2 - d * (l1 * l1 + l1 * l2 + l2 * l2)
    return Curve(1.0, y1 - l1 * (b + l1 * l1 * d), b, 0.0, d)


def from_coefficients(a: float, b: float, c: float) -> Curve:
    """The 3-term curve 1/T = a + b ln R + c (ln R)³, R in ohm, T in kelvin (Steinhart and Hart 1968).

    ContractError if one is not finite, if the curve does not fall over -10..150 °C, or if it puts R at 25 °C outside
    10 ohm..100 megohm, as coefficients of ln(R/R25) do.
    """
    _need_finite("coefficients", ("a", a), ("b", b), ("c", c))
    return Curve(1.0, a, b, 0.0, c)


def from_maker(r25_ohm: float, a1: float, b1: float, c1: float, d1: float) -> Curve:
    """A maker's 4-term curve 1/T = a1 + b1 x + c1 x² + d1 x³, x = ln(R/R25), T in kelvin, `r25_ohm` in ohm.

    ContractError if one is not finite, `r25_ohm` is outside 10 ohm..100 megohm, a1 is not 1/298.15 within 0.5 K (R25 is
    R at 25 °C: else the coefficients are of ln R), or the curve does not fall over -10..150 °C.
    Source: Vishay document 29049; Amphenol's Temperature Resistance Curves guide has the same form.
    """
    _need_finite("maker's curve", ("R25", r25_ohm), ("A1", a1), ("B1", b1), ("C1", c1), ("D1", d1))
    _need_r25(r25_ohm)
    if not 297.65 < 1 / (a1 or 1) < 298.65:
        raise ContractError(
            f"thermistor maker's curve: A1 is {a1!r}, that is not 25 °C at R25 (0.003354); "
            "are these coefficients of ln R instead of ln(R/R25)?"
        )
    return Curve(r25_ohm, a1, b1, c1, d1)


def from_beta(r25_ohm: float, beta_kelvin: float) -> Curve:
    """The beta curve 1/T = 1/298.15 + ln(R/R25) / beta, `r25_ohm` in ohm, `beta_kelvin` = B25/85 in kelvin.

    ContractError if one is not finite, `r25_ohm` is outside 10 ohm..100 megohm or beta outside 1000..10 000 K.
    Source: the usual two-constant form, as in the makers' data sheets (EPCOS B57861S).
    """
    _need_finite("beta", ("R25", r25_ohm), ("beta", beta_kelvin))
    _need_r25(r25_ohm)
    if not BETA_MIN_KELVIN <= beta_kelvin <= BETA_MAX_KELVIN:
        raise ContractError(f"thermistor beta: {beta_kelvin!r} K is no thermistor's, give its B25/85 (about 4000).")
    return Curve(r25_ohm, _per_kelvin(25), 1 / beta_kelvin, 0.0, 0.0)


def _need_r25(r25_ohm: float) -> None:
    if not R25_MIN_OHM <= r25_ohm <= R25_MAX_OHM:
        raise ContractError(f"thermistor: R25 is {r25_ohm!r} ohm, it must be 10 ohm to 100 megohm.")


# -- the divider: supply - series resistor - ADC input - thermistor - ground, read against the same supply


def ratio_from_ohms(ohms: float, series_ohm: float) -> float:
    """Share 0..1 of the supply at the ADC input, thermistor to ground: R / (R + Rs). ContractError if not positive."""
    if not ohms > 0 or not series_ohm > 0:
        raise ContractError(f"divider: {ohms!r} and {series_ohm!r} ohm must both be positive.")
    return 1 / (1 + series_ohm / ohms)


def ohms_from_ratio(ratio: float, series_ohm: float) -> float:
    """Thermistor [ohm] from the share s of the supply: Rs s / (1 - s). ContractError unless 0 < s < 1."""
    if not 0 < ratio < 1 or not series_ohm > 0:
        raise ContractError(f"divider: ratio {ratio!r} over {series_ohm!r} ohm is no reading, check for open or short.")
    return series_ohm * ratio / (1 - ratio)


def ratio_from_counts(counts: int, reads: int = 1) -> float:
    """Share 0..1 of the supply from the integer sum of `reads` 16-bit reads. ContractError if outside 0..full scale."""
    if reads < 1 or not 0 <= counts <= reads * READ_FULL_SCALE:
        raise ContractError(f"divider: {counts!r} counts are impossible for {reads!r} reads of 16 bits.")
    return counts / (reads * READ_FULL_SCALE)


def counts_from_ratio(ratio: float, reads: int = 1) -> int:
    """Nearest integer sum of `reads` 16-bit reads at a share 0..1 of the supply. ContractError if outside."""
    if reads < 1 or not 0 <= ratio <= 1:
        raise ContractError(f"divider: ratio {ratio!r} with {reads!r} reads is impossible, give 0..1 and at least 1.")
    return int(ratio * (reads * READ_FULL_SCALE) + 0.5)


def counts_from_degC(curve: Curve, degC: float, series_ohm: float, reads: int = 1) -> int:
    """Integer sum of `reads` 16-bit reads at which `curve` behind `series_ohm` has `degC`: hotter is *fewer* counts.

    This turns limits in °C into counts once at boot. ContractError as `Curve.ohms` and `ratio_from_ohms`.
    """
    return counts_from_ratio(ratio_from_ohms(curve.ohms(degC), series_ohm), reads)


def status(curve: Curve, ratio: float, series_ohm: float) -> str:
    """Status word of one ratio by itself: "short" < 0.5 %, "open" > 99.5 %, "range" outside -20..150 °C, else "ok".

    ContractError only for a `series_ohm` that is not positive. Source of the bands: limits.RATIO_*, limits.RANGE_*.
    """
    if not ratio >= RATIO_SHORT:
        return "short"
    if ratio > RATIO_OPEN:
        return "open"
    try:
        degC = curve.degC(ohms_from_ratio(ratio, series_ohm))
    except ContractError:
        if not series_ohm > 0:
            raise
        return "range"
    return "ok" if RANGE_MIN_DEGC <= degC <= RANGE_MAX_DEGC else "range"
