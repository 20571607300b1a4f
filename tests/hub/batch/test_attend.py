"""Nothing cooks unattended until the alarm test was answered from the phone."""

import pytest

from fiftyover.app.errands import errands
from fiftyover.batch import events as ev
from fiftyover.batch.again import rebuild
from fiftyover.batch.attend import ATTEND_S, HELD
from hub.batch.simple_smoker import FOOT, Smoker, plan

HELD_DEGC = 64.2  # 147 °F, what the sentence says


def hung(told: str | None) -> Smoker:
    smoker = Smoker(plan())
    smoker.hang()
    if told is not None:
        tell(smoker, told)
    return smoker


def tell(smoker: Smoker, told: str) -> None:
    event = ev.Event("alarm-test", smoker.at_s, 1000 * int(smoker.at_s), {"state": told})
    smoker.events.append(event)
    smoker.state = smoker.state._replace(book=ev.apply(smoker.state.book, event))


@pytest.mark.parametrize("told", ["sent", "nobody"])
def test_unheard_phone_keeps_every_core_below_its_band_until_it_is_answered(told: str) -> None:
    smoker = hung(told).run(ATTEND_S - 10.0)
    assert smoker.state.why != "unattended"
    smoker.run(12 * 3600.0, until=lambda s: s.at_s > 5 * 3600.0)
    assert smoker.state.why == "unattended"
    assert smoker.state.notes[0] == HELD
    assert smoker.state.heat  # held, not off: off is not safe for the meat
    assert abs(smoker.chamber - HELD_DEGC) < 1.0
    assert max(smoker.core) < FOOT
    assert "called" not in smoker.kinds()
    assert smoker.of_kind("probe-out") == []
    tell(smoker, "heard")
    smoker.finish()
    assert set(smoker.pulled) == {1, 2, 3}


def test_who_stays_counts_for_half_an_hour() -> None:
    smoker = hung("sent").run(ATTEND_S + 60.0)
    assert smoker.state.why == "unattended"
    told = errands(smoker.state, {})
    assert told["mark"]["kind"] == "here"
    smoker.mark("here", {})
    smoker.run(ATTEND_S - 10.0)
    assert smoker.state.why != "unattended"
    assert "here" in [one["kind"] for one in errands(smoker.state, {})["others"]]
    smoker.run(30.0)
    assert smoker.state.why == "unattended"


@pytest.mark.parametrize("told", [None, "heard"])
def test_answered_test_or_a_batch_without_one_is_not_held(told: str | None) -> None:
    smoker = hung(told).run(ATTEND_S + 600.0)
    assert smoker.state.why != "unattended"
    assert "here" not in [one["kind"] for one in errands(smoker.state, {})["others"]]


def test_restarted_hub_still_holds() -> None:
    smoker = hung("sent").run(ATTEND_S + 60.0)
    again = rebuild(smoker.plan, smoker.events, smoker.readings).state
    assert again.why == "unattended"
