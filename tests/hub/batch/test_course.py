"""A batch walks through its stages: times, cores and the person's word end them, the chamber does what each asks."""

import pytest

from fiftyover.batch import events as ev
from fiftyover.batch.again import rebuild
from fiftyover.batch.decide import Decision
from fiftyover.batch.stages import Stage
from fiftyover.errors import PlanError
from hub.batch.simple_smoker import FOOT, TOP, Smoker, plan

PREHEAT = Stage("preheat", "hold", hold_degC=60.0, empty=True, after_s=1800.0)
DRY = Stage("dry", "hold", hold_degC=54.0, mark="dry to the touch")
SMOKE = Stage("smoke", "hold", hold_degC=60.0, smoke=True, after_s=3600.0)
CLIMB = Stage("climb", "follow", lift_kelvin=20.0, limit_degC=74.0, core_degC=55.0)
COOK = Stage("cook", "follow", floor_degC=60.0)


class Sluggish(Smoker):
    """A smoker whose chamber answers 35 s late."""

    def step(self, powered: bool = True) -> None:
        late: list[Decision | None] = self.__dict__.setdefault("late", [None] * 35)
        late.append(self.decision)
        self.decision = late.pop(0)
        super().step(powered)


def smoker_with(*stages: Stage, **changes: object) -> Smoker:
    return Smoker(plan(3, stages=stages, **changes))


def hung(*stages: Stage, **changes: object) -> Smoker:
    smoker = smoker_with(*stages, **changes)
    smoker.hang()
    return smoker


def test_every_kind_of_end_ends_its_stage_and_all_chubs_come_into_their_band() -> None:
    smoker = hung(DRY, SMOKE, CLIMB, COOK).run(5400.0)
    book = smoker.state.book
    assert (book.stage, smoker.decision.why) == (0, "stage")  # type: ignore[union-attr]  # nobody said that it is dry
    assert smoker.decision.target_degC == pytest.approx(54.0)  # type: ignore[union-attr]
    assert abs(smoker.chamber - 54.0) < 1.0
    smoker.mark("next-stage", {"stage": 0})
    smoker.run(1800.0)
    assert abs(smoker.chamber - 60.0) < 1.0
    smoker.run(1830.0)
    assert [e.data["ended"] for e in smoker.of_kind("stage")] == ["time"]
    begun = smoker.of_kind("next-stage")[0].at_s
    assert smoker.of_kind("stage")[0].at_s == pytest.approx(begun + 3600.0, abs=10.0)
    smoker.run(1800.0)
    assert smoker.decision.why in ("following", "limit")  # type: ignore[union-attr]
    assert smoker.chamber == pytest.approx(min(min(smoker.core) + 20.0, 74.0 - smoker.plan.margin_kelvin), abs=1.0)
    smoker.to_core(54.9)
    assert smoker.state.book.stage == 2
    smoker.run(600.0)
    assert smoker.state.book.stage == 3
    smoker.finish()
    assert [e.data["ended"] for e in smoker.of_kind("stage")] == ["time", "core"]
    assert all(FOOT <= core <= TOP for core in smoker.pulled.values()), smoker.pulled


def test_a_core_ends_its_stage_only_after_three_minutes_of_it() -> None:
    smoker = hung(CLIMB, COOK)
    smoker.run(40000.0, lambda s: min(s.core) >= 55.0)
    reached_s = smoker.at_s
    smoker.run(900.0, lambda s: s.state.book.stage == 1)
    assert 170.0 < smoker.at_s - reached_s < 400.0


def test_a_probe_in_the_air_ends_no_stage() -> None:
    smoker = hung(CLIMB, COOK).to_core(40.0)
    for channel in (1, 2, 3):
        smoker.fallen[channel] = (smoker.core[channel - 1], 20.0)
    smoker.run(900.0)
    assert max(value for value, _ in smoker.fallen.values()) > 55.0
    assert smoker.state.book.stage == 0


def test_a_stage_limit_holds_while_it_runs() -> None:
    smoker = hung(CLIMB, COOK)
    smoker.run(40000.0, lambda s: s.state.book.stage == 1)
    assert max(chamber for _, chamber, *_ in smoker.trace) < 74.0


def test_empty_smoker_is_preheated_and_hanging_begins_the_next_stage() -> None:
    smoker = smoker_with(PREHEAT, DRY, COOK)
    smoker.run(60.0)
    assert smoker.decision.why == "not-started"  # type: ignore[union-attr]
    smoker.mark("preheat", {})
    smoker.run(1500.0)
    assert smoker.decision.heat  # type: ignore[union-attr]
    assert smoker.chamber == pytest.approx(60.0, abs=1.0)
    assert "start-checked" in smoker.kinds()
    smoker.run(1800.0)
    assert smoker.chamber == pytest.approx(60.0, abs=1.0)  # its time is over, the chubs are not there yet
    smoker.hang()
    smoker.run(60.0)
    assert smoker.state.book.stage == 1
    assert smoker.decision.why == "stage"  # type: ignore[union-attr]
    assert smoker.kinds().count("start-checked") == 1  # no start pulse in the middle of a batch


def test_preheat_that_nobody_comes_to_ends() -> None:
    smoker = smoker_with(PREHEAT, COOK)
    smoker.mark("preheat", {})
    smoker.run(1800.0 + 2 * 3600.0 + 60.0)
    assert (smoker.decision.heat, smoker.decision.why) == (False, "not-hung")  # type: ignore[union-attr]
    assert any(note.startswith("No heat") for note in smoker.decision.notes)  # type: ignore[union-attr]


def test_a_stop_ends_the_preheat_heat_at_once() -> None:
    smoker = smoker_with(PREHEAT, COOK)
    smoker.mark("preheat", {})
    smoker.run(900.0)
    assert not smoker.mark("stop-heat", {}).heat
    smoker.run(60.0)
    assert (smoker.decision.heat, smoker.decision.why) == (False, "stopped")  # type: ignore[union-attr]


def test_no_believable_core_holds_no_more_than_the_stage_asks() -> None:
    smoker = hung(SMOKE, COOK).run(1500.0)
    smoker.status = {1: "open", 2: "open", 3: "open"}
    smoker.run(1500.0)
    assert smoker.decision.why == "holding"  # type: ignore[union-attr]
    assert smoker.decision.target_degC == pytest.approx(60.0)  # type: ignore[union-attr]


def test_undo_of_a_stage_that_was_ended_goes_back_to_it() -> None:
    smoker = hung(DRY, SMOKE, COOK).run(600.0)
    smoker.mark("next-stage", {"stage": 0})
    smoker.run(60.0)
    assert smoker.state.book.stage == 1
    smoker.mark("undo", {})
    smoker.run(60.0)
    assert smoker.state.book.stage == 0
    assert smoker.decision.target_degC == pytest.approx(54.0, abs=2.1)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("stages", "mark", "data", "words"),
    [
        ((DRY, COOK), "next-stage", {"stage": 1}, "'dry'"),  # a second tap
        ((COOK,), "next-stage", {}, "last stage"),
        ((DRY, COOK), "preheat", {}, "no preheat"),
    ],
)
def test_marks_that_do_not_fit_the_stage_are_refused(
    stages: tuple[Stage, ...], mark: str, data: dict[str, object], words: str
) -> None:
    smoker = hung(*stages).run(30.0)
    with pytest.raises(PlanError, match=words):
        smoker.mark(mark, data)


def test_no_stage_is_ended_while_nothing_hangs_and_no_preheat_begins_twice() -> None:
    smoker = smoker_with(PREHEAT, COOK)
    smoker.mark("preheat", {})
    with pytest.raises(PlanError, match="nothing hangs"):
        smoker.mark("next-stage", {})
    with pytest.raises(PlanError, match="before"):
        smoker.mark("preheat", {})


def test_stage_and_its_begin_are_rebuilt_from_the_record() -> None:
    smoker = hung(SMOKE, COOK).run(2400.0)
    again = rebuild(smoker.plan, smoker.events, smoker.readings[-600:]).state
    assert again.book == smoker.state.book
    assert (again.why, again.target_degC) == ("stage", pytest.approx(60.0))
    later = smoker.run(1300.0)
    again = rebuild(later.plan, later.events, later.readings[-600:]).state
    assert (again.book.stage, again.book.stage_s) == (1, later.state.book.stage_s)


@pytest.mark.parametrize(("wood", "told"), [("element", True), ("tray", False), ("none", False)])
def test_element_too_low_to_smoke_is_told_of_wood_on_the_element_only(wood: str, told: bool) -> None:
    smoker = hung(SMOKE, COOK, wood=wood)
    smoker.pull = 0.0
    smoker.meat_degC = 50.0
    smoker.core = [50.0, 50.0, 50.0]  # warm meat: hardly any heat is needed
    smoker.run(3000.0)
    assert smoker.state.door.mean_duty > 0.2  # this world needs 0.3 of its element for 60 °C
    assert "smoke-low" not in smoker.kinds()
    smoker = hung(SMOKE, COOK, wood=wood, element_watts=800.0)
    smoker.chamber = 59.0
    original = smoker.step

    def weak_loss(powered: bool = True) -> None:
        original(powered)
        smoker.chamber += 0.0007 * (smoker.chamber - 18.0)  # a well insulated one

    smoker.step = weak_loss  # type: ignore[method-assign]
    smoker.run(3000.0)
    assert smoker.state.door.mean_duty < 0.2
    assert [e.data["low"] for e in smoker.of_kind("smoke-low")] == ([True] if told else [])
    assert any("too low to smoke" in note for note in smoker.decision.notes) == told  # type: ignore[union-attr]
    smoker.run(700.0)
    assert smoker.state.book.stage == 1
    assert not smoker.state.book.smoke_low  # over with its stage


def test_notices_come_half_an_hour_and_ten_minutes_before_the_call() -> None:
    smoker = hung(Stage("cook")).finish()
    called = {e.data["chub"]: e.at_s for e in smoker.of_kind("called")}
    for minutes, low, high in ((30, 20.0, 48.0), (10, 6.0, 20.0)):
        told = {n: e.at_s for e in smoker.of_kind("notice") if e.data["minutes"] == minutes for n in e.data["chubs"]}
        assert set(told) == set(called)
        assert all(low * 60.0 < called[n] - told[n] < high * 60.0 for n in called), (minutes, told, called)
    assert [e.kind for e in smoker.events].index("notice") < [e.kind for e in smoker.events].index("called")


def test_switchings_are_counted_and_kept() -> None:
    smoker = hung(Stage("cook")).finish()
    smoker.run(5.0)
    on = [0, *(reading.on for reading in smoker.readings)]
    went_on = sum(b > a for a, b in zip(on, on[1:], strict=False))
    assert smoker.state.book.switched == went_on > 500
    assert max(e.data["count"] for e in smoker.of_kind(ev.SWITCHED)) == 10


@pytest.mark.parametrize("preheat", [True, False])
def test_controller_is_tuned_in_the_preheat_or_in_the_first_minutes(preheat: bool) -> None:
    stages = (PREHEAT, COOK) if preheat else (COOK,)
    smoker = Sluggish(plan(3, stages=stages, autotune=True))
    usual = smoker.state.tuning
    smoker.mark("preheat" if preheat else "hung", {})
    smoker.run(3600.0)
    found = smoker.of_kind("tuned")
    assert len(found) == 1
    assert "failed" not in found[0].data
    assert smoker.state.tuning.gain == found[0].data["gain"]
    assert smoker.state.tuning.gain != usual.gain
    if preheat:
        smoker.hang()
        smoker.run(1200.0)
    assert abs(smoker.chamber - smoker.decision.target_degC) < 1.5  # type: ignore[union-attr, operator]
    again = rebuild(smoker.plan, smoker.events, smoker.readings[-300:]).state
    assert again.tuning == smoker.state.tuning


def test_without_the_wish_nothing_is_tuned() -> None:
    assert "tuned" not in hung(COOK).run(3600.0).kinds()
