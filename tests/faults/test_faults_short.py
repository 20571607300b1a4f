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


def met(section, results):
    return all(row.met for row in table.SECTIONS[section][1](results, True))


HELD = {"armed_said": True, "held_degC": 62.9, "door_ons": 0, "end_on": 0, "sounded": True, "began_s": 30.0}
HELD |= {"off_before": True, "back_on": True, "watchdogs": 0}


@pytest.mark.parametrize(
    "changed",
    [
        {"armed_said": False},
        {"held_degC": 63.1},
        {"held_degC": 56.9},
        {"door_ons": 1},
        {"end_on": 1},
        {"sounded": False},
        {"began_s": 20.0},
        {"off_before": False},
        {"back_on": False},
        {"broke": "no hold began"},
    ],
)
def test_stand_by_row_is_not_met_when_one_thing_is_wrong(changed):
    assert met("standby", [HELD])
    assert not met("standby", [HELD | changed])


@pytest.mark.parametrize(
    "changed",
    [{"off_kit_s": 3.1}, {"off_kit_s": None}, {"again": True}, {"beats_a_second": 0}, {"pin_high_or_welded": False}],
)
def test_second_switch_row_is_not_met_when_one_thing_is_wrong(changed):
    from faults import second_switch as two

    good = [
        {"kind": kind, "off_kit_s": 1.5, "again": False, "beats_a_second": 30, "pin_high_or_welded": True}
        for kind in (two.HUNG, two.CAPPED, two.SILENT)
    ]
    assert met("second-switch", good)
    assert not met("second-switch", [good[0] | changed, *good[1:]])


MERGED = {"rows": 1740, "held": 1466, "doubled": 0, "out_of_order": 0, "wrong_dates": 0, "wraps": 1, "missing": 0}
MERGED |= {"thinned": 5761, "recovered_s": 55, "faults": 0}


@pytest.mark.parametrize(
    "changed",
    [
        {"doubled": 1},
        {"out_of_order": 1},
        {"wrong_dates": 1},
        {"missing": 1},
        {"recovered_s": 61},
        {"recovered_s": None},
        {"held": 10},
        {"wraps": 0},
        {"faults": 1},
    ],
)
def test_outage_row_is_not_met_when_one_thing_is_wrong(changed):
    assert met("outage", [MERGED])
    assert not met("outage", [MERGED | changed])


@pytest.mark.parametrize("changed", [{"told_s": None}, {"told_s": 131.0}, {"early": ["x"]}, {"heated_after": 1}])
def test_hazard_row_is_not_met_when_one_thing_is_wrong(changed):
    from faults import hazards

    good = [{"kind": kind, "seed": 1, "told_s": 1.0, "early": [], "heated_after": 0} for kind in hazards.KINDS]
    assert met("hazards", [good])
    assert not met("hazards", [[good[0] | changed, *good[1:]]])


@pytest.mark.parametrize("kind", ["PAIR", "OVER"])
def test_hazard_of_the_kit_alone_is_measured_and_not_found_where_it_is_taken_out(kind, monkeypatch):
    """A check that the runner can see a detection that is broken."""
    from faults import hazards
    from fiftyover_kit import guard, loop

    kind = getattr(hazards, kind)
    assert hazards.one(kind, 3).told_s <= hazards.ASKED_S[kind]
    monkeypatch.setattr(loop, "_APART_CENTIKELVIN", 9000)
    monkeypatch.setattr(guard, "_hot", lambda *_: 0)
    assert hazards.one(kind, 3).told_s is None
