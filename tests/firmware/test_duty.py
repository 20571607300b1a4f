"""Granted duty to relay: exact in the mean, bounded in switchings, quick after a step."""

import random

import pytest

from fiftyover_kit import duty
from fiftyover_kit.contract.limits import TICK_MASK, ticks_add

HOUR_MS = 3_600_000
KINDS = [("mechanical", 60, 10_000), ("solid-state", 120, 5_000)]


class Relay:
    def __init__(self, kind, start_ms=0):
        self.now, self.on, self.log, self.on_ms, self.asked = start_ms, 0, [], 0, 0.0
        self.state = duty.new_state(kind, start_ms)
        self.elapsed = 0

    def run(self, ms, share, allowed=1, step_ms=250):
        for _ in range(ms // step_ms):
            before = self.on
            self.on = duty.step(self.state, self.now, share, allowed)
            if self.on != before:
                self.log.append((self.elapsed, self.on))
            self.now = ticks_add(self.now, step_ms)
            self.elapsed += step_ms
            self.on_ms += step_ms * self.on
            self.asked += step_ms * share / 1000
        return self

    def runs_ms(self):
        times = [at for at, _ in self.log]
        return [later - earlier for earlier, later in zip(times, times[1:], strict=False)]


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
@pytest.mark.parametrize("share", [10, 167, 400, 500, 900, 990])
def test_steady_duty_is_exact_in_the_mean_within_the_bound_and_the_minimum_times(kind, per_hour, least_ms, share):
    hours = 2
    relay = Relay(kind).run(hours * HOUR_MS, share)
    # The start's minimum off time and one pulse at the end are all that the mean may lack or have too much.
    assert abs(relay.on_ms - relay.asked) <= 60_000_000 / per_hour / 2
    assert duty.switchings(relay.state) <= per_hour * hours
    assert duty.switchings(relay.state) == sum(on for _, on in relay.log)
    assert min(relay.runs_ms()) >= least_ms


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
def test_half_duty_has_the_shortest_period_that_keeps_the_bound(kind, per_hour, least_ms):
    relay = Relay(kind).run(HOUR_MS, 500)
    ons = [at for at, on in relay.log if on]
    periods = {later - earlier for earlier, later in zip(ons[1:], ons[2:], strict=False)}
    assert periods == {HOUR_MS // per_hour}


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
def test_no_duty_never_switches_and_full_duty_switches_once(kind, per_hour, least_ms):
    assert Relay(kind).run(HOUR_MS, 0).log == []
    assert Relay(kind).run(HOUR_MS, 1000).log == [(least_ms, 1)]
    relay = Relay(kind).run(70_000, 500)
    relay.run(90_000, 1000)
    assert relay.on == 1
    switched = len(relay.log)
    relay.run(HOUR_MS, 1000)
    assert len(relay.log) == switched


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
def test_not_allowed_opens_at_once_even_within_the_minimum_time(kind, per_hour, least_ms):
    for refused in (0, 2, -1):
        relay = Relay(kind).run(least_ms + 250, 1000)
        assert relay.on == 1
        relay.run(250, 1000, allowed=refused)
        assert relay.on == 0
        relay.run(least_ms - 250, 1000)
        assert relay.on == 0  # the minimum off time holds afterwards
        relay.run(60_000_000 // per_hour, 1000)
        assert relay.on == 1


@pytest.mark.parametrize("share", [-1, 1001, 30_000])
def test_a_duty_that_cannot_be_is_none(share):
    assert Relay("mechanical").run(HOUR_MS, share).log == []


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
def test_a_step_up_from_nothing_closes_the_relay_at_once(kind, per_hour, least_ms):
    for share in (50, 300, 1000):
        relay = Relay(kind).run(60_000, 0)
        relay.run(250, share)
        assert relay.on == 1


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
def test_a_step_down_to_nothing_opens_it_after_the_minimum_on_time_and_the_surplus_is_paid_back(
    kind, per_hour, least_ms
):
    relay = Relay(kind).run(HOUR_MS, 0)
    relay.run(250, 1000)
    relay.run(HOUR_MS, 0)
    assert relay.runs_ms() == [least_ms]
    relay.run(HOUR_MS, 100)
    assert abs(relay.on_ms - relay.asked) <= 2 * least_ms


@pytest.mark.parametrize(("kind", "per_hour", "least_ms"), KINDS)
@pytest.mark.parametrize("seed", range(2))
def test_a_duty_that_jumps_about_cannot_beat_the_bound_nor_the_minimum_times(kind, per_hour, least_ms, seed):
    dice = random.Random(seed)
    relay = Relay(kind)
    for _ in range(720):
        relay.run(5000, dice.choice([0, 0, 1000, 1000, dice.randrange(1001)]))
    assert duty.switchings(relay.state) <= per_hour + 1
    assert min(relay.runs_ms()) >= least_ms


def test_the_wrap_of_the_ticks_changes_nothing():
    plain = Relay("mechanical").run(600_000, 400)
    wrapped = Relay("mechanical", TICK_MASK - 300_000).run(600_000, 400)
    assert plain.log == wrapped.log


def test_time_that_stood_still_or_ran_away_is_not_heated_for():
    for gap in (-5000, 3000, 1 << 29):
        relay = Relay("mechanical").run(65_000, 400)
        carry = relay.state[duty._CARRY]
        relay.now = ticks_add(relay.now, gap)
        relay.run(250, 400)
        assert relay.state[duty._CARRY] == carry


def test_every_intermediate_value_fits_a_small_int_of_a_board():
    period = max(duty.PERIOD_S.values())
    least = max(duty.MIN_MS.values())
    largest = (period * 500 * 500, period * 1000 * 1000 + 1000 * duty._STEP_MAX_MS, least * 1000, duty._HELD_MAX_MS)
    assert max(largest) < 1 << 30
    relay = Relay("mechanical").run(HOUR_MS, 999)
    assert all(-(1 << 30) <= value < 1 << 30 for value in relay.state)
