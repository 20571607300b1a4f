"""The cure hold's refrigerator: alarm above 40 °F, with two hours of grace when loaded; notice below 30 °F."""

from fiftyover.batch import refrigerator as fridge
from fiftyover_kit.contract.units import degC_from_degF


def run(state: fridge.Refrigerator, from_s: float, minutes: int, degF: float | None) -> fridge.Refrigerator:
    for minute in range(minutes):
        water = None if degF is None else degC_from_degF(degF)
        state = fridge.step(state, from_s + 60.0 * minute, water)
    return state


def test_40_degF_is_not_too_warm_and_more_is() -> None:
    assert not run(fridge.Refrigerator(), 0.0, 60, 40.0).alarm
    assert run(fridge.Refrigerator(), 0.0, 60, 40.5).alarm


def test_an_open_door_of_some_minutes_raises_nothing() -> None:
    state = run(fridge.Refrigerator(), 0.0, 9, 45.0)
    assert not run(state, 540.0, 1, 38.0).alarm


def test_warm_meat_has_two_hours_of_grace() -> None:
    state = fridge.loaded(fridge.Refrigerator(), 0.0)
    assert not run(state, 0.0, 120, 50.0).alarm
    assert run(state, 0.0, 122, 50.0).alarm


def test_alarm_and_notice_are_told_with_what_to_do() -> None:
    assert "above 40 °F" in fridge.sentences(run(fridge.Refrigerator(), 0.0, 20, 44.0))[0]
    assert "below 30 °F" in fridge.sentences(run(fridge.Refrigerator(), 0.0, 20, 29.0))[0]
    assert fridge.sentences(run(fridge.Refrigerator(), 0.0, 20, 36.0)) == []


def test_a_missing_reading_changes_nothing() -> None:
    state = run(fridge.Refrigerator(), 0.0, 20, 44.0)
    assert run(state, 1200.0, 5, None) == state


def test_the_hold_counts_down() -> None:
    assert fridge.hold_left_s(1000.0, 3600.0, 2800.0) == 1800.0
