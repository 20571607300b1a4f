"""What a decision means on the wire: permits, with the stand-by that the plan offers, and stops."""

from dataclasses import replace

import pytest

from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.state import decision, new_state
from fiftyover.heater import Heater, follow
from fiftyover.store.frames import DatedFrame
from fiftyover_kit.contract import messages

BOOT = "9f3c1a02b7e4"


class Wire:
    """A broker's place: every message, read as a kit reads it."""

    def __init__(self):
        self.grants, self.stops = [], []

    def publish(self, topic, payload, _qos, _retain):
        if topic.endswith("heater/grant/set"):
            self.grants.append(messages.decode_grant(payload))
        elif topic.endswith("heater/stop/set"):
            self.stops.append(messages.decode_stop(payload))
        return True


def frame(seq, at_s):
    return DatedFrame("kit-1", BOOT, seq, 1000 * seq, 0, at_s, [60.0], ["ok"], 0, 0.0, "off", True)


def decided(target_degC=70.0, batch_id="7f2c", **plan):
    chubs = (Chub(1, "stout", 64.0, "hook 1", 1),)
    state = new_state(Plan(batch_id, "test", chubs, 82.2, **plan))
    return decision(state._replace(heat=True, duty=0.4, target_degC=target_degC, why="following"), fresh=True)


@pytest.fixture
def wire():
    return Wire()


@pytest.fixture
def heater(wire):
    made = Heater("c01d", 1, wire.publish)
    made.set_caps("kit-1", kit_cap_degC=107.2, process_cap_degC=82.2)
    return made


def test_plan_that_asks_for_no_stand_by_offers_none(heater, wire):
    assert follow(heater, frame(1, 100.0), decided(), 101.0) is None
    assert "standby" not in wire.grants[0]


@pytest.mark.parametrize(("target_degC", "offered"), [(70.0, 66.0), (66.0, 66.0), (61.237, 61.23), (None, None)])
def test_stand_by_is_offered_at_the_plans_temperature_but_never_hotter_than_the_target(
    heater, wire, target_degC, offered
):
    follow(heater, frame(1, 100.0), decided(target_degC, standby_degC=66.0, standby_s=7200), 101.0)
    wish = wire.grants[0].get("standby")
    assert wish == (offered and {"batch": "7f2c", "degC": offered, "s": 7200})


def test_batch_whose_id_no_kit_could_be_bound_to_offers_none(heater, wire):
    assert follow(heater, frame(1, 100.0), decided(batch_id="Batch 7", standby_degC=66.0), 101.0) is None
    assert "standby" not in wire.grants[0]


def test_end_of_a_batch_is_said_with_a_stop_which_ends_what_was_armed(heater, wire):
    going = decided(standby_degC=66.0)
    follow(heater, frame(1, 100.0), going, 101.0)
    over = replace(going, heat=False, duty=0.0, why="finished")
    follow(heater, frame(2, 105.0), over, 105.5)
    follow(heater, frame(3, 106.0), over, 106.5)
    assert len(wire.grants) == 1
    assert [stop["boot"] for stop in wire.stops] == [BOOT]
    assert wire.stops[0]["seq"] > wire.grants[0]["seq"]
