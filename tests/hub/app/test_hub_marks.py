"""What a person's marks do: a stop is on the disk before it is confirmed, and holds until a cook resumes heat."""

import pytest

from fiftyover.batch import events as ev

KIT = "kit-3f2a"


def kinds(rig):
    """Kinds of the events on the disk, read by a connection of its own."""
    return [event.kind for event in rig.store.events("7f2c0001")]


def test_stop_is_on_the_disk_when_it_is_confirmed(cooking):
    cooking.run(2)
    done, sentence = cooking.hub.mark(ev.STOP_HEAT, {}, "anna")
    assert done
    assert "stays off until a cook resumes it" in sentence
    [stopped] = [event for event in cooking.store.events("7f2c0001") if event.kind == ev.STOP_HEAT]
    assert stopped.data == {"who": "anna"}
    assert len(cooking.broker.stops()) == 1


def test_heat_stays_off_after_a_stop_until_a_cook_resumes_it(cooking):
    cooking.run(2)
    cooking.hub.mark(ev.STOP_HEAT, {}, "anna")
    cooking.run(60)
    assert len(cooking.broker.grants()) == 1
    assert cooking.shown()["stopped"] is True
    assert cooking.shown()["next"] == "The heat is stopped. Look after the meat."
    assert cooking.hub.mark(ev.RESUME_HEAT, {}, "anna") == (True, "Heat may go on.")
    assert len(cooking.broker.grants()) == 1, "only a fresh decision on a frame may grant"
    cooking.run(6)
    assert len(cooking.broker.grants()) >= 2


def test_stop_that_cannot_be_saved_is_sent_and_said_to_be_unsaved(cooking):
    cooking.run(2)
    cooking.store._connection.execute("PRAGMA query_only = ON")
    done, sentence = cooking.hub.mark(ev.STOP_HEAT, {}, "anna")
    assert done
    assert "not saved yet" in sentence
    assert len(cooking.broker.stops()) == 1
    assert ev.STOP_HEAT not in kinds(cooking)
    cooking.hub.write()  # the store opens the file anew after such a fault
    assert ev.STOP_HEAT in kinds(cooking)


def test_stop_with_nonsense_beside_it_is_a_stop(cooking):
    cooking.run(2)
    done, _ = cooking.hub.mark(ev.STOP_HEAT, {"x": float("inf"), "who": "mallory"}, "anna")
    assert done
    assert kinds(cooking)[-1] == ev.STOP_HEAT
    assert cooking.hub.state.book.stopped == "person"


def test_stop_out_of_reach_sends_a_person_and_is_sent_until_it_works(cooking):
    cooking.run(2)
    cooking.clock.advance(20.0)
    _, sentence = cooking.hub.mark(ev.STOP_HEAT, {}, "anna")
    assert sentence == "Not delivered: go to the smoker."
    for _ in range(12):
        cooking.clock.advance(1.0)
        cooking.hub.step(None)
    assert len(cooking.broker.stops()) >= 3
    assert "not delivered: go to the smoker" in cooking.told()
    cooking.run(6)  # the kit is back, and its frames show the element off
    sent = len(cooking.broker.stops())
    assert "not delivered" not in cooking.told()
    cooking.run(20)
    assert len(cooking.broker.stops()) == sent


def test_stop_without_a_batch_reaches_the_kit(rig):
    rig.run(1)
    assert rig.hub.mark(ev.STOP_HEAT, {}, "anna")[0]
    assert len(rig.broker.stops()) == 1


def test_mark_without_a_batch_is_refused(rig):
    assert rig.hub.mark(ev.PULLED, {"chub": 1}, "anna") == (False, "No batch is running.")


@pytest.mark.parametrize(
    ("kind", "data", "said"),
    [
        (ev.PULLED, {"chub": 9}, "no chub 9"),
        (ev.PULLED, {}, "number is missing"),
        (ev.HAND_READING, {"chub": 1, "core_degC": "hot"}, "no core temperature"),
        (ev.PULLED, {"chub": 1, "note": float("inf")}, "JSON"),
        ("dance", {}, "not known"),
    ],
)
def test_mark_that_does_not_fit_is_a_sentence_and_changes_nothing(cooking, kind, data, said):
    before = (cooking.hub.state.book, kinds(cooking))
    done, sentence = cooking.hub.mark(kind, data, "anna")
    assert not done
    assert said in sentence
    cooking.store.commit()
    assert (cooking.hub.state.book, kinds(cooking)) == before


def test_pulled_chub_is_on_the_disk_and_out_of_the_picture(cooking):
    done, sentence = cooking.hub.mark(ev.PULLED, {"chub": 2, "core_degC": 67.5}, "anna")
    assert (done, sentence) == (True, "Pulled. Into the ice bath with it.")
    assert kinds(cooking)[-1] == ev.PULLED
    chubs = {chub["number"]: chub["state"] for chub in cooking.shown()["chubs"]}
    assert chubs == {1: "hanging", 2: "pulled"}


def test_last_chub_pulled_ends_heat(cooking):
    cooking.run(2)
    for number in (1, 2):
        cooking.hub.mark(ev.PULLED, {"chub": number}, "anna")
    assert kinds(cooking)[-1] == ev.FINISHED
    cooking.run(12)
    assert len(cooking.broker.grants()) == 1
    assert len(cooking.broker.stops()) >= 1
    assert not cooking.hub.cooking
