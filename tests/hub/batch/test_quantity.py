"""What a person writes is read with its unit, or refused with what to write."""

import pytest

from fiftyover.batch import quantity
from fiftyover.errors import ProcessError


@pytest.mark.parametrize(
    ("words", "grams"),
    [
        ("1 lb", 453.59237),  # international pound, exact
        ("2 lb 4 oz", 1020.5828325),  # 2.25 lb
        ("1/4 oz", 7.08738078125),  # 28.349523125 / 4
        ("2 1/2 lb", 1133.980925),
        ("4.5kg", 4500.0),
        (".5 kg", 500.0),
    ],
)
def test_weights_are_read(words: str, grams: float) -> None:
    assert quantity.mass_g(words) == pytest.approx(grams, rel=1e-12)


def test_lengths_times_and_shares_are_read() -> None:
    assert quantity.length_mm("2.5 in") == pytest.approx(63.5, rel=1e-12)
    assert quantity.length_mm("30 cm") == pytest.approx(300.0, rel=1e-12)
    assert quantity.span_s("1 h 30 min") == 5400.0
    assert quantity.share("6.25 %") == pytest.approx(0.0625, rel=1e-12)
    assert quantity.ppm("156.25 ppm") == 156.25


def test_a_temperature_and_a_difference_are_kept_apart() -> None:
    assert quantity.temperature_degC("50 F") == pytest.approx(10.0)
    assert quantity.difference_kelvin("50 F") == pytest.approx(27.7778, abs=1e-4)
    assert quantity.temperature_degC("10 °C") == 10.0


@pytest.mark.parametrize("words", ["10", 10, "10 stone", "ten lb", "", "1,5 kg", "-3 g", "0 kg", "1/0 lb", True, None])
def test_what_is_no_weight_is_refused(words: object) -> None:
    with pytest.raises(ProcessError, match="weight|number|nothing"):
        quantity.mass_g(words)


@pytest.mark.parametrize("words", ["1 tsp", "2 tbsp", "1 cup", "500 ml"])
def test_a_measure_by_volume_is_refused_with_weigh_it(words: str) -> None:
    with pytest.raises(ProcessError, match="by volume: weigh it"):
        quantity.mass_g(words)


@pytest.mark.parametrize("words", ["22", 0.22, "22 kg", "120 %", "-1 %"])
def test_a_bare_number_is_no_percentage(words: object) -> None:
    with pytest.raises(ProcessError, match="%"):
        quantity.share(words)
