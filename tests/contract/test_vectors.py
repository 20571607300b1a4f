"""The vector file and the thermistor tables, run by CPython and by MicroPython: one file, one runner, both ends."""

import json
import subprocess
from pathlib import Path

import pytest

from contract import run_vectors

TESTS = Path(__file__).resolve().parents[1]
FIRMWARE = TESTS.parent / "firmware"
VECTORS = TESTS / "contract" / "vectors.json"
TABLES = TESTS / "references" / "thermistors"

CASES = list(run_vectors.cases(json.loads(VECTORS.read_text("utf-8")), str(TABLES)))


@pytest.mark.parametrize("run", [run for _, run in CASES], ids=[name for name, _ in CASES])
def test_vector_holds_under_cpython(run) -> None:
    assert run() is None


def test_every_vector_has_a_name_of_its_own() -> None:
    names = [name for name, _ in CASES]
    assert sorted(names) == sorted(set(names))


def test_the_same_vectors_hold_under_micropython(micropython: Path) -> None:
    runner = TESTS / "contract" / "run_vectors.py"
    done = subprocess.run(
        [micropython, runner, FIRMWARE, VECTORS, TABLES], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.splitlines() == [f"{len(CASES)} cases, 0 failures"], done.stdout + done.stderr
    assert done.returncode == 0


def test_the_runner_says_which_vector_fails(tmp_path: Path, micropython: Path) -> None:
    vectors = json.loads(VECTORS.read_text("utf-8"))
    vectors["good"][0]["object"]["seq"] += 1
    broken = tmp_path / "vectors.json"
    broken.write_text(json.dumps(vectors), "utf-8")
    runner = TESTS / "contract" / "run_vectors.py"
    done = subprocess.run(
        [micropython, runner, FIRMWARE, broken, TABLES], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 1
    assert "decode: frame as in the contract" in done.stdout


def test_hostile_bytes_are_refused_on_a_small_heap(micropython: Path) -> None:
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from fiftyover_kit.contract import messages\n"
        "hostile = (b'[' * 8192, b'{\"v\":' * 1638, b'[1,' * 2700, b'\"' + b'x' * 8000, b'[' + b'[],' * 2700)\n"
        "for data in hostile:\n"
        "    try:\n"
        "        messages.decode_grant(data)\n"
        "    except messages.ContractError:\n"
        "        print('refused')\n"
    )
    done = subprocess.run(
        [micropython, "-X", "heapsize=128k", "-c", program, FIRMWARE],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.stdout.split() == ["refused"] * 5, done.stderr


def test_tick_arithmetic_runs_with_the_heap_locked(micropython: Path) -> None:
    program = (
        "import sys, micropython; sys.path.insert(0, sys.argv[1])\n"
        "from fiftyover_kit.contract.limits import ticks_add, ticks_diff\n"
        "def run():\n"
        "    micropython.heap_lock()\n"
        "    a = ticks_add(1073741823, 250)\n"
        "    b = ticks_diff(a, 1073741823)\n"
        "    micropython.heap_unlock()\n"
        "    return a, b\n"
        "print(*run())\n"
    )
    done = subprocess.run(
        [micropython, "-c", program, FIRMWARE], capture_output=True, text=True, timeout=30, check=False
    )
    assert done.stdout.split() == ["249", "250"], done.stderr
