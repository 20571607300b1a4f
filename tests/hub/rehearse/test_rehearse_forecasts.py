"""The forecasts of a rehearsal: made from what was known then, judged afterwards, under the keys of the protocol."""

import json

import numpy as np
import pytest

from fiftyover.rehearse import forecasts
from fiftyover.rehearse.outcome import as_dict
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant

KEYS = ["at_fraction", "made_s", "predicted_s", "low_s", "high_s", "true_s"]
CAP_DEGC = (190.0 - 32.0) / 1.8


def scenario(**words):
    options = {"casing_factor": 0.03}
    return Scenario(cap_degC=CAP_DEGC, kit_cap_degC=CAP_DEGC + 5.5, diameters_mm=(35.0,), options=options, **words)


@pytest.fixture(scope="module")
def cook():
    """A short cook of two chubs, one of them with a probe."""
    asked = scenario(seed=5, chubs=2, probes=1, relay="solid-state")
    made = Rehearsal(asked, build_plant(asked))
    result = made.run()
    return result, as_dict(asked, result, made.hub.plan.margin_kelvin), made


def test_each_chub_has_its_three_forecasts_at_its_own_moments(cook):
    result, outcome, _ = cook
    cores, times = result.trace.cores(), np.array(result.trace.times_s)
    for index, chub in enumerate(json.loads(json.dumps(outcome, allow_nan=False))["chubs"]):
        done_s = times[np.argmax(cores[:, index] >= (152.0 - 32.0) / 1.8)]
        assert [one["at_fraction"] for one in chub["forecasts"]] == [0.25, 0.5, 0.75]
        for one in chub["forecasts"]:
            assert list(one) == KEYS
            assert one["true_s"] == done_s
            assert one["at_fraction"] * done_s - 61.0 <= one["made_s"] <= one["at_fraction"] * done_s
            assert one["made_s"] < one["low_s"] < one["predicted_s"] < one["high_s"]


def test_at_three_quarters_the_finish_is_known_within_minutes(cook):
    _, outcome, _ = cook
    for index, most_s in ((0, 300.0), (1, 1200.0)):  # the second has no probe
        last = outcome["chubs"][index]["forecasts"][-1]
        assert abs(last["predicted_s"] - last["true_s"]) < most_s


def test_a_forecast_knows_nothing_of_what_came_later(cook):
    result, outcome, made = cook
    book = made._notebook
    made_s = outcome["chubs"][0]["forecasts"][1]["made_s"]
    moment = next(one for one in book.moments if one.now_s == made_s)
    assert all(row.at_s <= made_s for row in book.memory.rows[: moment.rows])
    assert not moment.state.book.pulled_s
    cut = forecasts.outlook(moment.state, book.memory.rows[: moment.rows]).of(1)
    assert cut.done_s == outcome["chubs"][0]["forecasts"][1]["predicted_s"]
    assert result.forecasts[0][1]["predicted_s"] == cut.done_s


def test_without_forecasts_the_list_is_empty():
    asked = scenario(seed=5, chubs=1, probes=1, forecast=False)
    result = Rehearsal(asked, build_plant(asked)).run(end_s=900)
    assert result.forecasts == [[]]


def test_a_chub_that_never_gets_there_has_no_moments():
    asked = scenario(seed=5, chubs=1, probes=1)
    assert Rehearsal(asked, build_plant(asked)).run(end_s=1500).forecasts == [[]]
