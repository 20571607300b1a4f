"""Freshness goes by a frame's date: a stalled broker freshens nothing."""

import math

import pytest

from fiftyover.ingest.freshness import Freshness
from fiftyover.store import DatedFrame


def frame(seq: int, at_s: float, boot: str = "9f3c1a02b7e4") -> DatedFrame:
    return DatedFrame("kit-1", boot, seq, seq * 1000, 0, at_s, [80.0], ["ok"], 0, 0.0, "off", True)


def test_kit_that_was_never_heard_is_infinitely_old():
    freshness = Freshness()
    assert freshness.age_s("kit-1", 10.0) == math.inf
    assert (freshness.fresh("kit-1", 10.0), freshness.silent("kit-1", 10.0)) == (False, True)
    assert freshness.newest("kit-1") is None


@pytest.mark.parametrize(
    ("age_s", "fresh", "silent"), [(0, 1, 0), (5.0, 1, 0), (5.1, 0, 0), (60.0, 0, 0), (60.1, 0, 1)]
)
def test_five_seconds_are_fresh_and_a_minute_is_silent(age_s, fresh, silent):
    freshness = Freshness()
    freshness.hear(frame(1, at_s=100.0))
    assert freshness.age_s("kit-1", 100.0 + age_s) == pytest.approx(age_s)
    assert (freshness.fresh("kit-1", 100.0 + age_s), freshness.silent("kit-1", 100.0 + age_s)) == (fresh, silent)


def test_older_frame_that_comes_later_changes_nothing():
    freshness = Freshness()
    freshness.hear(frame(9, at_s=109.0))
    freshness.hear(frame(3, at_s=103.0))
    assert freshness.newest("kit-1").seq == 9
    freshness.hear(frame(0, at_s=120.0, boot="0a1b2c3d4e5f"))  # a new start of the kit counts from 0 again
    assert freshness.newest("kit-1").seq == 0
