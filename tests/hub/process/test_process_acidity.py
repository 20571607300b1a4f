import math

import pytest

from fiftyover.errors import ProcessError
from fiftyover.process import acidity
from references.process.reading import rows


@pytest.mark.parametrize("row", rows("degree_hours.csv"), ids=lambda row: row["highest_degF"])
def test_limit_is_that_of_the_chambers_highest_temperature(row):
    assert acidity.limit_degF_h(float(row["highest_degF"])) == float(row["limit_degF_h"])


@pytest.mark.parametrize("row", rows("degree_hours_examples.csv"), ids=lambda row: f"{row['degF']}F-{row['hours']}h")
def test_degree_hours_example_comes_out(row):
    degF, span_h, expected = float(row["degF"]), float(row["hours"]), float(row["degF_h"])
    total, limit = acidity.degree_hours([degF], [span_h]), acidity.limit_degF_h(degF)
    if row["verdict"] == "limit":  # hours printed to 0.1
        assert limit == expected
        assert total == pytest.approx(expected, rel=0, abs=0.0501 * (degF - 60.0))
    else:
        assert total == expected
        assert (total <= limit) == (row["verdict"] == "pass")


def test_steps_add_up_and_cold_ones_count_nothing():
    assert acidity.degree_hours([70.0, 50.0, 80.0], [10.0, 5.0, 2.0]) == 140.0


@pytest.mark.parametrize(("degF", "span_h"), [(25.0, 1.0), (math.nan, 1.0), (70.0, -1.0)])
def test_senseless_steps_are_refused(degF, span_h):
    with pytest.raises(ProcessError):
        acidity.degree_hours([degF], [span_h])


def test_each_step_needs_its_span():
    with pytest.raises(ProcessError, match="2 temperatures for 1 spans"):
        acidity.degree_hours([70.0, 80.0], [1.0])
