"""Every input from outside, changed at random for some seconds; and the proof that each harness finds planted bugs."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fuzz import house, mutate, seeds
from fuzz.planted import BUGS
from fuzz.targets import TARGETS, target

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("hub/fiftyover", "firmware", "hardware/settings", "tests/fuzz", "tests/firmware", "tests/contract")
SLOW = ("description", "http")  # a whole hub an input
SECONDS = 20  # at most: a bug is found in a few hundred inputs
ANY = settings(deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Stand-ins for what is slow, for these tests alone."""
    house.quick(monkeypatch.setattr)


def kinds_of(name):
    """Sound input changed up to six times, or any bytes."""
    sound = st.sampled_from(seeds.of(name))
    changed = st.builds(lambda data, many: _often(data, many), sound, st.lists(st.integers(0, 2**32), max_size=6))
    return changed | st.binary(max_size=200)


def _often(data, many):
    for seed in many:
        data = mutate.some(data, seed)
    return data


@pytest.mark.parametrize("name", TARGETS)
def test_sound_input_is_taken_by_its_target(name):
    assert len(seeds.of(name)) >= 1
    for data in seeds.of(name):
        target(name)(data)


def test_sound_permits_heat_and_sound_marks_are_made():
    """Else a harness would show nothing: all it sends would be refused at the first look."""
    assert 1 in [target("grant")(data) for data in seeds.of("grant")]
    caller = house.caller()
    made = []
    for data in seeds.of("http"):
        caller.ask(data)
        made += caller.marks
    assert {"stop-heat", "pulled", "door", "hand-reading"} <= {kind for kind, _ in made}


@pytest.mark.parametrize("name", [name for name in TARGETS if name not in SLOW])
def test_no_input_breaks_a_promise(name):
    @settings(ANY, max_examples=400)
    @given(kinds_of(name))
    def holds(data):
        target(name)(data)

    holds()


@pytest.mark.parametrize("name", SLOW)
def test_no_input_breaks_a_promise_of_the_whole_hub(name):
    @settings(ANY, max_examples=200)
    @given(kinds_of(name))
    @example(b'{"m":"GET","p":"/","h":{"host":"[]"}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"h":{"origin":"http://["},"b":{"kind":"door","open":true}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":[null]}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"hung","chubs":1}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"hung","chubs":[[0]]}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"out-of-ice","chubs":[[0]]}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"wood","batch":"\\ud800"}}')
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"pulled","chub":1,"core_degC":1' + b"0" * 400 + b"}}")
    @example(b'{"m":"POST","p":"/mark","k":1,"t":1,"b":{"kind":"weighed","what":"raw","kg":1' + b"0" * 400 + b"}}")
    @example(b'{"m":"POST","p":"/settings/contacts","k":1,"t":1,"b":{"to":"first","add":"http://["}}')
    def holds(data):
        target(name)(data)

    holds()


@pytest.mark.parametrize(
    ("name", "number"), [(name, number) for name, bugs in BUGS.items() for number in range(len(bugs))]
)
def test_planted_bug_is_found(name, number, tmp_path):
    """In a copy of the tree, without coverage: `tests/fuzz/run` proves the guided harnesses."""
    file, old, new = BUGS[name][number]
    for part in COPIED:
        shutil.copytree(ROOT / part, tmp_path / part, ignore=shutil.ignore_patterns("__pycache__", "static"))
    if name == "http":
        shutil.copytree(ROOT / "hub/fiftyover/web/static", tmp_path / "hub/fiftyover/web/static")
    text = (tmp_path / file).read_text("utf-8")
    assert text.count(old) == 1, "the text to break is not there once: mend tests/fuzz/planted.py"
    (tmp_path / file).write_text(text.replace(old, new), "utf-8")
    path = os.pathsep.join(str(tmp_path / part) for part in ("hub", "firmware", "tests"))
    line = [sys.executable, str(tmp_path / "tests/fuzz/plain.py"), name, str(SECONDS), "1"]
    done = subprocess.run(
        line, capture_output=True, text=True, cwd=tmp_path, env={**os.environ, "PYTHONPATH": path}, timeout=200
    )
    assert done.returncode == 77, (done.stdout, done.stderr[-2000:])
