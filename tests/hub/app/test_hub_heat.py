"""When the hub grants heat and when it does not: a virtual clock, a broker that remembers, a kit played by hand."""

import pytest

from fiftyover.errors import HubError
from fiftyover_kit.contract import messages

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"


def test_live_frame_is_answered_by_a_grant_in_the_same_step(cooking):
    cooking.clock.advance(7.0)
    cooking.live()
    [grant] = cooking.broker.grants()
    assert (grant["boot"], grant["up"], grant["ttl"]) == (BOOT, 7000, 15)
    assert grant["hub"] == cooking.store.hub_id


def test_grants_come_every_five_seconds_each_on_a_frame_of_its_own(cooking):
    cooking.run(31, t=[40.0, 20.0, 20.0])
    grants = cooking.broker.grants()
    assert [grant["up"] for grant in grants] == [1000, 6000, 11000, 16000, 21000, 26000, 31000]
    assert grants[-1]["duty"] > 0  # the chamber is 20 K above the cores, where 27.78 K are wanted
    numbers = [grant["seq"] for grant in grants]
    assert numbers == sorted(set(numbers))


def test_passing_time_alone_grants_nothing(cooking):
    cooking.run(1)
    for _ in range(30):
        cooking.clock.advance(1.0)
        cooking.hub.step(None)
    assert len(cooking.broker.grants()) == 1


def test_same_frame_again_grants_nothing(cooking):
    cooking.clock.advance(1.0)
    payload = cooking.sample()
    for _ in range(3):
        cooking.clock.advance(5.0)
        cooking.hub.step(cooking.message("frame/sample", payload))
    assert len(cooking.broker.grants()) == 1


def test_backlog_grants_nothing(cooking):
    cooking.run(1)
    cooking.clock.advance(20.0)
    frames = [cooking.content(seq, age_s=19.0 - seq) for seq in range(2, 12)]
    payload = messages.encode_backlog({"v": 1, "boot": BOOT, "frames": frames})
    cooking.hub.step(cooking.message("frame/backlog", payload))
    assert len(cooking.broker.grants()) == 1


def test_frames_out_of_a_stalled_broker_grant_nothing_until_one_is_fresh(cooking):
    cooking.run(1)
    cooking.clock.advance(30.0)
    for age_s in (24.0, 18.0, 12.0, 6.0):
        cooking.live(age_s=age_s)
    assert len(cooking.broker.grants()) == 1
    assert "no heat on readings older than 5 s" in cooking.told()
    cooking.live(age_s=0.2)
    assert len(cooking.broker.grants()) == 2
    assert "older than 5 s" not in cooking.told()


def test_retained_frame_grants_nothing_and_is_told(cooking):
    cooking.hub.step(cooking.message("frame/sample", cooking.sample(), retained=True))
    assert cooking.broker.grants() == []
    assert "came retained" in cooking.told()


def test_without_a_batch_there_is_no_heat(rig):
    rig.run(12)
    assert rig.broker.grants() == []
    assert rig.shown()["next"] == "No batch is running."


def test_second_batch_is_refused_while_one_hangs(cooking, planned):
    with pytest.raises(HubError, match="still in the smoker"):
        cooking.hub.start_batch(planned(chubs=1))
    cooking.run(1)
    assert len(cooking.broker.grants()) == 1  # the first goes on


def test_chamber_probe_at_fault_is_a_stop_at_once(cooking):
    cooking.run(3)
    cooking.clock.advance(1.0)
    cooking.live(t=[None, 20.0, 20.0], s=["open", "ok", "ok"])
    assert len(cooking.broker.stops()) == 1
    assert "the chamber probe reads 'open'" in cooking.told()
    cooking.run(30, t=[None, 20.0, 20.0], s=["open", "ok", "ok"])
    assert len(cooking.broker.grants()) == 1


def test_limit_has_to_lie_five_fahrenheit_below_the_kits_cut_off(make_rig, planned):
    rig = make_rig()
    rig.hub.start_batch(planned(cap_degC=85.0))
    rig.run(2)
    assert rig.broker.grants() == []
    assert "has not said its own limit" in rig.told()
    rig.say("sys/cap", "87.70")  # 2.7 K above, where 5 °F = 2.78 K are needed
    rig.run(6)
    assert rig.broker.grants() == []
    assert "5 °F or more below the cut-off" in rig.told()
    rig.say("sys/cap", "87.80")
    rig.run(6)
    assert len(rig.broker.grants()) >= 1
    assert "No heat" not in rig.told()


def test_kit_that_told_its_cut_off_before_it_was_chosen_is_heated(make_rig, plan):
    rig = make_rig(kit="")  # the first one heard
    rig.say("sys/cap", "95.00")
    rig.hub.start_batch(plan)
    rig.run(1)
    assert rig.hub.watch.kit == KIT
    assert len(rig.broker.grants()) == 1


def test_second_kit_does_not_heat_a_hub_that_has_one(make_rig, plan):
    rig = make_rig(kit="")
    rig.say("sys/cap", "95.00")
    rig.hub.start_batch(plan)
    rig.run(1)
    rig.clock.advance(6.0)
    rig.hub.step(rig.message("frame/sample", rig.sample(boot="aaaaaaaaaaaa"), kit="kit-2"))
    assert len(rig.broker.grants()) == 1
    assert rig.hub.last_frame.kit == KIT


def test_faster_than_life_serves_a_simulated_kit_only(make_rig, plan):
    rig = make_rig(simulated_only=True)
    rig.say("sys/cap", "95.00")
    rig.hub.start_batch(plan)
    rig.run(6)
    assert rig.broker.grants() == []
    assert "a simulated kit only" in rig.told()
    rig.say("sys/simulated", "true")
    rig.run(6)
    assert len(rig.broker.grants()) >= 1
    assert "a simulated kit only" not in rig.told()


def test_permits_that_ran_out_are_counted_once_each(cooking):
    for why in ("on", "expired", "expired", "on", "expired"):
        cooking.run(1, why=why)
    assert cooking.hub.expiries == 2


def test_hub_that_ends_withdraws_heat(cooking):
    cooking.run(3)
    cooking.hub.stop()
    [stop] = cooking.broker.stops()
    assert stop["boot"] == BOOT
    assert stop["seq"] > cooking.broker.grants()[-1]["seq"]


def test_used_up_permit_numbers_are_followed_by_those_of_a_new_committed_run(cooking):
    cooking.run(1)
    first = cooking.broker.grants()[0]["seq"]
    assert first >> 16 == 1
    cooking.hub.parts.heater._numbers._count = (1 << 16) - 1  # four days of permits later
    cooking.run(5)
    second = cooking.broker.grants()[1]["seq"]
    assert second == (2 << 16) + 1
    assert cooking.store.reader.rows("SELECT run FROM hub") == [(2,)]


def test_new_run_number_that_cannot_be_committed_means_no_heat_and_is_told(cooking):
    cooking.run(1)
    cooking.hub.parts.heater._numbers._count = (1 << 16) - 1
    cooking.store._connection.execute("PRAGMA query_only = ON")
    cooking.run(6)
    assert len(cooking.broker.grants()) == 1
    assert "for want of a new permit number" in cooking.told()
    cooking.store._connection.execute("PRAGMA query_only = OFF")
    cooking.run(12)
    assert len(cooking.broker.grants()) >= 2
    assert "permit number" not in cooking.told()


def test_restart_after_new_runs_counts_on(cooking, make_rig):
    cooking.hub.parts.heater._numbers._count = (1 << 16) - 1
    cooking.run(1)
    assert cooking.store.run_number == 2
    cooking.die()
    assert make_rig(began_s=cooking.began_s).store.run_number == 3
