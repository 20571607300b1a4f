"""The forecast beside the running hub: on the page, after a restart, learned from the record, and never in the way."""

import threading
import time
from dataclasses import replace

import pytest

from fiftyover.app import foresight
from fiftyover.batch import events as ev
from fiftyover.batch.outlook import outlook
from fiftyover.control.forecast import BROAD

KIT = "kit-3f2a"


def second(rig):
    """A second of a cook: two cores that warm by 0.6 K a minute, the chamber soon 27.8 K above them."""
    rig.clock.advance(1.0)
    age_s = rig.clock.monotonic_s() - rig.began_s
    core = round(10.0 + age_s / 100.0, 2)
    rig.live(t=[round(min(15.0 + 0.12 * age_s, core + 27.8), 2), core, core], on=1, duty=0.4, why="on")


def minutes(rig, count):
    for _ in range(count * 60):
        second(rig)
    rig.hub.write()


def finishes(rig):
    return {chub["number"]: chub["finish"] for chub in rig.shown()["chubs"]}


def test_page_shows_when_each_hanging_chub_is_expected(cooking):
    minutes(cooking, 12)
    assert finishes(cooking) == {1: None, 2: None}
    assert cooking.hub.foresight.look()
    assert not cooking.hub.foresight.look(), "not due again before a minute passed"
    now_ms = cooking.clock.utc_ms()
    for low_ms, high_ms in finishes(cooking).values():
        assert now_ms < low_ms < high_ms
    cooking.hub.mark(ev.PULLED, {"chub": 2, "core_degC": 30.0}, "anna")
    assert finishes(cooking)[2] is None


def test_an_old_forecast_is_not_shown(cooking):
    minutes(cooking, 12)
    cooking.hub.foresight.look()
    cooking.clock.advance(foresight.STALE_S + 60.0)
    assert finishes(cooking) == {1: None, 2: None}


def test_killed_hub_looks_at_the_whole_cook_again(cooking, make_rig):
    minutes(cooking, 30)
    cooking.hub.foresight.look()
    before = finishes(cooking)[1]
    cooking.die()
    again = make_rig(began_s=cooking.began_s)
    again.seq = cooking.seq
    again.hub.take_up()
    minutes(again, 1)
    assert again.hub.foresight.look()
    after = finishes(again)[1]
    assert abs(after[0] - before[0]) < 0.25 * (before[0] - again.clock.utc_ms())


def test_a_finished_batch_of_this_kit_teaches_the_next(cooking, planned):
    minutes(cooking, 66)
    for chub in (1, 2):
        cooking.hub.mark(ev.PULLED, {"chub": chub, "core_degC": 67.0}, "anna")
    assert foresight.from_record(cooking.store, KIT, "").lines["slim"].batches == 1
    assert foresight.from_record(cooking.store, "kit-other", "") == BROAD
    assert foresight.from_record(cooking.store, KIT, cooking.hub.state.plan.batch_id) == BROAD


def test_forecast_of_the_second_batch_begins_with_what_the_first_one_showed(cooking, planned):
    minutes(cooking, 66)
    for chub in (1, 2):
        cooking.hub.mark(ev.PULLED, {"chub": chub, "core_degC": 67.0}, "anna")
    cooking.hub.write()
    cooking.hub.days.begin(replace(planned(), batch_id="7f2c0002"), KIT, {"kinds": ["pork"]})
    cooking.clock.advance(3600.0)
    assert cooking.hub.mark(ev.HUNG, {"batch": "7f2c0002"}, "anna")[0]
    hung_s = cooking.clock.monotonic_s()

    def forecast():
        for _ in range(12 * 60):
            cooking.clock.advance(1.0)
            age_s = cooking.clock.monotonic_s() - hung_s
            core = round(10.0 + age_s / 100.0, 2)
            cooking.live(t=[round(min(15.0 + 0.12 * age_s, core + 27.8), 2), core, core], on=1, duty=0.4, why="on")
        assert cooking.hub.foresight.look()
        low_ms, high_ms = finishes(cooking)[1]
        return low_ms - cooking.clock.utc_ms(), high_ms - low_ms

    _, width_ms = forecast()
    learned = cooking.hub.foresight._prior
    assert learned == foresight.from_record(cooking.store, KIT, "7f2c0002")
    assert learned.lines["slim"].batches == 1
    state, rows = cooking.hub.state, list(cooking.hub.foresight._memory.rows)
    told = {one.chub: one for one in outlook(state, rows, BROAD).prospects}
    # How much surer it makes, `tests/bench/forecast` tells; here the cores are a straight line, which no meat's are.
    assert learned.lines["slim"].spread[0] < 0.9 * BROAD.common[0]
    broad_ms = 1000.0 * (told[1].high_s - told[1].low_s)
    assert abs(width_ms - broad_ms) > 0.1 * broad_ms, "what was learned changes what is said"


def test_forecasting_all_the_time_does_not_keep_a_frame_waiting(cooking):
    minutes(cooking, 12)
    done, made = threading.Event(), []

    def for_ever():
        while not done.is_set():
            cooking.hub.foresight._looked_s = float("-inf")
            made.append(cooking.hub.foresight.look())

    worker = threading.Thread(target=for_ever)
    worker.start()
    waits = []
    try:
        while len(waits) < 40 or len(made) < 3:
            began = time.perf_counter()
            second(cooking)
            waits.append(time.perf_counter() - began)
            time.sleep(0.01)
            assert len(waits) < 2000
    finally:
        done.set()
        worker.join(20.0)
    assert all(made)
    assert sorted(waits)[int(0.99 * len(waits))] < 0.4  # of the 5 s between two permits


def test_a_forecast_that_fails_harms_nothing_else(cooking, monkeypatch, caplog):
    minutes(cooking, 12)

    def broken(*_):
        raise FloatingPointError("planted")

    monkeypatch.setattr(foresight, "outlook", broken)
    monkeypatch.setattr(foresight, "LEAST_S", 0.01)
    cooking.hub.foresight.start()
    deadline = time.monotonic() + 10.0
    while "no forecast this time" not in caplog.text and time.monotonic() < deadline:
        time.sleep(0.01)
    cooking.hub.foresight.stop()
    assert "planted" in caplog.text
    minutes(cooking, 1)
    assert cooking.hub.faults == 0
    assert finishes(cooking) == {1: None, 2: None}


@pytest.mark.parametrize("kit", ["", KIT])
def test_an_empty_record_teaches_nothing(rig, kit):
    assert foresight.from_record(rig.store, kit, "") == BROAD
