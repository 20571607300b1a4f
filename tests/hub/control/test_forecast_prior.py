"""What is known before a batch: what chubs share, what is learned, and what gives way."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from fiftyover.control.forecast import BROAD, from_data, learn, to_data
from fiftyover.control.forecast.heating import DIFFUSIVITY, EVAPORATION, FILM, PLACE
from fiftyover.control.forecast.prior import LEAST, expected, hopeful
from fiftyover.errors import ProcessError


def test_chubs_of_one_line_have_more_in_common_than_those_of_two() -> None:
    laid = expected(BROAD, ["slim", "slim", "stout"], ["", "", ""]).covariance(np.ones(6))[EVAPORATION]
    assert laid[0, 1] > laid[0, 2] > 0.0
    assert laid[0, 0] > laid[0, 1]
    assert np.all(np.linalg.eigvalsh(laid) > 0.0)


def batch(film: float, evaporation: float, chubs: int = 3) -> np.ndarray:
    found = np.repeat(np.array(BROAD.mean)[:, None], chubs, axis=1)
    found[FILM], found[EVAPORATION] = math.log(film), math.log(evaporation)
    found[PLACE] = (0.03, 0.0, -0.03)
    return found


def test_three_alike_batches_move_the_line_there_and_make_it_sure() -> None:
    prior, lines, places = BROAD, ["slim"] * 3, ["left", "middle", "right"]
    spreads = []
    for _ in range(3):
        prior = learn(prior, lines, places, batch(14.0, 0.9), np.full((6, 3), 0.02))
        spreads.append(prior.lines["slim"].spread[EVAPORATION])
    learned = prior.lines["slim"]
    assert math.exp(learned.mean[FILM]) == pytest.approx(14.0, rel=0.02)
    assert math.exp(learned.mean[EVAPORATION]) == pytest.approx(0.9, rel=0.03)
    assert spreads[0] > spreads[1] > spreads[2] >= LEAST[EVAPORATION]
    assert spreads[2] < 0.5 * BROAD.common[EVAPORATION]
    assert prior.places["left"][0] == pytest.approx(0.03)
    laid = expected(prior, ["slim", "stout"], ["left", "left"])
    assert laid.mean[FILM, 0] == pytest.approx(learned.mean[FILM])
    assert laid.mean[FILM, 1] == BROAD.mean[FILM]
    assert laid.mean[PLACE, 0] - learned.mean[PLACE] == pytest.approx(0.03)
    assert laid.own[PLACE, 0, 0] < BROAD.own[PLACE] ** 2


def test_a_batch_that_could_not_tell_teaches_nothing() -> None:
    unsure = np.full((6, 3), 0.02)
    unsure[EVAPORATION] = 50.0
    learned = learn(BROAD, ["slim"] * 3, [""] * 3, batch(14.0, 3.0), unsure).lines["slim"]
    assert learned.mean[EVAPORATION] == pytest.approx(BROAD.mean[EVAPORATION], abs=0.01)
    assert learned.mean[FILM] == pytest.approx(math.log(14.0), abs=0.03)


def test_a_batch_quite_unlike_those_before_makes_the_line_unsure_again() -> None:
    prior, told = BROAD, np.full((6, 3), 0.02)
    for _ in range(3):
        prior = learn(prior, ["slim"] * 3, [""] * 3, batch(12.0, 0.4), told)
    before = prior.lines["slim"].spread[EVAPORATION]
    after = learn(prior, ["slim"] * 3, [""] * 3, batch(12.0, 1.6), told).lines["slim"]
    assert after.spread[EVAPORATION] > 2.0 * before
    assert after.mean[DIFFUSIVITY] == pytest.approx(BROAD.mean[DIFFUSIVITY])


def test_what_was_learned_survives_being_written() -> None:
    prior = learn(BROAD, ["slim"] * 3, ["a", "b", "c"], batch(14.0, 0.9), np.full((6, 3), 0.02))
    assert from_data(json.loads(json.dumps(to_data(prior)))) == prior


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"figures": ["film"], "lines": {}, "places": {}},
        {"lines": {"slim": {"mean": [1.0] * 5, "spread": [0.1] * 6, "batches": 1}}},
        {"lines": {"slim": {"mean": [float("nan")] * 6, "spread": [0.1] * 6, "batches": 1}}},
        {"lines": {"slim": {"mean": [1.0] * 6, "spread": [0.0] * 6, "batches": 1}}},
    ],
)
def test_what_cannot_be_read_is_refused_with_one_sentence(broken) -> None:
    data = broken if not broken or "figures" in broken else {**to_data(BROAD), **broken}
    with pytest.raises(ProcessError, match="begin anew"):
        from_data(data)


def test_a_planned_batch_is_expected_to_finish_but_a_stall_stays_possible() -> None:
    mean = list(BROAD.mean)
    mean[EVAPORATION] += math.log(4.0)
    wrong = expected(replace(BROAD, mean=tuple(mean)), ["slim"] * 2, [""] * 2)
    hoped = hopeful(wrong, np.full(2, 81.0), 66.67)
    # 81 - 66.67 = 14.33 K of air over the core must outweigh E (27.0 - 7.0 kPa), bend aside: E below 0.72 x e^0.033
    assert math.exp(hoped.mean[EVAPORATION, 0]) < 0.75
    assert hoped.mean[EVAPORATION, 0] + 2.0 * math.sqrt(hoped.shared[EVAPORATION, 0, 0]) > math.log(0.75)
    untouched = expected(BROAD, ["slim"], [""])
    assert hopeful(untouched, np.array([105.0]), 66.67).mean == pytest.approx(untouched.mean)
