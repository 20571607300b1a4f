"""A hub that is killed in the middle goes on from its record: the same chubs hang, a stop holds, an outage asks."""

from dataclasses import replace

from fiftyover.app.record import planned
from fiftyover.batch import events as ev
from fiftyover.batch.events import Event

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"


def killed(rig, make_rig, **options):
    """Kill the hub; a new one takes up the record, and the kit goes on counting."""
    rig.die()
    again = make_rig(began_s=rig.began_s, **options)
    again.seq = rig.seq
    again.hub.take_up()
    again.say("sys/cap", "95.00")
    return again


def minutes(rig, count):
    for _ in range(count * 60):
        rig.run(1)
    rig.hub.write()


def test_killed_hub_goes_on_with_the_same_chubs(cooking, make_rig):
    minutes(cooking, 5)
    cooking.hub.mark(ev.PULLED, {"chub": 2, "core_degC": 30.0}, "anna")
    minutes(cooking, 1)
    before = cooking.hub.state
    cooking.clock.advance(8.0)
    again = killed(cooking, make_rig)
    book = again.hub.state.book
    assert (book.hanging, set(book.pulled_s)) == ((1,), {2})
    assert book.log == before.book.log
    assert again.hub.state.plan == before.plan
    assert abs(again.hub.state.target_degC - before.target_degC) < 0.5
    again.run(1)
    [grant] = again.broker.grants()
    assert grant["seq"] > cooking.broker.grants()[-1]["seq"]
    assert ev.OUTAGE not in [event.kind for event in again.hub.state.book.log]


def test_stop_outlives_a_killed_hub(cooking, make_rig):
    minutes(cooking, 1)
    cooking.hub.mark(ev.STOP_HEAT, {}, "anna")
    again = killed(cooking, make_rig)
    again.run(30)
    assert again.broker.grants() == []
    assert len(again.broker.stops()) >= 1, "the kit may still hold a permit of the run before"
    assert again.shown()["stopped"] is True


def test_hub_that_was_away_for_long_asks_before_it_heats(cooking, make_rig):
    minutes(cooking, 2)
    cooking.clock.advance(2400.0)  # longer than the half hour after which a person decides
    again = killed(cooking, make_rig)
    again.run(20)
    assert again.broker.grants() == []
    assert "The power was away for long" in again.told()
    again.hub.mark(ev.RESUME_HEAT, {}, "anna")
    again.run(6)
    assert len(again.broker.grants()) >= 1


def test_kit_that_was_heard_after_the_batch_began_is_remembered(make_rig, plan):
    rig = make_rig(kit="")
    rig.hub.start_batch(plan)
    minutes(rig, 1)
    again = killed(rig, make_rig, kit="")
    assert again.hub.watch.kit == KIT
    assert again.hub.state.last.boot == BOOT, "its frames were read again"


def test_finished_batch_is_not_taken_up(cooking, make_rig):
    for number in (1, 2):
        cooking.hub.mark(ev.PULLED, {"chub": number}, "anna")
    assert killed(cooking, make_rig).hub.state is None


def test_warm_up_clock_goes_on_over_a_restart(cooking, make_rig):
    minutes(cooking, 10)
    before_s = cooking.hub._curves.warmup_s()
    assert before_s is not None
    assert 480 <= before_s <= 600  # ten minutes above 50 °F and below 130 °F
    again = killed(cooking, make_rig)
    assert abs(again.hub._curves.warmup_s() - before_s) <= 120.0  # minutes of the record against single frames


def test_batch_that_cannot_be_read_is_told_and_nothing_is_heated(rig, plan, make_rig):
    data = planned(plan, KIT, 5000.0, 0).data
    data["plan"]["colour"] = "blue"  # a key of a version to come
    rig.store.add_event("7f2c0001", Event("planned", 5000.0, 0, data))
    rig.store.commit()
    again = killed(rig, make_rig)
    again.run(12)
    assert again.hub.state is None
    assert again.broker.grants() == []
    assert "7f2c0001" in again.told()
    assert "cannot be taken up again" in again.told()
    assert "look after its meat" in again.told()
    again.hub.start_batch(replace(plan, batch_id="7f2c0002"))
    again.run(6)
    assert len(again.broker.grants()) >= 1
    assert "cannot be taken up" not in again.told()
