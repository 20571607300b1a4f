"""The days around the cook in the running hub: two batches overlap, clocks run, alarms come in time and go."""

import math
from collections.abc import Callable
from typing import Any

import pytest

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.batch.plan import Plan

OTHER = "0ther001"
MADE_OF = {"kinds": ["pork"], "nitrite_ppm": 150.0, "erythorbate_ppm": 0.0, "hold_s": 50_400.0, "poultry": False}


@pytest.fixture
def other(planned: Callable[..., Plan]) -> Plan:
    from dataclasses import replace

    return replace(planned(), batch_id=OTHER, name="The next one")


def test_a_batch_is_stuffed_while_another_hangs(cooking: Any, other: Plan) -> None:
    hub = cooking.hub
    cooking.run(10)
    hub.days.begin(other, "kit-3f2a", MADE_OF)
    assert hub.mark(day.STUFFED, {"batch": OTHER, "core_degC": 9.0}, "anna")[0]
    assert hub.mark(day.COLD, {"batch": OTHER}, "anna")[0]
    assert hub.mark(ev.PULLED, {"chub": 1, "probe": "stays"}, "anna")[0]
    assert hub.mark(day.INTO_ICE, {}, "anna")[0], "without a batch it is the one in the smoker"
    assert hub.days.open_batches() == ["7f2c0001", OTHER]
    assert hub.days.look(OTHER)["hold_left_s"] == pytest.approx(50_400.0)
    assert hub.state.book.hanging == (2,)


def test_a_restarted_hub_goes_on_with_the_one_that_hangs(cooking: Any, other: Plan, make_rig: Any) -> None:
    cooking.run(10)
    cooking.hub.days.begin(other, "kit-3f2a", MADE_OF)
    cooking.hub.mark(day.MIXED, {"batch": OTHER}, "anna")
    cooking.die()
    again = make_rig(began_s=cooking.began_s)
    again.hub.take_up()
    assert again.hub.state.plan.batch_id == "7f2c0001"
    assert again.hub.state.book.hanging == (1, 2)


def test_a_mark_that_does_not_fit_is_one_sentence(cooking: Any) -> None:
    assert cooking.hub.mark(day.CLOSED, {}, "anna") == (
        False, "Chubs still hang in the smoker: mark them as pulled before the batch is closed.",
    )  # fmt: skip
    assert cooking.hub.mark(day.MIXED, {"batch": "nothing"}, "anna")[0] is False


def test_a_mark_is_on_the_disk_before_it_is_confirmed(cooking: Any) -> None:
    assert cooking.hub.mark(day.WOOD, {"note": "oak"}, "anna")[0]
    assert [event.kind for event in cooking.store.reader.events("7f2c0001")][-1] == day.WOOD


def cool(rig: Any, minutes: int, around_degC: float, tau_min: float, core: float) -> float:
    """Pulled chubs with their probes in, a frame every 20 s."""
    for _ in range(minutes * 3):
        core = around_degC + (core - around_degC) * math.exp(-1.0 / (3.0 * tau_min))
        rig.clock.advance(20.0)
        rig.live(t=[30.0, round(core, 2), round(core, 2)])
    rig.hub.write()
    return core


def pulled_hot(cooking: Any) -> None:
    cooking.run(30, t=[90.0, 67.0, 67.0])
    for number in (1, 2):
        assert cooking.hub.mark(ev.PULLED, {"chub": number, "probe": "stays"}, "anna")[0]


def test_chubs_in_ice_as_planned_raise_no_alarm(cooking: Any) -> None:
    pulled_hot(cooking)
    assert cooking.hub.mark(day.INTO_ICE, {}, "anna")[0]
    core = 67.0
    for _ in range(4):
        core = cool(cooking, 15, 1.0, 15.0, core)
        assert "cools too slowly" not in cooking.told()
    assert core < 4.44
    assert cooking.hub.days.look("7f2c0001")["chill"] == []


def test_chubs_forgotten_in_the_room_raise_the_alarm_while_it_can_be_mended(cooking: Any) -> None:
    pulled_hot(cooking)
    core = cool(cooking, 60, 24.0, 60.0, 67.0)
    look = cooking.hub.days.look("7f2c0001")["chill"]
    assert [one["where"] for one in look] == ["room", "room"]
    assert look[0]["refrigerator_in_s"] is not None
    assert "ice water now" not in cooking.told(), "five hours are left of 120 to 55 °F"
    while "ice water now" not in cooking.told():
        core = cool(cooking, 15, 24.0, 60.0, core)
    left_s = max(one["left_s"] for one in cooking.hub.days.look("7f2c0001")["chill"])
    assert 1800.0 < left_s < 3 * 3600.0
    cooking.hub.mark(day.INTO_ICE, {}, "anna")
    core = cool(cooking, 60, 1.0, 15.0, core)
    assert "ice water now" not in cooking.told()


def test_slow_chubs_in_the_refrigerator_that_are_on_course_raise_no_alarm(cooking: Any) -> None:
    pulled_hot(cooking)
    assert cooking.hub.mark(day.COLD, {}, "anna")[0]
    core = 67.0
    for _ in range(27):  # 120 to 55 °F in 347 min of 360
        core = cool(cooking, 15, 3.0, 225.0, core)
        assert "ice water" not in cooking.told()


def test_probes_that_went_to_the_next_batch_tell_nothing_of_the_last(cooking: Any, other: Plan) -> None:
    pulled_hot(cooking)
    assert cooking.hub.mark(day.INTO_ICE, {}, "anna")[0]
    cool(cooking, 30, 1.0, 15.0, 67.0)  # to 9.9 °C
    cooking.hub.start_batch(other)
    for _ in range(40):
        cooking.clock.advance(60.0)
        cooking.live(t=[80.0, 50.0, 50.0])
    cooking.hub.write()
    [one, _] = cooking.hub.days.look("7f2c0001")["chill"]
    assert one["core_degC"] < 12.0
    assert one["rewarmed_kelvin"] < 1.0
    assert "Chub 1 cool" not in cooking.told()


def test_a_warm_refrigerator_is_told_after_its_grace(rig: Any, other: Plan) -> None:
    rig.hub.days.begin(other, "kit-3f2a", MADE_OF)
    assert rig.hub.mark(day.COLD, {"batch": OTHER, "probe": 2}, "anna")[0]
    for hour in range(3):
        for _ in range(60):
            rig.clock.advance(60.0)
            rig.live(t=[20.0, 20.0, 7.0])
        rig.hub.write()
        assert ("above 40 °F" in rig.told()) is (hour == 2)
    for _ in range(20):
        rig.clock.advance(60.0)
        rig.live(t=[20.0, 20.0, 3.0])
    rig.hub.write()
    assert "above 40 °F" not in rig.told()
