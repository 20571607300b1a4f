"""The short form of the fault runner is part of every test run."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from faults import table
from fiftyover.broker import mosquitto
from fiftyover.rehearse.kit_process import micropython

RUN = Path(__file__).parent / "run"


def needed():
    """Names of parts that are missing here."""
    parts = {"mosquitto": mosquitto.program(), "micropython": micropython()}
    return [name for name, found in parts.items() if not found]


@pytest.mark.system
@pytest.mark.long
@pytest.mark.timeout(600)
def test_short_form_of_every_fault_meets_what_is_asked(tmp_path):
    missing = needed()
    if missing and os.environ.get("CI") != "true":
        pytest.skip(f"not installed here: {', '.join(missing)}")
    assert not missing
    told = tmp_path / "faults.json"
    done = subprocess.run([sys.executable, str(RUN), "--quick", "--json", str(told)], capture_output=True, text=True)
    print(done.stdout)
    assert told.exists(), done.stderr[-2000:]
    measured = json.loads(told.read_text())
    assert set(measured["results"]) == set(table.SECTIONS)
    assert [row["what"] for row in measured["rows"] if not row["met"]] == []
    assert done.returncode == 0


def silent(**changed):
    """One fault of each kind that went well, but for what is changed of the first."""
    from faults import silence

    good = [{"kind": kind, "off_s": 1.9, "reons": 0, "again_s": 2.0} for kind in silence.KINDS for _ in range(10)]
    good[0] = good[0] | changed
    return [{"results": good, "refused_frames": 3, "late_permits": 4}]


@pytest.mark.parametrize(
    "changed", [{"off_s": 2.51}, {"off_s": None}, {"reons": 1}, {"again_s": None}, {"skipped": "no heat"}]
)
def test_table_says_not_met_for_one_bad_fault_among_good_ones(changed):
    judge = table.SECTIONS["silence"][1]
    assert all(row.met for row in judge(silent(), True))
    assert not all(row.met for row in judge(silent(**changed), True))
