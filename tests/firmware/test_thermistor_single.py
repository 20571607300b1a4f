"""Thermistors in single precision, as boards compute: every operation rounded to float32 on the way.

The MicroPython Unix interpreter uses doubles and cannot show this, so the module's own code runs here on numbers that
round after each step. A board's own log and exp may differ by a unit in the last place; the margin below covers that.
"""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

from contract import run_vectors
from fiftyover_kit.contract import thermistor

TABLES = Path(__file__).resolve().parents[1] / "references" / "thermistors"
INDEX = run_vectors.rows_of(str(TABLES / "index.csv"))
NAMES = [row[0] for row in INDEX]
MAKERS = [[row[0], *map(float, row[1:])] for row in run_vectors.rows_of(str(TABLES / "makers.csv"))]
WITHIN_KELVIN = 0.001


class Single(float):
    """A float that is rounded to float32 when made and after every operation."""

    def __new__(cls, value: float) -> "Single":
        return super().__new__(cls, np.float32(value))


def _rounding(name: str):
    plain = getattr(float, name)

    def operation(self, other):
        if isinstance(other, int | float):
            return Single(plain(float(self), float(Single(other))))
        return NotImplemented

    return operation


for _name in ("add", "sub", "mul", "truediv", "pow"):
    setattr(Single, f"__{_name}__", _rounding(f"__{_name}__"))
    setattr(Single, f"__r{_name}__", _rounding(f"__r{_name}__"))
Single.__neg__ = lambda self: Single(-float(self))
Single.__abs__ = lambda self: Single(abs(float(self)))


def in_single(plain):
    return lambda x: Single(plain(Single(x)))


def load_in_single():
    """The thermistor module once more, its functions and constants in single precision."""
    spec = importlib.util.spec_from_file_location("thermistor_in_single", thermistor.__file__)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name, value in list(vars(module).items()):
        if type(value) is float:
            setattr(module, name, Single(value))
    for name in ("log", "exp", "sqrt"):
        setattr(module, name, in_single(getattr(math, name)))
    return module


IN_SINGLE = load_in_single()


def published(name: str) -> list[tuple[float, float]]:
    leave_out = next(row[3] for row in INDEX if row[0] == name)
    table = run_vectors.table_of(str(TABLES), name, leave_out)
    return [(degC, ohms) for degC, ohms in table if -20 <= degC <= 150]


def both(maker: str, arguments):
    """One curve in single precision from start to end, and in double."""
    return getattr(IN_SINGLE, maker)(*singles(arguments)), getattr(thermistor, maker)(*arguments)


def singles(value):
    return [singles(item) for item in value] if isinstance(value, list | tuple) else Single(value)


def each_curve():
    for name in NAMES:
        points = run_vectors.through_0_50_100(published(name))
        yield pytest.param("from_points", [points], name, id="points of " + name)
    for name, *numbers in MAKERS:
        yield pytest.param("from_maker", numbers, name, id="maker's of " + name)
    yield pytest.param("from_beta", [10000.0, 3977.0], NAMES[0], id="beta")
    yield pytest.param("from_coefficients", [8.122682e-04, 2.112614e-04, 7.173679e-08], "semitec_104GT-2.csv", id="abc")


CURVES = list(each_curve())


def test_the_emulation_rounds_every_step() -> None:
    one = Single(1)
    for value in (one + 1e-9, 1e-9 + one, one - 1e-9, one * (1 + 1e-9), one / (1 + 1e-9), one ** (1 + 1e-9), abs(-one)):
        assert type(value) is Single
        assert value == 1
    assert Single(16777216) + 1 == 16777216  # 2^24: the first integer whose successor is lost


@pytest.mark.parametrize(("maker", "arguments", "name"), CURVES)
def test_single_precision_reads_within_a_thousandth_of_double(maker, arguments, name) -> None:
    single, double = both(maker, arguments)
    for _, ohms in published(name):
        degC = single.degC(Single(ohms))
        assert type(degC) is Single
        assert degC == pytest.approx(double.degC(float(Single(ohms))), abs=WITHIN_KELVIN)


@pytest.mark.parametrize(("maker", "arguments", "name"), CURVES)
def test_single_precision_inverse_is_within_a_thousandth(maker, arguments, name) -> None:
    """The inverse sets the guard's limits in counts: judged by the double curve, and by its own way back."""
    single, double = both(maker, arguments)
    for degC, _ in published(name):
        ohms = single.ohms(Single(degC))
        assert type(ohms) is Single
        assert double.degC(float(ohms)) == pytest.approx(degC, abs=WITHIN_KELVIN)
        assert single.degC(ohms) == pytest.approx(degC, abs=WITHIN_KELVIN)


@pytest.mark.parametrize("series_ohm", [10000.0, 22000.0, 100000.0])
def test_single_precision_from_counts_to_degC_is_within_a_thousandth(series_ohm) -> None:
    single, double = both("from_coefficients", [8.122682e-04, 2.112614e-04, 7.173679e-08])
    for degC in range(0, 121, 3):
        counts = thermistor.counts_from_degC(double, degC, series_ohm, 64)
        ratio = IN_SINGLE.ratio_from_counts(counts, 64)
        here = single.degC(IN_SINGLE.ohms_from_ratio(Single(ratio), Single(series_ohm)))
        exact = thermistor.ohms_from_ratio(thermistor.ratio_from_counts(counts, 64), series_ohm)
        assert here == pytest.approx(double.degC(exact), abs=WITHIN_KELVIN)
