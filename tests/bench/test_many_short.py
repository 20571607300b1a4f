"""Twenty kits at one hub for some seconds, everything real but the smokers: shorter than `python tests/bench/many`.

The bounds are wide, as other tests crowd the machine; what must never be is asked for exactly.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "many"))

import stand  # noqa: E402

pytestmark = pytest.mark.system
KITS, SECONDS = 20, 12.0


def test_twenty_kits_are_permitted_in_time_and_nothing_is_lost(tmp_path: Path) -> None:
    seen = stand.measured(tmp_path, KITS, SECONDS)
    assert seen.grants >= KITS * SECONDS / 5.0 * 0.7
    assert seen.interval_p99_s <= 7.0
    assert seen.written_p99_s <= 0.5
    assert seen.hub_cores <= 0.5
    assert seen.frames >= KITS * SECONDS * 0.9
    must_not = ("lost", "doubled", "conflicts", "never_acked", "expired", "faults", "lost_in", "refused_out")
    assert {name: getattr(seen, name) for name in must_not} == dict.fromkeys(must_not, 0)
