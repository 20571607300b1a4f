"""Stand-by at its true times, and the power with which it holds the chamber."""

import pytest

from fiftyover_kit import guard, standby
from fiftyover_kit.contract.limits import TICK_MASK, WHY, ticks_add
from firmware.guard_rig import STARTS


class Arming:
    """A stand-by that was offered and armed just now, by a hub that asked for a duty."""

    def __init__(self, start_ms=0, duty_1000=400, centi_degC=6600, limit_s=14400, grants=60):
        self.now = start_ms
        self.state = standby.new_state(start_ms)
        for seq in range(grants):
            standby.on_heard(self.state, self.now)
            standby.on_grant(self.state, self.now, 1, 1, 0, seq, 1, 1, centi_degC, limit_s, duty_1000)
        assert standby.on_button(self.state, self.now) == 1

    def holds_after(self, ms):
        self.now = ticks_add(self.now, ms)
        return standby.holds(self.state, self.now)


@pytest.mark.parametrize("start_ms", STARTS)
def test_hold_begins_after_thirty_seconds_of_silence_and_ends_with_its_seconds(start_ms):
    armed = Arming(start_ms)
    assert armed.holds_after(29_999) == 0
    assert standby.left_ms(armed.state) == 0
    assert armed.holds_after(1) == 1
    for _ in range(14_399):
        assert armed.holds_after(1000) == 1
    assert standby.left_ms(armed.state) == 1000
    assert (armed.holds_after(999), standby.is_armed(armed.state)) == (1, 1)
    assert (armed.holds_after(1), standby.is_armed(armed.state)) == (0, 0)


def test_seconds_are_added_up_over_the_silences_of_one_arming():
    armed = Arming(limit_s=100)
    held_s = 0
    for _ in range(3):
        armed.holds_after(30_000)
        for _ in range(30):
            held_s += armed.holds_after(1000)
        standby.on_heard(armed.state, armed.now)
    assert (held_s, standby.is_armed(armed.state)) == (90, 1)
    armed.holds_after(30_000)
    assert sum(armed.holds_after(1000) for _ in range(30)) == 9  # the tenth is the end
    standby.on_heard(armed.state, armed.now)
    assert standby.is_armed(armed.state) == 0


def test_offer_of_no_seconds_holds_nothing():
    armed = Arming(limit_s=0)
    assert armed.holds_after(30_000) == 0


def test_nothing_is_armed_before_a_hub_offered_or_when_it_fell_silent():
    state = standby.new_state(0)
    standby.on_heard(state, 0)
    assert standby.on_button(state, 0) == 0
    standby.on_grant(state, 0, 1, 1, 0, 1, 1, 0, 6600, 100, 0)
    assert standby.on_button(state, 30_000) == 0
    standby.on_heard(state, 40_000)
    assert standby.on_button(state, 40_000) == 0  # heard, but not offered again


def test_offer_that_should_not_be_there_while_the_hub_is_silent_arms_nothing():
    state = standby.new_state(0)
    state[standby._OFFERED] = 1
    assert standby.on_button(state, 0) == 0


def test_goal_is_what_the_hub_asked_for_or_less_once_a_core_is_over_62_degrees():
    for asked, low in ((6600, 6400), (6000, 6000)):
        armed = Arming(centi_degC=asked)
        standby.on_core(armed.state)
        assert armed.holds_after(30_000) == 1
        assert standby.goal(armed.state) == asked
        standby.on_core(armed.state)
        assert standby.goal(armed.state) == low
        armed.holds_after(60_000)
        assert standby.goal(armed.state) == low
        standby.on_heard(armed.state, armed.now)
        assert standby.goal(armed.state) == asked


def test_power_begins_at_the_hubs_mean_duty_and_at_no_more_than_half():
    for asked, begins in ((0, 0), (300, 300), (900, 500)):
        armed = Arming(duty_1000=asked)
        armed.holds_after(30_000)
        assert begins - 2 <= standby.power(armed.state, 6600) <= begins


def test_power_rises_below_the_goal_falls_above_it_and_stays_within_its_ends():
    armed = Arming(duty_1000=300)
    armed.holds_after(30_000)
    at_goal = standby.power(armed.state, 6600)
    assert standby.power(armed.state, 6500) == at_goal + 50  # 1 K is 5 % of full power
    assert standby.power(armed.state, 6700) == at_goal - 50
    for _ in range(4 * 512):  # one reset time at 1 K below doubles the answer
        slow = standby.power(armed.state, 6500)
    assert slow == pytest.approx(at_goal + 100, abs=2)
    for chamber, end in ((-2000, 1000), (30_000, 0)):
        for _ in range(4 * 3600):
            assert 0 <= standby.power(armed.state, chamber) <= 1000
        assert standby.power(armed.state, chamber) == end
        back = standby.power(armed.state, 6600)
        assert 0 <= back <= 1000
    assert standby.power(armed.state, 6600) == pytest.approx(slow - 50, abs=10)  # hours at an end wound nothing up


def test_every_number_of_a_hold_is_a_small_integer_of_a_board():
    armed = Arming(TICK_MASK - 1000, duty_1000=1000)
    armed.holds_after(30_000)
    for _ in range(14_398):
        assert armed.holds_after(1000) == 1
        standby.power(armed.state, -6000)
        assert all(-(1 << 30) <= value < 1 << 30 for value in armed.state)


def test_the_word_of_the_hold_is_the_contracts():
    assert WHY[guard._WHY_STANDBY] == "standby"
