"""The two baselines, step by step against their definitions."""

import pytest

from fiftyover.rehearse.baselines import Dial, Thermostat


def test_thermostat_switches_one_degree_fahrenheit_about_its_target():
    thermostat = Thermostat()
    # 1 degF is 0.5556 K: on under 59.444, off over 60.556, else as it was.
    seen = [thermostat.step(value, 60.0) for value in (59.5, 59.4, 60.5, 60.6, 59.5, 59.4)]
    assert seen == [False, True, True, False, False, True]


def test_thermostat_without_a_reading_is_off():
    thermostat = Thermostat()
    thermostat.step(20.0, 60.0)
    assert thermostat.step(None, 60.0) is False


def test_dial_is_turned_every_thirty_minutes_and_not_between():
    dial = Dial(1, 20.0)
    dial.step(0.0, 1.0, 20.0, 40.0)
    first = dial.set_degC
    dial.step(1799.0, 1.0, 20.0, 60.0)
    assert dial.set_degC == first
    dial.step(1800.0, 1.0, 20.0, 60.0)
    assert dial.set_degC != first
    assert abs(dial.set_degC - 60.0) < 8.0


def test_dial_errors_have_two_kelvin_sd_and_no_bias():
    errors = []
    for seed in range(400):
        dial = Dial(seed, 20.0)
        dial.step(0.0, 1.0, 20.0, 50.0)
        errors.append(dial.set_degC - 50.0)
    mean = sum(errors) / len(errors)
    sd = (sum((error - mean) ** 2 for error in errors) / len(errors)) ** 0.5
    assert mean == pytest.approx(0.0, abs=0.3)
    assert sd == pytest.approx(2.0, abs=0.25)


def test_dial_switches_ten_degrees_fahrenheit_about_what_it_is_set_to_on_a_bulb_that_lags():
    dial = Dial(1, 20.0)
    dial.step(0.0, 0.0, 20.0, 60.0)
    dial.set_degC = 60.0
    # 10 degF is 5.5556 K: on under 54.444, off over 65.556.
    for bulb, on in ((54.4, True), (65.5, True), (65.6, False), (54.5, False), (54.4, True)):
        dial.bulb_degC = bulb
        assert dial.step(1.0, 0.0, 99.0, 60.0) is on


def test_bulb_closes_63_percent_of_a_step_of_the_air_in_its_lag():
    dial = Dial(1, 20.0)
    for second in range(90):
        dial.step(float(second), 1.0, 120.0, None)
    assert dial.bulb_degC == pytest.approx(20.0 + 100.0 * 0.632, abs=0.5)
