"""When each chub will be done, against meat that is computed another way."""

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from fiftyover.control.forecast import BROAD, CALIBRATED, Law, Past, Question, fitted, forecast, learn
from fiftyover.control.forecast.heating import EVAPORATION
from fiftyover.control.forecast.prior import LEAST, LinePrior, expected
from hub.control.hung_meat import FOOT_DEGC, ask, hang

NAMED = (("slim",) * 3, ("",) * 3)


def error_min(meat, share: float, index: int = 0, **how) -> float:
    question, at_s = ask(meat, share, index, **how)
    told = forecast(question).chubs[index]
    assert told.left_s is not None
    return (at_s + told.left_s - meat.done_s[index]) / 60.0


def line_error_min(meat, share: float, index: int = 0) -> float:
    minute = int(share * meat.done_s[index] / 60.0)
    core = meat.core_degC[minute - 15 : minute + 1, index]
    slope = (core[-1] - core[0]) / 15.0
    return minute + (FOOT_DEGC - core[-1]) / slope - meat.done_s[index] / 60.0


def test_finish_is_foreseen_where_a_straight_line_is_far_too_early() -> None:
    """Dry meat and wet meat with one expectation beforehand: the sum of both errors is what is set against the line."""
    meats = [hang(0.03, 10.5), hang(0.045, 13.5)]
    for share, most_min, better in ((0.5, 15.0, 2.0), (0.75, 3.0, 3.0)):
        told = [abs(error_min(meat, share)) for meat in meats]
        line = [line_error_min(meat, share) for meat in meats]
        assert max(line) < -5.0
        assert max(told) < most_min
        assert sum(told) < -sum(line) / better


def test_the_truth_lies_between_the_ends_and_the_ends_draw_together() -> None:
    meat = hang()
    widths = []
    for share in (0.25, 0.5, 0.75, 0.9):
        question, at_s = ask(meat, share)
        told = forecast(question).chubs[0]
        assert at_s + told.low_s <= meat.done_s[0] <= at_s + told.high_s
        assert told.low_s < told.left_s < told.high_s
        widths.append(told.high_s - told.low_s)
    assert widths == sorted(widths, reverse=True)


def test_same_question_has_the_same_answer() -> None:
    question, _ = ask(hang(), 0.5)
    assert forecast(question).chubs == forecast(question).chubs


def test_chub_that_the_limit_does_not_let_finish_is_named_with_the_limit_as_reason() -> None:
    meat = hang(casing=0.07, cap_degC=82.0, hours=5.0)
    assert np.isnan(meat.done_s).all()
    for hours, least in ((2.5, 0.05), (4.0, 0.5)):  # first that it may not get there, then that it will not
        question, _ = ask(meat, 0.0, at_s=hours * 3600.0)
        for told in forecast(question).chubs:
            assert told.stalls > least
            assert told.why == "limit"
    law = replace(question.law, caps_degC=np.full(3, 95.0))
    assert all(told.stalls <= 0.05 and told.why == "" for told in forecast(replace(question, law=law)).chubs)


def test_element_too_weak_for_the_cold_is_told_apart_from_the_limit() -> None:
    meat = hang(casing=0.03, cap_degC=90.0, hours=7.0, watts=255.0)
    assert np.isnan(meat.done_s).all()
    question, _ = ask(meat, 0.0, at_s=4.0 * 3600.0)
    told = forecast(question).chubs
    assert [one.why for one in told] == ["element"] * 3
    idle = replace(question, past=replace(question.past, duty=np.full_like(question.past.duty, 0.4)))
    assert all(one.why != "element" for one in forecast(idle).chubs)


@pytest.mark.parametrize("share", [0.25, 0.5])
def test_an_ordinary_cook_is_not_warned_of_a_stall_because_little_is_known_of_it(share: float) -> None:
    """At a quarter of the time a third of the draws stall: no one who planned a batch expects that."""
    for meat in (hang(0.03, 10.5), hang(), hang(0.045, 13.5)):
        told = forecast(ask(meat, share)[0]).chubs
        assert [(one.stalls <= 0.05, one.why) for one in told] == [(True, "")] * 3


def test_factors_of_a_learned_line_are_its_own() -> None:
    question, _ = ask(hang(), 0.5)
    wide = replace(question, calibration=replace(CALIBRATED, late_learned=(9.0,) * 3))
    known = learn(BROAD, ["slim"], [""], np.array(BROAD.mean)[:, None], np.full((6, 1), 0.3))
    assert forecast(wide).chubs == forecast(question).chubs
    ends = [forecast(replace(one, prior=known)).chubs[0].high_s for one in (question, wide)]
    assert ends[1] > ends[0] + 60.0


def test_chub_without_a_probe_is_reckoned_from_the_others_and_less_surely() -> None:
    meat = hang(mm=(45.0, 45.0, 45.0), gains=(0.01, 0.0, -0.01))
    question, at_s = ask(meat, 0.6, 2, probed=(0, 1))
    known, guessed = forecast(question).chubs[0], forecast(question).chubs[2]
    assert abs(at_s + guessed.left_s - meat.done_s[2]) < 1800.0
    assert at_s + guessed.low_s <= meat.done_s[2] <= at_s + guessed.high_s
    assert guessed.high_s - guessed.low_s > 1.2 * (known.high_s - known.low_s)


def test_hand_reading_brings_a_chub_without_a_probe_nearer_to_the_truth() -> None:
    meat = hang(gains=(0.0, 0.01, -0.06))
    before = abs(error_min(meat, 0.7, 2, probed=(0, 1)))
    after = abs(error_min(meat, 0.7, 2, probed=(0, 1), hand=(2, 2)))
    assert after < 0.7 * before


@pytest.mark.parametrize("factor", [4.0, 0.25])
def test_evaporation_expected_four_times_wrong_is_forgotten_by_three_quarters(factor: float) -> None:
    mean = list(BROAD.mean)
    mean[EVAPORATION] += math.log(factor)
    prior = replace(BROAD, mean=tuple(mean))
    meat = hang()
    assert abs(error_min(meat, 0.75, prior=prior)) < 4.0
    assert abs(error_min(meat, 0.5, prior=prior)) < abs(line_error_min(meat, 0.5))


def test_a_line_that_was_learned_wrong_gives_way_to_the_batch() -> None:
    """Sure of three times the evaporation, from six batches: it must not hold against what is measured."""
    mean = list(BROAD.mean)
    mean[EVAPORATION] += math.log(3.0)
    prior = replace(BROAD, lines={"slim": LinePrior(tuple(mean), LEAST, 6)})
    question, _ = ask(hang(), 0.75, prior=prior)
    off = expected(prior, question.lines, question.places).mean - fitted(question.past, prior, *NAMED).theta
    assert off[EVAPORATION].mean() > 0.9 * math.log(3.0)


def test_three_batches_learned_make_the_half_way_forecast_better() -> None:
    prior = BROAD
    for casing, film in ((0.05, 13.0), (0.048, 13.4), (0.052, 12.8)):
        meat = hang(casing, film, hours=10.0)
        question, _ = ask(meat, 0.0, at_s=float(np.nanmax(meat.done_s)) - 120.0)
        found = fitted(question.past, prior, question.lines, question.places)
        prior = learn(prior, question.lines, question.places, found.theta, found.spread())
    meat = hang(0.051, 13.2, hours=10.0)
    for share, narrower in ((0.25, 0.5), (0.5, 1.0)):
        question, _ = ask(meat, share)
        width = [
            told.high_s - told.low_s for told in (forecast(replace(question, prior=p)).chubs[0] for p in (BROAD, prior))
        ]
        assert width[1] < narrower * width[0]
        assert abs(error_min(meat, share, prior=prior)) < min(10.0, abs(error_min(meat, share)))


def test_warm_up_clock_is_foreseen() -> None:
    meat = hang(mm=(64.0, 64.0), gains=(0.0, 0.0))
    core = meat.core_degC[:, 0]
    true_s = 60.0 * (np.argmax(core >= 54.444) - np.argmax(core >= 10.0))
    question, _ = ask(meat, 0.4)
    told = forecast(question).chubs[0]
    assert told.warm_s == pytest.approx(true_s, abs=420.0)
    assert told.warm_high_s >= told.warm_s
    later, _ = ask(meat, 0.9)
    assert forecast(later).chubs[0].warm_s == pytest.approx(true_s, abs=121.0)


def test_a_line_with_a_lower_limit_holds_the_chamber_down_until_it_is_out() -> None:
    meat = hang(mm=(45.0, 64.0), gains=(0.0, 0.0), cap_degC=90.0)
    question, _ = ask(meat, 0.4, 0, lines=("slim", "stout"))
    free = forecast(question).chubs
    held = forecast(replace(question, law=replace(question.law, caps_degC=np.array([74.0, 90.0])))).chubs
    assert held[0].left_s > free[0].left_s + 300.0
    both = forecast(replace(question, law=replace(question.law, caps_degC=np.array([74.0, 74.0])))).chubs
    assert free[1].left_s < held[1].left_s < both[1].left_s


def test_a_past_without_any_core_is_answered_from_what_is_known_beforehand() -> None:
    question, _ = ask(hang(), 0.5, probed=())
    told = forecast(question).chubs[0]
    assert told.left_s is not None
    assert math.isfinite(told.left_s)


def test_twelve_chubs_cost_less_than_300_ms_of_a_core() -> None:
    meat = hang(mm=(45.0,) * 12, gains=tuple(np.linspace(-0.03, 0.03, 12)))
    question, _ = ask(meat, 0.75)
    spent = []
    for _ in range(3):
        began = time.process_time()
        forecast(question)
        spent.append(time.process_time() - began)
    assert min(spent) < 0.3


def test_meat_that_the_model_cannot_follow_is_told_with_a_wider_interval() -> None:
    """The same cook with a core that swings by 1 K every ten minutes, as no chub of this size can."""
    question, _ = ask(hang(), 0.6)
    swing = np.sin(np.arange(question.past.core_degC.shape[0]) * 2.0 * math.pi / 10.0)[:, None]
    odd = replace(question, past=replace(question.past, core_degC=question.past.core_degC + swing))
    plain, wide = forecast(question).chubs[0], forecast(odd).chubs[0]
    assert wide.high_s - wide.low_s > 1.8 * (plain.high_s - plain.low_s)


@pytest.mark.parametrize("seed", range(8))
def test_no_past_however_odd_breaks_the_forecast(seed: int) -> None:
    draw = np.random.default_rng(seed)
    steps, chubs = int(draw.integers(2, 200)), int(draw.integers(1, 5))
    cores = draw.uniform(-20.0, 110.0, (steps + 1, chubs))
    cores[draw.random(cores.shape) < draw.random()] = np.nan
    past = Past(
        dt_s=float(draw.choice([60.0, 240.0])),
        air_degC=draw.uniform(-20.0, 110.0) + draw.uniform(0.0, 60.0) * draw.standard_normal(steps),
        core_degC=cores,
        start_degC=draw.uniform(-5.0, 60.0, chubs),
        hung_step=draw.integers(0, steps + 1, chubs),
        radius_m=draw.uniform(0.01, 0.06, chubs),
        yard_degC=float(draw.uniform(-30.0, 40.0)),
        start_slope=draw.uniform(-0.01, 0.01, chubs) * (seed % 2),
        duty=draw.choice([0.0, 1.0, np.nan], steps),
    )
    law = Law(27.78, 54.4, 1.0, draw.uniform(70.0, 105.0, chubs), draw.random(chubs) < 0.5, draw.random(chubs) < 0.8)
    for told in forecast(Question(past, law, ("a",) * chubs, ("",) * chubs, FOOT_DEGC, BROAD)).chubs:
        assert 0.0 <= told.stalls <= 1.0
        for value in (told.left_s, told.low_s, told.high_s, told.warm_s):
            assert value is None or math.isfinite(value)
