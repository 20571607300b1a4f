"""From the bowl to the hook: a batch begun on the page, its warm-up clock, its cure hold, the hanging."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any

import pytest

from fiftyover.app.desk import HubDesk
from fiftyover.batch import day
from fiftyover.batch import events as ev

SMALL = "kit-cold"


def recipe() -> dict[str, Any]:
    folder = resources.files("fiftyover.reports") / "recipes"
    return tomllib.loads(next(p for p in sorted(folder.iterdir(), key=str) if p.name.endswith(".toml")).read_text())


@pytest.fixture
def rig(make_rig: Any) -> Any:
    made = make_rig(kit="kit-3f2a", refrigerator=SMALL, kits={"kit-3f2a", SMALL})
    made.say("sys/cap", "95.00")
    return made


@pytest.fixture
def begun(rig: Any, tmp_path: Any) -> tuple[Any, HubDesk, str]:
    desk = HubDesk(rig.hub, tmp_path, None, "http://hub.test/")
    assert desk.begin(recipe()) == (True, "Begun. Its marks and clocks are under Now.")
    [one] = desk.clocks()["coming"]
    return rig, desk, one["batch"]


def coming(desk: HubDesk) -> dict[str, Any]:
    [one] = desk.clocks()["coming"]
    return one


def press(rig: Any, desk: HubDesk, **asked: Any) -> None:
    mark = coming(desk)["mark"]
    done, told = rig.hub.mark(mark["kind"], {**mark["data"], **asked}, "anna")
    assert done, told


def cold(rig: Any, minutes: int, degC: float, seq: int) -> int:
    """The small kit speaks once a minute."""
    from fiftyover_kit.contract import messages

    for _ in range(minutes):
        rig.clock.advance(60.0)
        seq += 1
        up_ms = round((rig.clock.monotonic_s() - rig.began_s) * 1000)
        raw = {
            "v": 1, "boot": "c01dc01dc01d", "seq": seq, "up": up_ms, "left": 0, "thinned": 0, "dropped": 0,
            "t": [degC], "s": ["ok"], "on": 0, "duty": 0.0, "why": "off",
        }  # fmt: skip
        rig.hub.step(rig.message("frame/sample", messages.encode_frame(raw), kit=SMALL))
    rig.hub.write()
    return seq


def test_marks_lead_from_the_bowl_to_the_smoker(begun: Any) -> None:
    rig, desk, batch = begun
    kinds = []
    for asked in ({"core_degC": 3.0}, {"core_degC": 8.0}, {}):
        kinds.append(coming(desk)["mark"]["kind"])
        press(rig, desk, **asked)
    assert kinds == [day.MIXED, day.STUFFED, day.COLD]
    undo = coming(desk)["undo"]
    assert undo["label"] == "Undo: into the refrigerator"
    assert rig.hub.mark(undo["kind"], undo["data"], "anna")[0]
    assert coming(desk)["mark"]["kind"] == day.COLD
    press(rig, desk)
    assert coming(desk)["mark"]["kind"] == ev.HUNG
    press(rig, desk)
    assert desk.clocks()["coming"] == []
    assert rig.hub.state.plan.batch_id == batch
    assert set(rig.hub.state.book.hanging) == {chub.number for chub in rig.hub.state.plan.chubs}
    assert rig.hub.mark(ev.HUNG, {"batch": "gone"}, "anna")[0] is False


def test_second_batch_is_not_hung_while_the_first_is_in_the_smoker(begun: Any) -> None:
    rig, desk, _ = begun
    assert rig.hub.mark(ev.HUNG, coming(desk)["mark"]["data"] | {"batch": coming(desk)["batch"]}, "anna")[0]
    assert desk.begin(recipe())[0]
    second = coming(desk)["batch"]
    done, told = rig.hub.mark(ev.HUNG, {"batch": second}, "anna")
    assert not done
    assert "still in the smoker" in told
    assert rig.hub.mark(day.MIXED, {"batch": second}, "anna")[0], "but it may be mixed"


def test_warm_up_clock_runs_from_a_warm_stuffing_and_goes_on_in_the_smoker(begun: Any) -> None:
    rig, desk, _ = begun
    assert coming(desk)["warm_s"] is None
    press(rig, desk)
    press(rig, desk, core_degC=14.0)  # 57 °F
    rig.clock.advance(1800.0)
    assert coming(desk)["warm_s"] == pytest.approx(1800.0)
    press(rig, desk)
    rig.clock.advance(40_000.0)
    assert coming(desk)["warm_s"] == pytest.approx(1800.0), "cold in the refrigerator"
    press(rig, desk)
    probes = sum(chub.probe is not None for chub in rig.hub.state.plan.chubs)
    cores = [20.0] * probes
    for _ in range(60):
        rig.clock.advance(60.0)
        rig.live(t=[60.0, *cores], s=["ok"] * (1 + probes))
    rig.hub.write()
    # half an hour on the table, and an hour in the smoker, whose first minute counts though nothing was read in it
    assert rig.shown()["warmup_s"] == pytest.approx(1800.0 + 3600.0, abs=1.0)
    before_s = rig.shown()["warmup_s"]
    rig.clock.advance(600.0)  # nothing is heard, and the heat is off
    assert rig.shown()["warmup_s"] == pytest.approx(before_s + 600.0, abs=1.0)


def test_batch_left_on_the_table_is_told_after_two_hours(begun: Any) -> None:
    rig, desk, _ = begun
    press(rig, desk)
    press(rig, desk, core_degC=8.0)
    assert coming(desk)["warm_s"] == 0.0, "it was cold when it was stuffed"
    rig.clock.advance(7100.0)
    assert coming(desk)["alarms"] == []
    rig.clock.advance(200.0)
    assert "not in the refrigerator" in " ".join(coming(desk)["alarms"])
    press(rig, desk)
    assert coming(desk)["alarms"] == []


def test_small_kit_watches_the_cure_hold(begun: Any) -> None:
    rig, desk, _ = begun
    for asked in ({}, {"core_degC": 8.0}, {}):
        press(rig, desk, **asked)
    hold_s = coming(desk)["hold_left_s"]
    seq = cold(rig, 115, 8.0, 0)
    assert coming(desk)["refrigerator_degC"] == pytest.approx(8.0)
    assert coming(desk)["hold_left_s"] == pytest.approx(hold_s - 115 * 60.0)
    assert coming(desk)["alarms"] == [], "two hours of grace when loaded"
    seq = cold(rig, 10, 8.0, seq)
    assert "above 40 °F" in rig.told()
    seq = cold(rig, 15, 3.0, seq)
    assert "above 40 °F" not in rig.told()
    seq = cold(rig, 15, -2.0, seq)
    assert "below 30 °F" in rig.told()
    rig.clock.advance(1900.0)
    rig.hub.write()
    assert "not heard for half an hour" in rig.told()


def test_small_kit_is_never_the_one_that_heats(make_rig: Any) -> None:
    rig = make_rig(kit="", refrigerator=SMALL)
    cold(rig, 3, 4.0, 0)
    assert rig.hub.watch.kit == ""
    rig.run(3)
    assert rig.hub.watch.kit == "kit-3f2a"
    assert {kit for kit, *_ in rig.store.reader.rows("SELECT DISTINCT kit FROM frames")} <= {SMALL, "kit-3f2a"}


def test_turned_chubs_swap_their_places_on_the_page_and_back(cooking: Any) -> None:
    cooking.run(5)
    places = [chub["place"] for chub in cooking.shown()["chubs"]]
    assert cooking.hub.mark(day.TURNED, {"chubs": [1, 2]}, "anna")[0]
    assert [chub["place"] for chub in cooking.shown()["chubs"]] == places[::-1]
    assert cooking.hub.mark(day.UNDO_MARK, {}, "anna")[0]
    assert [chub["place"] for chub in cooking.shown()["chubs"]] == places


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"starter": "a culture"}, ["starter culture", "leave it out"]),
        ({"cure": {"number": 2}}, ["cure No. 2", "is that on the label"]),
        ({"cure": {"nitrate": "4 %"}}, ["nitrate", "is that on the label"]),
        ({"cure": {"weight": "2 tsp"}}, ["2 tsp", "by volume", "weigh it"]),
        ({"acid": {"name": "encapsulated citric acid", "amount": "0.5 %"}}, ["mixed in last", "cure_hold"]),
        ({"water": "100"}, ["100", "lacks its unit"]),
    ],
)
def test_what_makes_another_product_is_refused_on_the_page(
    tmp_path: Any, cooking: Any, change: dict[str, Any], words: list[str]
) -> None:
    desk = HubDesk(cooking.hub, tmp_path, None, "http://hub.test/")
    data = recipe()
    for key, value in change.items():
        data[key] = {**data.get(key, {}), **value} if isinstance(value, dict) else value
    told = desk.sheet(data, False)["sentence"]
    assert all(word in told for word in words), told
    for begin in (desk.begin, desk.hang):
        done, sentence = begin(data)
        assert not done
        assert sentence == told
