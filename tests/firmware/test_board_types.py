"""The firmware against the type stubs of both boards: a pin, an argument or a name that the board lacks shows here."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import fiftyover_kit

KIT = Path(fiftyover_kit.__file__).parent
STUBS = KIT.parents[1] / ".stubs"
PORTS = {"rp2": "micropython-rp2-rpi-pico-w-stubs", "esp32": "micropython-esp32-esp32-generic-stubs"}


def errors(port, folder, kit):
    stubs = STUBS / port
    if not (stubs / "machine.pyi").is_file():
        pytest.fail(f"no type stubs in .stubs/{port}; `bash tests/run` installs {PORTS[port]} there")
    config = folder / "mypy.ini"
    # The stubs stand for the standard library too, so they take typeshed's place.
    config.write_text(
        f"[mypy]\nmypy_path = {stubs}:{kit.parent}\ncustom_typeshed_dir = {stubs}\ncheck_untyped_defs = True\n"
        "explicit_package_bases = True\nfollow_imports = silent\n"
    )
    ran = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", config, "--cache-dir", folder / "cache", "--show-absolute-path"]
        + [str(kit / "board.py"), str(KIT.parent / "main.py")],
        capture_output=True,
        text=True,
        timeout=250,
        check=False,
    )
    assert "checked 2 source files" in ran.stdout, f"{ran.stdout}\n{ran.stderr}"
    # What the stubs get wrong among themselves is not ours.
    ours = (str(kit / "board.py"), str(KIT.parent / "main.py"))
    return [line for line in ran.stdout.splitlines() if line.startswith(ours) and " error: " in line]


@pytest.mark.parametrize("port", PORTS)
def test_board_and_main_type_check_against_the_stubs_of(port, tmp_path):
    assert errors(port, tmp_path, KIT) == []


MISTAKES = [
    ("machine.WDT(timeout=WATCHDOG_MS)", 'machine.WDT(timeout="5000")', "timeout"),
    ("total += adc.read_u16()", "total += adc.read_u32()", "read_u32"),
    (
        'self._relay = machine.Pin(pins["relay"], machine.Pin.OUT, value=0)',
        "self._relay = machine.Pin(1, valu=0)",
        "Pin",
    ),
    ("time.ticks_ms()", "time.tick_ms()", "tick_ms"),
]


@pytest.mark.parametrize("port", PORTS)
def test_planted_mistakes_are_found_with_the_stubs_of(port, tmp_path):
    shutil.copytree(KIT, tmp_path / "fiftyover_kit", ignore=shutil.ignore_patterns("__pycache__"))
    board = tmp_path / "fiftyover_kit" / "board.py"
    source = board.read_text("utf-8")
    for right, wrong, _ in MISTAKES:
        assert source.count(right) == 1
        source = source.replace(right, wrong)
    board.write_text(source, "utf-8")
    found = errors(port, tmp_path, board.parent)
    assert len(found) >= len(MISTAKES)
    for _, _, word in MISTAKES:
        assert any(word in line for line in found), (word, found)
