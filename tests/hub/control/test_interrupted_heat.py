"""Permits that run out: the controller learns that nothing heated, and the limit is watched ahead afterwards."""

import pytest

from fiftyover.control import controller, door
from fiftyover.control.controller import ControllerSettings, ControllerState

TUNING = ControllerSettings(gain=0.1, integral_s=200.0, derivative_s=20.0, filter_s=10.0, tracking_s=100.0)


def test_integral_goes_towards_the_output_that_ran():
    """By hand: fast = 0.1 x (85 - 80 - 20 x 0.05) = 0.4; integral 0.3 - (0.4 + 0.3) x 5/100 = 0.265."""
    after = ControllerState(integral=0.9, slope=0.05, at_s=5.0, chamber_degC=80.0, duty=0.7)
    corrected = controller.unheated(TUNING, after, 0.3, 85.0, 5.0)
    assert corrected.integral == pytest.approx(0.265)
    assert (corrected.slope, corrected.at_s, corrected.chamber_degC, corrected.duty) == (0.05, 5.0, 80.0, 0.7)


def test_long_interruption_ends_at_an_output_of_nought():
    state, duty = ControllerState(integral=0.5, chamber_degC=80.0), 1.0
    for number in range(200):
        before = state.integral
        state, duty = controller.step(TUNING, state, 5.0 * number, 80.0, 85.0)
        state = controller.unheated(TUNING, state, before, 85.0, 5.0)
    assert duty == pytest.approx(0.0, abs=0.01)


def test_dt_longer_than_the_tracking_time_does_not_overshoot():
    after = ControllerState(chamber_degC=80.0)
    assert controller.unheated(TUNING, after, 0.3, 85.0, 1e6).integral == pytest.approx(-0.5)


def test_limit_is_watched_ahead_after_an_interruption():
    rising = 0.05  # K/s: in the minute ahead 3 K
    assert not door.cap_watch(door.DoorState(), 100.0, 80.0, rising, 82.0).cut
    assert door.cap_watch(door.interrupted(door.DoorState(), 100.0), 100.0, 80.0, rising, 82.0).cut
    assert not door.cap_watch(door.interrupted(door.DoorState(), 100.0), 1001.0, 80.0, rising, 82.0).cut


def test_interruption_does_not_shorten_the_watch_after_a_door():
    watched = door.told(door.DoorState(), 500.0, False)
    both = door.interrupted(watched, 100.0)
    assert both.watch_until_s == watched.watch_until_s == 500.0 + door.WATCH_S
    assert (door.watching(both, 1399.0), door.recovering(both, 1001.0)) == (True, False)


def test_interruption_alone_is_no_door_for_whom_the_integral_may_wait():
    missed = door.interrupted(door.DoorState(), 100.0)
    assert (door.watching(missed, 500.0), door.recovering(missed, 500.0)) == (False, True)
