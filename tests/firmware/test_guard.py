"""The guard, clause by clause of the contract, at the true times."""

import pytest

from fiftyover_kit import guard
from fiftyover_kit.contract.limits import STATUS, TICK_MASK
from firmware.guard_rig import (
    COOL,
    HOT,
    OK,
    OPEN,
    STARTS,
    TO_GROUND,
    TO_RAIL,
    UNCALIBRATED,
    WARM,
    WEEK_MS,
    Rig,
    ready,
)


@pytest.mark.parametrize("start_ms", STARTS)
def test_element_stays_off_for_five_seconds_after_the_start_whatever_is_granted(start_ms):
    rig = Rig(start_ms)
    rig.wait(250)
    assert rig.grant() == "accepted"
    seen = [(rig.wait(250).heats(), rig.why) for _ in range(20)]
    assert seen[:18] == [(0, "boot-hold")] * 18  # 0.5 .. 4.75 s
    assert seen[18:] == [(1, "on")] * 2  # from 5.0 s


def test_element_stays_off_until_the_first_good_sample_however_long_it_takes():
    rig = Rig()
    rig.wait(WEEK_MS, read=False)
    assert (rig.heats(), rig.why) == (0, "probe-fault")
    assert rig.grant() == "probe-fault"
    rig.read(COOL)
    assert rig.grant() == "accepted"
    assert rig.heats() == 1


@pytest.mark.parametrize("start_ms", STARTS)
@pytest.mark.parametrize("age_ms", [0, 4000])
def test_permit_that_expires_opens_the_relay(start_ms, age_ms):
    rig = ready(start_ms, permit=False)
    assert rig.grant(age_ms=age_ms, ttl=15) == "accepted"
    rig.wait(14_750 - age_ms)
    assert (rig.heats(), guard.left_ms(rig.state, rig.now)) == (1, 250)
    rig.wait(250)
    assert (rig.heats(), rig.why) == (0, "expired")
    assert (guard.duty(rig.state), guard.left_ms(rig.state, rig.now)) == (0, 0)


def test_permit_that_ran_out_while_the_session_is_down_is_link_lost_and_the_link_alone_changes_nothing():
    rig = ready()
    guard.on_link(rig.state, 0)
    assert (rig.heats(), rig.why) == (1, "on")
    rig.wait(15_000)
    assert (rig.heats(), rig.why) == (0, "link-lost")


def test_permit_whose_expiry_would_be_tick_zero_ends_a_millisecond_early():
    rig = ready(TICK_MASK + 1 - 15_000 - 6000, permit=False)
    assert rig.now == TICK_MASK + 1 - 15_000
    assert rig.grant() == "accepted"
    assert guard.left_ms(rig.state, rig.now) == 14_999
    assert rig.heats() == 1
    rig.wait(15_000)
    assert (rig.heats(), rig.why) == (0, "expired")


@pytest.mark.parametrize("gap_ms", [600_000, (1 << 29) + 1000, (1 << 29) + WEEK_MS // 2])
def test_nothing_that_ended_comes_back_when_the_ticks_come_round(gap_ms):
    rig = ready()
    rig.wait(gap_ms, read=False)
    assert (rig.heats(), rig.why) == (0, "probe-fault")
    rig.wait((1 << 30) - gap_ms, read=False)  # the ticks are those of the grant again
    assert rig.heats() == 0
    assert rig.read(COOL) == 0


@pytest.mark.parametrize("start_ms", STARTS)
def test_chamber_reading_older_than_five_seconds_is_a_fault_and_clears_the_permit(start_ms):
    rig = ready(start_ms)
    rig.wait(5000, read=False)
    assert rig.heats() == 1
    rig.wait(1, read=False)
    assert (rig.heats(), rig.why) == (0, "probe-fault")
    assert rig.read(COOL) == 0
    assert rig.why == "probe-fault"


@pytest.mark.parametrize("status", [word for word in STATUS if word not in ("ok", "uncalibrated")])
def test_no_status_but_ok_and_uncalibrated_heats(status):
    rig = ready()
    assert rig.read(COOL, STATUS.index(status)) == 0
    assert rig.why == "probe-fault"
    assert rig.read(COOL, UNCALIBRATED) == 0  # the permit is gone
    assert rig.wait(250).grant() == "accepted"
    assert rig.heats() == 1


@pytest.mark.parametrize("status", [len(STATUS), 100, -1])
def test_a_status_that_does_not_exist_does_not_heat(status):
    assert ready().read(COOL, status) == 0


@pytest.mark.parametrize(
    ("limits", "good", "cap", "just_below", "cold", "just_above"),
    [(TO_GROUND, COOL, 1000, 1001, 9000, 8999), (TO_RAIL, COOL, 9000, 8999, 1000, 1001)],
)
def test_heat_only_strictly_between_the_limits_for_either_way_of_wiring(
    limits, good, cap, just_below, cold, just_above
):
    for counts, heats in ((just_below, 1), (just_above, 1), (cap, 0), (cold, 0)):
        assert ready(limits=limits, good=good).read(counts) == heats


def test_a_single_sample_above_the_cap_clears_the_permit_and_two_of_eight_latch():
    rig = ready()
    assert rig.read(HOT) == 0
    assert rig.why == "cap"
    assert not guard.is_latched(rig.state)
    rig.wait(1750)  # seven good samples: the hot one is the eighth last
    assert rig.grant() == "accepted"
    assert rig.heats() == 1
    rig.now += 250
    assert rig.read(HOT) == 0  # the first is out of the eight now
    assert not guard.is_latched(rig.state)
    rig.wait(1500)
    rig.read(HOT)  # six good ones between: seventh and eighth
    assert (guard.is_latched(rig.state), rig.heats(), rig.why) == (1, 0, "latched")


def test_a_number_above_the_cap_counts_even_if_it_is_not_believed_but_a_bare_short_does_not():
    for status, latched in (("jump", 1), ("stuck", 1), ("range", 1), ("short", 0), ("open", 0)):
        rig = ready()
        rig.read(HOT, STATUS.index(status))
        rig.read(HOT, STATUS.index(status))
        assert guard.is_latched(rig.state) == latched, status


def test_latch_is_opened_only_well_below_the_cap_and_the_old_permit_does_not_return():
    rig = ready()
    rig.read(HOT)
    rig.read(HOT)
    rig.good = WARM
    rig.wait(60_000)
    assert rig.grant() == "accepted"
    assert rig.heats() == 0
    assert guard.on_clear(rig.state, rig.now) == 0  # less than 10 K below
    rig.good = COOL
    rig.wait(250)
    assert guard.on_clear(rig.state, rig.now) == 1
    assert (guard.is_latched(rig.state), rig.heats()) == (0, 0)
    assert rig.grant(seq=rig.seq + 1) == "before-clear"
    rig.wait(250)
    assert rig.grant() == "accepted"
    assert rig.heats() == 1


def test_there_is_nothing_to_clear_without_a_latch_or_with_a_stale_reading():
    rig = ready()
    assert guard.on_clear(rig.state, rig.now) == 0
    assert rig.heats() == 1
    rig = Rig(latched=1).wait(6000)
    rig.wait(5001, read=False)
    assert guard.on_clear(rig.state, rig.now) == 0


def test_kit_that_starts_latched_does_not_heat_and_any_odd_flag_is_a_latch():
    for flag in (1, 7, -1):
        rig = Rig(latched=flag).wait(6000)
        assert rig.grant() == "accepted"
        assert (rig.heats(), rig.why) == (0, "latched")


@pytest.mark.parametrize(
    ("how", "name"),
    [
        ({"retained": 1}, "retained"),
        ({"hub": 0}, "other-hub"),
        ({"boot": 0}, "other-boot"),
        ({"seq": 1}, "not-newer"),
        ({"seq": 0}, "not-newer"),
        ({"seq": 1 << 30}, "not-newer"),
        ({"ttl": 0}, "ttl"),
        ({"ttl": 31}, "ttl"),
        ({"duty": -1}, "duty"),
        ({"duty": 1001}, "duty"),
        ({"age_ms": 15_000}, "too-old"),
        ({"age_ms": 30_000, "ttl": 30}, "too-old"),
        ({"age_ms": -1}, "from-future"),
        ({"age_ms": WEEK_MS}, "from-future"),
    ],
)
def test_refused_grant_changes_nothing_while_a_permit_lives_and_is_the_reason_without_one(how, name):
    rig = ready()
    assert rig.grant(**how) == name
    assert (rig.heats(), rig.why, guard.duty(rig.state)) == (1, "on", 500)
    rig = ready()
    rig.wait(15_000)
    assert rig.grant(**how) == name
    assert (rig.heats(), rig.why) == (0, "refused")
    assert rig.grant(seq=2) == "accepted"  # the refused one did not move the newest-seen mark
    assert rig.heats() == 1


def test_grant_refused_before_it_reached_the_guard_is_the_reason_only_without_a_permit():
    rig = ready()
    guard.on_refused(rig.state)
    assert (rig.heats(), rig.why) == (1, "on")
    rig.wait(15_000)
    guard.on_refused(rig.state)
    assert (rig.heats(), rig.why) == (0, "refused")


def test_the_longest_and_the_shortest_life_and_the_ends_of_the_duty_are_accepted():
    for how in ({"ttl": 1}, {"ttl": 30}, {"duty": 0}, {"duty": 1000}, {"seq": (1 << 30) - 1}):
        assert ready().grant(**{"seq": 2, **how}) == "accepted"


def test_a_grant_of_duty_zero_is_a_permit_that_shows_as_off():
    rig = ready()
    assert rig.grant(duty=0) == "accepted"
    assert (rig.heats(), rig.why, guard.duty(rig.state)) == (1, "off", 0)
    rig.wait(15_000)
    assert (rig.heats(), rig.why) == (0, "expired")


def test_grant_while_the_chamber_probe_is_at_fault_is_refused_and_one_decided_before_the_fault_too():
    rig = ready()
    rig.wait(250)
    rig.read(COOL, OPEN)
    assert rig.grant() == "probe-fault"
    rig.wait(1000)
    assert rig.grant(age_ms=1000) == "before-clear"  # decided on the frame of the fault
    assert rig.grant(age_ms=1250) == "before-clear"
    assert rig.grant(age_ms=750) == "accepted"


def test_door_clears_the_permit_and_keeps_heat_off_for_two_minutes():
    rig = ready()
    guard.on_door(rig.state, rig.now, 1)
    assert (rig.heats(), rig.why, guard.is_door_open(rig.state)) == (0, "door", 1)
    assert rig.grant() == "before-clear"
    rig.wait(119_750)
    assert rig.grant() == "accepted"
    assert (rig.heats(), rig.why) == (0, "door")
    rig.wait(250)
    assert (rig.heats(), rig.why) == (1, "on")


def test_door_said_to_be_closed_ends_the_wait_but_needs_a_later_grant():
    rig = ready()
    guard.on_door(rig.state, rig.now, 1)
    rig.wait(2000)
    guard.on_door(rig.state, rig.now, 0)
    assert rig.heats() == 0
    assert rig.grant(age_ms=2250) == "before-clear"
    assert rig.grant(age_ms=1000) == "accepted"
    assert rig.heats() == 1


def test_stop_clears_the_permit_and_moves_the_mark_only_for_this_boot_and_hub():
    for boot, hub, seq, then in ((1, 1, 9, "not-newer"), (0, 1, 9, "accepted"), (1, 0, 9, "accepted")):
        rig = ready()
        assert guard.on_stop(rig.state, rig.now, boot, hub, seq) == 1
        assert (rig.heats(), rig.why) == (0, "off")
        assert rig.grant(seq=9) == then


def test_an_old_stop_is_obeyed_and_moves_no_mark_back():
    rig = ready()
    assert rig.grant(seq=50) == "accepted"
    assert guard.on_stop(rig.state, rig.now, 1, 1, 3) == 1
    assert rig.heats() == 0
    assert rig.grant(seq=50) == "not-newer"
    assert rig.grant(seq=51) == "accepted"


def test_another_hubs_stop_is_obeyed_once_a_minute():
    rig = ready()
    assert guard.on_stop(rig.state, rig.now, 1, 0, 1) == 1
    assert rig.grant() == "accepted"
    for _ in range(4):
        rig.wait(14_750)
        assert rig.grant() == "accepted"
        assert guard.on_stop(rig.state, rig.now, 1, 0, 1) == 0
        assert rig.heats() == 1
    rig.wait(1000)
    assert guard.on_stop(rig.state, rig.now, 1, 0, 1) == 1
    assert rig.heats() == 0


def test_the_hotter_of_two_chamber_probes_counts_and_a_faulty_second_does_not_stop_heat():
    rig = ready(limits=TO_GROUND + TO_RAIL)
    guard.on_second(rig.state, OK, 9000)
    assert rig.read(COOL) == 0
    assert rig.why == "cap"
    rig.wait(250)
    assert rig.grant() == "accepted"
    guard.on_second(rig.state, OPEN, 9999)
    assert rig.read(COOL) == 1
    guard.on_second(rig.state, OK, 9000)
    rig.read(COOL)
    assert guard.is_latched(rig.state)
    for second, done in ((8500, 0), (7999, 1)):
        guard.on_second(rig.state, OK, second)
        rig.read(COOL)
        assert guard.on_clear(rig.state, rig.now) == done


def test_every_order_of_writes_of_a_new_permit_shows_no_heat_but_the_old_or_the_new():
    class Watched(guard.array):
        """An array that a timer interrupt looks at after every write."""

        seen = None

        def __setitem__(self, index, value):
            super().__setitem__(index, value)
            if self.seen is not None:
                copy = guard.array("i", self)
                self.seen.append((guard.heat_allowed(copy, now), guard.duty(copy)))

    for old_duty in (None, 200):
        rig = ready(permit=False)
        if old_duty:
            rig.grant(duty=old_duty)
        rig.state, now = Watched("i", rig.state), rig.now
        before = (rig.heats(), guard.duty(rig.state))
        rig.state.seen = []
        assert rig.grant(duty=900) == "accepted"
        seen, rig.state.seen = rig.state.seen, None
        assert seen[-1] == (1, 900)
        assert (0, 0) in seen
        assert set(seen) <= {before, (0, 0), (1, 900)}


def test_each_lock_holds_alone_even_in_a_state_that_should_not_be():
    for slot, value in (
        ("_LATCH", 1),
        ("_LATCH", 5),
        ("_HOLD", 2),
        ("_GOOD", 0),
        ("_GOOD", 2),
        ("_DOOR", 3),
        ("_EXPIRY", 0),
        ("_EXPIRY", 40_000),  # more life than any grant can have
    ):
        rig = ready()
        rig.state[guard._BOOT_AT] = rig.state[guard._DOOR_AT] = rig.now
        rig.state[getattr(guard, slot)] = value
        assert rig.heats() == 0, (slot, value)
    rig = Rig(latched=1).wait(6000)
    rig.state[guard._GOOD] = 0
    assert guard.on_clear(rig.state, rig.now) == 0


def test_latch_that_was_opened_needs_two_new_samples_to_close():
    rig = ready()
    rig.read(HOT)
    rig.read(HOT)
    rig.wait(500)
    assert guard.on_clear(rig.state, rig.now) == 1
    rig.wait(250)
    rig.read(HOT)
    assert not guard.is_latched(rig.state)
