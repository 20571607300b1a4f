"""The counter between pages and hub: what can be undone, what the record lists, who is signed in after a restart."""

import json

import pytest

from fiftyover.app import day_errands, errands
from fiftyover.app.desk import HubDesk
from fiftyover.app.page import Page
from fiftyover.batch import day, opening
from fiftyover.batch import events as ev
from fiftyover.batch.events import Event
from fiftyover.broker import people


@pytest.fixture
def desk(cooking, tmp_path):
    return HubDesk(cooking.hub, tmp_path, None, "http://hub.test/")


def test_undo_is_offered_for_half_an_hour_and_then_no_more(cooking):
    cooking.run(10)
    cooking.hub.mark("hand-reading", {"chub": 1, "core_degC": 21.0}, "test")
    cooking.run(int(errands.UNDO_S) - 60)
    assert cooking.shown()["undo"]["label"] == "Undo: the reading of chub 1"
    cooking.run(120)
    assert cooking.shown()["undo"] is None


def test_stop_is_not_undone_but_ended_by_its_own_mark(cooking):
    cooking.run(10)
    cooking.hub.mark("stop-heat", {}, "test")
    told = cooking.shown()
    assert told["mark"]["kind"] == "resume-heat"
    assert told["undo"]["label"] == "Undo: the chubs hang"


def test_open_pages_share_their_curves_until_something_is_marked(desk, cooking, monkeypatch):
    cooking.run(5)
    asked = []
    real = cooking.hub.history
    monkeypatch.setattr(cooking.hub, "history", lambda points: asked.append(points) or real(points))
    assert desk.history(400) is desk.history(400)
    assert len(asked) == 1
    cooking.hub.mark("hand-reading", {"chub": 1, "core_degC": 21.0}, "test")
    assert [mark["label"] for mark in desk.history(400)["marks"]] == ["hung", "by hand 1"]
    assert len(asked) == 2


def test_batch_that_cannot_be_read_is_listed_as_such_and_has_no_page(desk, cooking):
    cooking.store.add_event("broken", Event(opening.PLANNED, 1.0, 1, {"plan": {"name": ""}, "kit": ""}))
    cooking.store.commit()
    listed = {one["id"]: one for one in desk.batches()}
    assert listed["broken"]["state"].startswith("cannot be read: ")
    assert listed["7f2c0001"]["state"] == "in the smoker"
    assert desk.batch("broken", "F-lb") is None
    assert desk.past("broken", 100)["t"] == []
    assert desk.export("broken", "csv", "F-lb") is None
    assert desk.compared("broken", "7f2c0001", "F-lb") is None


def test_running_clocks_and_marks_of_the_days_are_told(desk, cooking):
    cooking.run(5)
    for chub in (1, 2):
        assert cooking.hub.mark("pulled", {"chub": chub, "probe": "stays"}, "test")[0]
    cooking.hub.write()
    after = desk.clocks()["after"]
    assert (after["next"], after["mark"]["kind"]) == ("Into the ice bath with what is out.", day.INTO_ICE)
    assert day.COLD in {one["kind"] for one in after["others"]}
    assert cooking.hub.mark(day.INTO_ICE, {}, "test")[0]
    after = desk.clocks()["after"]
    assert (after["mark"]["kind"], after["undo"]["label"]) == (day.OUT_OF_ICE, "Undo: into the ice")


def test_batch_is_closed_only_after_the_second_thermometer(planned):
    pulled = ev.Book(planned(chubs=1, probes=1), hung_s={1: 0.0}, pulled_s={1: 9.0})
    kinds = {one["kind"] for one in day_errands.after(day.Day(iced_s={1: 9.0}), pulled)["others"]}
    assert day.SECOND in kinds
    assert day.CLOSED not in kinds
    read = day.Day(iced_s={1: 9.0}, second=day.Second(1, 10.0, 4.0, 4.1))
    assert day.CLOSED in {one["kind"] for one in day_errands.after(read, pulled)["others"]}


def test_every_mark_on_offer_is_one_that_the_batch_takes(desk, cooking):
    from fiftyover.web.words import MARKS

    cooking.run(5)
    told = cooking.shown()
    offered = [told["mark"], *told["others"], told["undo"], *desk.clocks()["after"]["others"]]
    assert {one["kind"] for one in offered if one} <= MARKS


def test_phone_is_sent_to_a_name_of_the_house_where_there_is_one():
    page = Page("127.0.0.1", 0, frozenset({"hub.home"}), None)
    assert page.link == f"http://hub.home:{page.port}/"
    page.stop()


def test_damaged_file_of_sign_ins_only_means_to_sign_in_again(tmp_path):
    file = people.SessionFile(tmp_path / "sessions.json")
    assert file.load() == {}
    told = {"name": "anna", "role": "cook", "token": "t", "ends_s": 9.0}
    file.save({"digest": told})
    assert file.load() == {"digest": told}
    (tmp_path / "sessions.json").write_text(json.dumps({"digest": {**told, "role": "king"}}))
    assert file.load() == {}
    (tmp_path / "sessions.json").write_text("{")
    assert file.load() == {}


def test_last_cook_cannot_be_taken_away(tmp_path):
    file = tmp_path / "accounts.json"
    people.add(file, "anna", "cook")
    people.add(file, "bo", "watcher")
    with pytest.raises(Exception, match="'anna' is the only cook"):
        people.remove(file, "anna")
    people.remove(file, "bo")
    assert set(people.load(file)) == {"anna"}
