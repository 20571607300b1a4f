"""The forecast knows the table of stages: holds, limits, ends by time, by core and by a person's word."""

from __future__ import annotations

import numpy as np
import pytest

from fiftyover.batch.outlook import Memory, ask, outlook, sentences
from fiftyover.batch.stages import Stage
from hub.batch.simple_smoker import Smoker, plan

DRY = Stage("dry", "hold", hold_degC=54.4, mark="dry to the touch")
SMOKE = Stage("smoke", "hold", hold_degC=60.0, smoke=True, after_s=3600.0)
CLIMB = Stage("climb", "follow", lift_kelvin=20.0, limit_degC=74.0, core_degC=50.0)
COOK = Stage("cook", "follow", floor_degC=60.0)


def cook(*stages: Stage, until_s: float, said_s: float | None = None, **changes: object) -> tuple[Smoker, Memory]:
    """Hang and cook for so long; the word is said at `said_s`."""
    smoker, memory = Smoker(plan(3, stages=stages, **changes), pull=0.0008), Memory()  # type: ignore[arg-type]
    smoker.hang()
    while smoker.at_s < until_s and not smoker.state.book.finished:
        if said_s is not None and smoker.at_s >= said_s and smoker.state.book.stage == 0:
            smoker.mark("next-stage", {"stage": 0})
        smoker.step()
        memory.heed(smoker.state)
    return smoker, memory


def pulled_s(smoker: Smoker, chub: int) -> float:
    return next(e.at_s for e in smoker.events if e.kind == "pulled" and e.data["chub"] == chub)


def test_while_a_stage_holds_the_whole_table_is_put_before_the_forecast() -> None:
    smoker, memory = cook(SMOKE, CLIMB, COOK, until_s=1500.0)
    law = ask(smoker.state, memory.rows).law
    smoke, climb = law.first
    assert smoke.hold_degC == 60.0
    assert smoke.left_s == pytest.approx(2100.0, abs=40.0)
    assert (climb.hold_degC, climb.lift_kelvin, climb.limit_degC, climb.core_degC) == (None, 20.0, 74.0, 50.0)
    assert climb.left_s == float("inf")
    assert law.floor_degC == 60.0
    later, rows = cook(SMOKE, CLIMB, COOK, until_s=4200.0)
    assert len(ask(later.state, rows.rows).law.first) == 1


def test_finish_is_foreseen_while_a_stage_still_holds() -> None:
    whole, _ = cook(SMOKE, CLIMB, COOK, until_s=40000.0)
    done_s = pulled_s(whole, 1)
    now, memory = cook(SMOKE, CLIMB, COOK, until_s=3300.0)
    told = outlook(now.state, memory.rows).of(1)
    plain = ask(now.state, memory.rows)
    assert abs(told.done_s - done_s) < 0.2 * done_s  # a third of the way, with nothing of drying seen yet
    assert told.low_s < done_s < told.high_s
    assert plain.law.first  # it was asked while the chamber was held


def test_a_longer_hold_and_a_lower_limit_each_make_it_later() -> None:
    def left(*stages: Stage) -> float:
        now, memory = cook(*stages, until_s=1500.0)
        return outlook(now.state, memory.rows).of(1).finish.left_s

    hour = left(SMOKE, COOK)
    three = left(Stage("smoke", "hold", hold_degC=60.0, after_s=3 * 3600.0), COOK)
    low = left(SMOKE, Stage("climb", "follow", limit_degC=66.0, after_s=4 * 3600.0), COOK)
    assert hour + 1200.0 < three < hour + 7200.0
    assert low > hour + 1200.0


def test_a_word_that_nobody_said_yet_is_reckoned_within_an_hour_and_that_is_said() -> None:
    now, memory = cook(DRY, SMOKE, COOK, until_s=2400.0)
    told = outlook(now.state, memory.rows)
    assert told.words == ("dry to the touch",)
    assert "Looking ahead, all times reckon with 'dry to the touch' said within an hour" in " ".join(
        sentences(told, now.plan)
    )
    said, rows = cook(DRY, SMOKE, COOK, until_s=2400.0, said_s=2300.0)
    after = outlook(said.state, rows.rows)
    assert after.words == ()
    assert 0.0 < told.of(1).done_s - after.of(1).done_s < 3600.0


def test_a_hold_that_goes_on_to_the_end_is_the_law_of_the_end() -> None:
    one_step = Stage("cook", "hold", hold_degC=82.0)
    whole, _ = cook(one_step, until_s=40000.0, cap_degC=90.0)
    done_s = pulled_s(whole, 1)
    now, memory = cook(one_step, until_s=0.75 * done_s, cap_degC=90.0)
    law = ask(now.state, memory.rows).law
    assert law.first == ()
    assert law.floor_degC == 82.0
    assert law.limit_degC - law.under_cap_kelvin == pytest.approx(82.0)
    told = outlook(now.state, memory.rows).of(1)
    assert abs(told.done_s - done_s) < 900.0
    assert told.low_s < done_s < told.high_s


def test_a_cool_hold_that_runs_too_long_for_the_warm_up_clock_is_told_hours_ahead() -> None:
    """Five hours at 130 °F: no core comes to 130 °F before the stage ends, so the clock passes 6 hours."""
    long = Stage("smoke", "hold", hold_degC=54.4, after_s=5.75 * 3600.0)
    now, memory = cook(long, COOK, until_s=3600.0)
    text = " ".join(sentences(outlook(now.state, memory.rows), now.plan))
    assert "warm-up clock" in text
    assert "6 hours" in text
    short = Stage("smoke", "hold", hold_degC=54.4, after_s=2 * 3600.0)
    now, memory = cook(short, COOK, until_s=3600.0)
    assert "warm-up clock" not in " ".join(sentences(outlook(now.state, memory.rows), now.plan))


def test_nothing_is_foreseen_of_an_empty_chamber() -> None:
    preheat = Stage("preheat", "hold", hold_degC=60.0, empty=True, after_s=1800.0)
    smoker, memory = Smoker(plan(3, stages=(preheat, COOK))), Memory()
    smoker.mark("preheat", {})
    for _ in range(1200):
        smoker.step()
        memory.heed(smoker.state)
    assert ask(smoker.state, memory.rows) is None
    assert np.isfinite(smoker.chamber)
