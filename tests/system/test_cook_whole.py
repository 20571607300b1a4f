"""A whole cook with real parts: broker, firmware in MicroPython on a heap of 190 kB, hub and disk."""

import pytest

from fiftyover.app.demo_table import closing_table

pytestmark = [pytest.mark.system, pytest.mark.long, pytest.mark.timeout(900)]

SLACK_KELVIN = 0.5 / 1.8  # the limit + 0.5 °F


def check_cook(cook, outcome):
    """All chubs came out in their band, and the true air never passed the limit + 0.5 °F."""
    print(closing_table(outcome))
    foot, top = outcome.plan.band_degC
    assert len(outcome.pulled_degC) == len(outcome.plan.chubs)
    outside = {number: core for number, core in outcome.pulled_degC.items() if not foot <= core <= top}
    assert not outside, f"pulled outside {foot:.2f} to {top:.2f} °C: {outside}"
    assert outcome.peak_air_degC <= outcome.plan.cap_degC + SLACK_KELVIN
    assert cook.world.hub.faults == 0
    assert cook.world.kit.alive()
    assert not any("Traceback" in line or "MemoryError" in line for line in cook.world.kit.log_tail(200))


def check_record(cook):
    """No committed frame is lost or doubled, and what is not there the kit has counted."""
    missing, counted = cook.settled_losses()
    rows = cook.rows()
    print(
        f"speed {cook.speed:.0f}; frames {len(rows)}, acknowledged {len(cook.acknowledged)}, missing {missing}, "
        f"of which the kit counted {counted}; permits that ran out {cook.world.hub.expiries}"
    )
    assert len(rows) == len(set(rows)), "a frame stands twice"
    assert len(rows) > 1000
    assert cook.acknowledged - set(rows) == set(), "acknowledged, but not on the disk"
    assert set(cook.committed) - set(rows) == set(), "committed, but not on the disk"
    assert len(cook.acknowledged) > 0.9 * len(rows)
    assert cook.store.reader.conflicts() == 0
    assert missing == counted, "the gaps are those that the kit thinned or dropped"


def test_whole_cook_through_mosquitto_with_the_broker_killed_in_the_middle(cooking, part):
    part("mosquitto")
    with cooking("mosquitto", 80.0) as cook:
        # Password file and access list are on: a client without an account gets no session.
        configuration = (cook.world.broker.folder / "mosquitto.conf").read_text()
        assert {"allow_anonymous false", f"acl_file {cook.world.broker.folder / 'access'}"} <= set(
            configuration.splitlines()
        )
        cook.kill_broker_at(7000.0)
        outcome = cook.world.cook(until_done=True)
        check_cook(cook, outcome)
        assert cook.world.broker.restarts == 1
        assert False in cook.links, "the hub noticed"
        assert cook.links[-1] is True
        check_record(cook)


def test_cook_of_warm_chubs_through_iotcore(cooking):
    with cooking("iotcore", 80.0, start_degC=58.0) as cook:
        outcome = cook.world.cook(until_done=True)
        check_cook(cook, outcome)
        check_record(cook)
