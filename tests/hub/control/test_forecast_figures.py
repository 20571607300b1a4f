"""The issue's figures for the forecast on a short part of its benchmark; in full: `python tests/bench/forecast`.

Thresholds are the project's requirements, the truth is the simulated plant's own core. Measured on the long form and
kept in `tests/bench/forecast/README.md`.
"""

from __future__ import annotations

import importlib
from pathlib import Path

import numpy as np
import pytest

COOKS = 12


@pytest.fixture(scope="module")
def rows():
    """Whole cooks on the rehearsal's plant, two chubs each, at a quarter, half and three quarters of their time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(Path(__file__).parents[2] / "bench/forecast"))
        series = importlib.import_module("series")
    return [row for seed in range(COOKS) for row in series.plain(seed)]


def errors(rows, fraction: float) -> tuple[np.ndarray, np.ndarray]:
    here = [row for row in rows if row.fraction == fraction]
    assert len(here) >= COOKS
    return np.abs([row.error_min for row in here]), np.abs([row.line_error_min for row in here])


@pytest.mark.parametrize(("fraction", "better"), [(0.5, 4.0), (0.75, 5.0)])
def test_forecast_beats_the_straight_line_by_the_required_factor(rows, fraction: float, better: float) -> None:
    told, line = errors(rows, fraction)
    assert np.median(line) >= better * np.median(told)


def test_mean_error_at_three_quarters_is_at_most_five_minutes(rows) -> None:
    assert errors(rows, 0.75)[0].mean() <= 5.0


def test_intervals_hold_the_truth_as_often_as_they_say_and_are_not_empty_words(rows) -> None:
    """Few cooks: over the three moments together, at least 85 %. An interval as wide as the time left says nothing."""
    assert np.mean([row.covered for row in rows]) >= 0.85
    wide = [(row.high_min - row.low_min) / row.left_min for row in rows]
    assert np.median(wide) < 0.6
    late = [row.high_min - row.low_min for row in rows if row.fraction == 0.75]
    assert np.median(late) < 20.0
