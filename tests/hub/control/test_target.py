"""The chamber's target: lift, floor, limit and margin."""

import pytest

from fiftyover.control.target import follow_degC, margin_kelvin, ripple_room_kelvin, slewed_degC


def degC(degF: float) -> float:
    return (degF - 32.0) * 5.0 / 9.0


@pytest.mark.parametrize(
    ("watts", "degF_difference"),
    [(300.0, 2.0), (800.0, 2.0), (1000.0, 2.0), (1250.0, 3.0), (1500.0, 4.0), (3000.0, 4.0), (None, 4.0)],
)
def test_margin_under_the_limit_fits_the_element(watts: float | None, degF_difference: float) -> None:
    assert margin_kelvin(watts) == pytest.approx(degF_difference * 5.0 / 9.0)


@pytest.mark.parametrize(
    ("core", "floor", "cap", "expected"),
    [
        (100.0, None, 180.0, 150.0),  # 50 °F over the meat
        (60.0, 130.0, 180.0, 130.0),  # never below the floor
        (140.0, 130.0, 180.0, 178.0),  # never nearer the limit than the margin
        (60.0, 179.0, 180.0, 178.0),  # the limit wins over the floor
    ],
)
def test_target_follows_the_core_between_floor_and_limit(
    core: float, floor: float | None, cap: float, expected: float
) -> None:
    target = follow_degC(degC(core), 50.0 / 1.8, None if floor is None else degC(floor), degC(cap), 2.0 / 1.8)
    assert target == pytest.approx(degC(expected))


def test_a_slow_relay_gets_room_for_its_ripple_and_a_fast_one_none() -> None:
    assert ripple_room_kelvin("solid-state", 800.0) == 0.0
    # half of 1.06 K ripple at 800 W and 0.85 K, less the margin of 1.11 K
    assert ripple_room_kelvin("mechanical", 800.0) == pytest.approx(0.53 + 0.85 - 1.111, abs=0.001)
    assert ripple_room_kelvin("mechanical", 1500.0) == 0.0


def test_target_walks_and_does_not_jump() -> None:
    assert slewed_degC(None, 70.0, 5.0) == 70.0
    assert slewed_degC(60.0, 70.0, 30.0) == pytest.approx(61.0)
    assert slewed_degC(60.0, 50.0, 30.0) == pytest.approx(59.0)
    assert slewed_degC(60.0, 60.2, 30.0) == 60.2
    assert slewed_degC(60.0, 70.0, -5.0) == 60.0
