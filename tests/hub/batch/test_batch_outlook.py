"""The forecast of a running batch: what is asked, of whom, and what is said."""

from __future__ import annotations

import numpy as np
import pytest

from fiftyover.batch.events import Event, fold
from fiftyover.batch.outlook import Memory, Outlook, Prospect, ask, learned, outlook, sentences, spans
from fiftyover.control.forecast import BROAD, Finish, Fit
from hub.batch.simple_smoker import Smoker, plan


def event(kind: str, at_s: float, **data: object) -> Event:
    return Event(kind, at_s, int(at_s * 1000), dict(data))


def told_by(*happened: Event, probes: int = 2) -> list[tuple[int, int, float, float, bool]]:
    return sorted(tuple(span) for span in spans(fold(plan(3, probes), happened)))


HUNG = event("hung", 0.0, chubs=[1, 2, 3])


def test_a_pulled_chubs_last_five_minutes_are_struck_out_and_its_moved_probe_is_believed_after_three() -> None:
    found = told_by(HUNG, event("pulled", 9000.0, chub=1, core_degC=None, probe=3))
    assert found == [(1, 1, 0.0, 8700.0, False), (1, 3, 9180.0, float("inf"), True), (2, 2, 0.0, float("inf"), True)]


def test_what_lies_between_a_probe_that_fell_out_and_its_return_does_not_count() -> None:
    out = event("probe-out", 4000.0, probe=2, chub=2, why="fell out", from_s=3700.0)
    found = told_by(HUNG, out, event("probe-back", 5000.0, probe=2, chub=2))
    assert found == [(1, 1, 0.0, float("inf"), True), (2, 2, 0.0, 3700.0, False), (2, 2, 5000.0, float("inf"), True)]


def test_an_undone_pull_leaves_the_probe_where_it_is() -> None:
    pulled = event("pulled", 9000.0, chub=1, core_degC=None, probe="stays")
    assert told_by(HUNG, pulled, event("undo", 9010.0, event=1)) == told_by(HUNG)


@pytest.fixture(scope="module")
def cooked() -> tuple[Smoker, Memory, list[tuple[float, object, int]]]:
    """A batch of three, the third without a probe, with what the hub knew every five minutes."""
    smoker, memory, known = Smoker(plan(3, 2), pull=0.0008), Memory(), []
    smoker.hang()
    while not smoker.state.book.finished and smoker.at_s < 40000.0:
        smoker.step()
        memory.heed(smoker.state)
        if smoker.at_s % 300.0 == 0.0:
            known.append((smoker.at_s, smoker.state, len(memory.rows)))
    return smoker, memory, known


def pulled_s(smoker: Smoker, chub: int) -> float:
    return next(e.at_s for e in smoker.events if e.kind == "pulled" and e.data["chub"] == chub)


def test_memory_keeps_each_half_minute_once(cooked) -> None:
    _, memory, _ = cooked
    times = [row.at_s for row in memory.rows]
    assert np.diff(times) == pytest.approx(np.full(len(times) - 1, 30.0), abs=6.0)


def test_a_cook_by_newtons_law_is_foreseen_too(cooked) -> None:
    smoker, memory, known = cooked
    done_s = pulled_s(smoker, 1)
    at_s, state, rows = next((t, s, memory.rows[:n]) for t, s, n in known if t >= 0.75 * done_s)
    found = outlook(state, rows)
    first = found.of(1)
    assert found.made_s == pytest.approx(at_s, abs=35.0)
    assert abs(first.done_s - done_s) < 600.0
    assert first.low_s < first.done_s < first.high_s
    assert {one.chub for one in found.prospects} == set(state.book.hanging)


def test_a_chub_without_a_probe_is_told_too_and_less_surely(cooked) -> None:
    _, memory, known = cooked
    _, state, rows = next((t, s, memory.rows[:n]) for t, s, n in known if t >= 5400.0)
    found = outlook(state, rows)
    assert found.of(3).high_s - found.of(3).low_s > found.of(1).high_s - found.of(1).low_s


def test_nothing_is_asked_in_the_first_minutes_without_heat_or_when_all_is_out(cooked) -> None:
    smoker, memory, known = cooked
    at_s, state, rows = known[0]
    assert at_s == 300.0
    assert ask(state, memory.rows[:rows]) is None
    _, state, rows = known[8]
    asked = ask(state, memory.rows[:rows])
    assert asked is not None
    assert asked.law.leads.tolist() == [True, True, False]
    assert asked.law.hanging.tolist() == [True, True, True]
    assert np.isnan(asked.past.core_degC[:, 2]).all()
    assert ask(state._replace(why="stopped"), memory.rows[:rows]) is None
    assert ask(smoker.state, memory.rows) is None


def test_a_past_that_begins_in_mid_cook_still_gives_a_forecast(cooked) -> None:
    smoker, memory, known = cooked
    done_s = pulled_s(smoker, 1)
    _, state, n = next(k for k in known if k[0] >= 0.8 * done_s)
    late = [row for row in memory.rows[:n] if row.at_s > 0.5 * done_s]
    assert abs(outlook(state, late).of(1).done_s - done_s) < 480.0
    begun = ask(state, late).past
    assert begun.start_degC[0] == pytest.approx(late[0].probe_degC[1], abs=0.5)
    assert begun.start_slope[0] == pytest.approx((late[20].probe_degC[1] - late[0].probe_degC[1]) / 600.0, rel=0.1)
    assert not ask(state, memory.rows[:n]).past.start_slope.any()


def test_the_finished_batch_teaches_its_line(cooked) -> None:
    smoker, memory, _ = cooked
    prior = learned(BROAD, smoker.state.book, memory.rows)
    assert prior.lines["slim"].batches == 1
    assert prior.lines["slim"].spread[0] < BROAD.common[0]
    assert learned(BROAD, smoker.state.book, []) is BROAD


def finish(stalls: float = 0.0, why: str = "", warm_s: float | None = 9000.0, high_s: float | None = 9900.0) -> Finish:
    return Finish(None, None, None, stalls, why, warm_s, high_s)


def said(**chubs: Finish) -> list[str]:
    prospects = tuple(Prospect(int(name[1:]), None, None, None, one) for name, one in chubs.items())
    return sentences(Outlook(0.0, prospects, Fit(np.zeros((6, 1)), np.eye(6))), plan(3))


def test_what_stands_in_the_way_is_said_with_what_helps() -> None:
    assert said(c1=finish()) == []
    assert said(c1=finish(0.2, "limit"), c3=finish(0.3, "limit")) == [
        "Looking ahead, chubs 1 and 3 may not get to 152 °F under this smoker limit: too much dries off. "
        "A water pan, or a higher limit, helps."
    ]
    (sure,) = said(c2=finish(0.8, "limit"))
    assert sure.startswith("Chub 2 will not get to 152 °F")
    (cold,) = said(c2=finish(0.9, "element"))
    assert "too cold out" in cold
    assert "a higher limit does not" in cold


def test_a_warm_up_clock_that_will_run_long_is_said_early() -> None:
    assert said(c1=finish(warm_s=21000.0, high_s=22000.0)) == [
        "Looking ahead, the warm-up clock of chub 1 may pass 6 hours from 50 to 130 °F: warm it faster."
    ]
    assert said(c1=finish(warm_s=None, high_s=None))[0].startswith("The warm-up clock of chub 1 will pass")


def test_words_kept_from_the_person_are_not_said() -> None:
    text = " ".join(said(c1=finish(0.2, "limit"), c2=finish(0.9, "element"), c3=finish(warm_s=None, high_s=None)))
    assert not {"prior", "interval", "duty", "draws"} & set(text.lower().split())
