"""Faults and marks of the record are told in words for a person, with probes counted as the kit counts them."""

import json
from pathlib import Path
from typing import Any

import pytest

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.cli import main
from fiftyover.reports import record_view

# What a person is never shown (DEVELOPERS.md, "Words and units"), and the verdict that the record never gives.
NEVER = ("grant", "lease", "duty", "latched", "prior", "interval", "safe")


@pytest.fixture
def record(record_file: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    assert main(["report", "--store", str(record_file), "--json", "aaaa0001"]) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


def rows(record: dict[str, Any], title: str, units: str = "F-lb") -> list[tuple[str, ...]]:
    return list(next(one for one in record_view.blocks(record, units) if one.title == title).rows)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ({"kind": ev.PROBE_OUT, "probe": 1, "chub": 2, "why": "moved", "from_s": 3.0}, "probe 2; chub 2; moved"),
        ({"kind": ev.PULLED, "chub": 1, "probe": 2}, "chub 1; its probe into chub 2"),
        ({"kind": ev.PULLED, "chub": 1, "probe": "stays"}, "chub 1; its probe stays"),
        ({"kind": day.COLD, "chubs": [], "probe": 0}, "probe 1"),
        ({"kind": ev.ALARM, "name": "no-answer", "says": "No heat: look.", "stops": True}, "No heat: look."),
        ({"kind": ev.ALARM_OVER, "name": "no-answer"}, "no answer"),
        ({"kind": ev.SMOKE_LOW, "low": True}, "too low to smoke"),
        ({"kind": day.WEIGHED, "what": "raw", "kg": 4.5359237}, "raw; 10.00 lb"),
    ],
)
def test_details_are_words(record: dict[str, Any], event: dict[str, Any], words: str) -> None:
    assert rows({**record, "faults": [{"at_s": 60.0, **event}]}, "Faults")[0][2] == words


def test_no_kind_of_event_is_told_in_a_word_of_the_program(record: dict[str, Any]) -> None:
    kinds = [*ev.KINDS, *(kind for kind in day.KINDS if kind not in ev.KINDS)]
    told = " ".join(
        row[1] for row in rows({**record, "marks": [{"at_s": 0.0, "kind": kind} for kind in kinds]}, "Marks")
    )
    assert "held" in told
    assert [word for word in NEVER if word in told.replace("-", " ").split()] == []
    assert "switched" not in told


def test_sentences_of_a_metric_record_have_degC_beside(record: dict[str, Any]) -> None:
    sentence = "Chub 3 took 7.1 h from 50 to 130 °F, where 6 h are allowed."
    assert rows({**record, "said": [sentence]}, "What it shows") == [(sentence,)]
    assert "from 50 to 130 °F (10 to 54 °C)" in rows({**record, "said": [sentence]}, "What it shows", "C-kg")[0][0]
