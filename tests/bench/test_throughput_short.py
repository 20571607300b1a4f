"""Waiting messages are taken at a good share of the speed of paho and SQLite alone, and each is acknowledged.

Shorter than `python tests/bench/throughput`. The figure here is processor time, as other tests crowd the machine, and
the least is set so that a store that commits for every message fails, as is tried too (it reaches about 0.1).
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "throughput"))

import turns  # noqa: E402
import ways  # noqa: E402

COUNT, ROUNDS, PROBES = 1500, 3, 12  # an odd number of rounds: one that something crowds is not the median
FEW = 300  # commit by commit they take a second
ASKED = 0.3  # of paho + SQLite, by processor time

pytestmark = pytest.mark.system


def test_messages_are_taken_once_acknowledged_and_fast_enough() -> None:
    found = turns.measured(COUNT, ROUNDS, PROBES)
    assert not any(found["left"].values()), found["left"]
    assert found["cpu_ratio"]["ours"] >= ASKED, found


def test_a_commit_for_each_message_would_be_seen() -> None:
    both = {"sqlite": ways.paho_sqlite, "each": ways.each_committed}
    assert turns.measured(FEW, ROUNDS, PROBES, both)["cpu_ratio"]["each"] < ASKED
