"""The door: told from an element that is merely off, held, and let go; the limit watched ahead afterwards."""

from fiftyover.control import door
from fiftyover.control.door import DoorState


def feed(
    state: DoorState, start_s: float, chamber: float, kelvin_per_min: float, seconds: float
) -> tuple[DoorState, float]:
    for n in range(1, int(seconds / 5) + 1):
        chamber += kelvin_per_min * 5.0 / 60.0
        state = door.step(state, start_s + 5.0 * n, chamber)
    return state, chamber


def test_an_open_door_is_seen_within_half_a_minute() -> None:
    state, chamber = feed(DoorState(), 0.0, 80.0, 0.0, 60.0)
    state, _ = feed(state, 60.0, chamber, -40.0, 30.0)
    assert door.holding(state, 90.0)
    assert door.hands_in(state, 90.0)


def test_an_element_that_is_off_is_no_door() -> None:
    state, _ = feed(DoorState(), 0.0, 80.0, -3.1, 600.0)
    assert not door.holding(state, 600.0)


def test_hands_are_out_after_two_minutes_and_the_hold_ends_after_the_fall() -> None:
    state, chamber = feed(DoorState(), 0.0, 80.0, 0.0, 60.0)
    state, chamber = feed(state, 60.0, chamber, -40.0, 60.0)
    state, _ = feed(state, 120.0, chamber, 10.0, 240.0)
    assert not door.hands_in(state, 60.0 + 30.0 + door.HANDS_S)
    assert door.holding(state, 200.0)
    assert not door.holding(state, 360.0)


def test_a_told_door_keeps_the_element_off_until_it_is_closed() -> None:
    state = door.told(DoorState(), 10.0, True)
    state, _ = feed(state, 10.0, 80.0, 0.0, 600.0)
    assert door.hands_in(state, 610.0)
    state = door.told(state, 611.0, False)
    assert not door.hands_in(state, 612.0)
    assert door.holding(state, 612.0)


def test_the_kits_own_door_is_taken_over() -> None:
    state = door.step(DoorState(), 5.0, 80.0, kit_says_open=True)
    assert door.holding(state, 6.0)


def test_limit_is_watched_ahead_after_a_door_with_hysteresis() -> None:
    state = door.told(DoorState(), 0.0, True)
    state = door.cap_watch(state, 100.0, 80.0, 0.05, 82.2)
    assert state.cut  # 80 + 60 x 0.05 = 83
    state = door.cap_watch(state, 105.0, 80.0, 0.03, 82.2)
    assert state.cut  # 81.8 is not yet a kelvin below
    state = door.cap_watch(state, 110.0, 80.0, 0.01, 82.2)
    assert not state.cut  # 80.6 is


def test_without_a_door_only_the_limit_itself_cuts() -> None:
    assert not door.cap_watch(DoorState(), 0.0, 82.1, 0.1, 82.2).cut
    state = door.cap_watch(DoorState(), 0.0, 82.3, 0.0, 82.2)
    assert state.cut
    assert door.cap_watch(state, 5.0, 82.0, 0.0, 82.2).cut
    assert not door.cap_watch(state, 5.0, 81.8, 0.0, 82.2).cut


def test_mean_duty_follows_over_ten_minutes() -> None:
    state = DoorState()
    for _ in range(600):
        state = door.with_duty(state, 0.4, 5.0)
    assert abs(state.mean_duty - 0.4) < 0.01


def test_on_the_way_back_from_a_door_the_integral_grows_slower_and_falls_as_fast() -> None:
    state = door.told(DoorState(), 0.0, False)
    assert 0.30 < door.wound(state, 60.0, 10.0, 0.30, 0.40) < 0.40
    assert door.wound(state, 60.0, 1.0, 0.30, 0.40) == 0.40  # there again
    assert door.wound(state, 60.0, 10.0, 0.40, 0.30) == 0.30
    assert door.wound(state, door.WATCH_S + 60.0, 10.0, 0.30, 0.40) == 0.40  # long ago
