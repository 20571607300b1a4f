"""The package as it is installed: a wheel in an empty environment away from the tree, and the editable one here."""

import json
import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SHORT = ["--chubs", "1", "--diameter-mm", "30", "--no-forecast", "--option", "start_degC=60.0", "--json"]
LOOK = """
import json, pathlib, fiftyover, fiftyover_kit
from fiftyover.bench import firmware
from fiftyover.clock import VirtualClock
from fiftyover.store import Store
store = Store(pathlib.Path("record.sqlite"), VirtualClock(), 0)  # the schema files are there
store.close()
files = {name: str(path) for name, path in firmware.device_files().items()}
print(json.dumps({"package": fiftyover.__file__, "kit": fiftyover_kit.__file__, "main": str(firmware.main_file()),
                  "json": (firmware.firmware_folder() / "package.json").read_text(), "files": files}))
"""

pytestmark = [pytest.mark.system, pytest.mark.timeout(600)]


def run(command, cwd):
    """Run it as a person's shell would, without this tree on the path."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, timeout=500, check=False)


def done(command, cwd):
    ended = run(command, cwd)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The wheel and the source archive of this tree."""
    out = tmp_path_factory.mktemp("dist")
    done([sys.executable, "-m", "hatchling", "build", "-d", str(out), "-t", "sdist", "-t", "wheel"], ROOT)
    [wheel], [archive] = out.glob("*.whl"), out.glob("*.tar.gz")
    return wheel, archive


@pytest.fixture(scope="module")
def installed(built, tmp_path_factory):
    """Folder of the programs of an empty environment into which only the wheel and what it names was installed."""
    folder = tmp_path_factory.mktemp("empty")
    venv.create(folder / "venv", with_pip=True)
    programs = folder / "venv" / "bin"
    pip = [str(programs / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    done([*pip, str(built[0])], folder)
    return programs


def test_wheel_carries_every_file_of_hub_and_kit_and_nothing_else(built):
    held = {name for name in zipfile.ZipFile(built[0]).namelist() if ".dist-info/" not in name}
    wanted = {"fiftyover/bench/device/main.py", "fiftyover/bench/device/package.json"}
    for base, package in ((ROOT / "hub", "fiftyover"), (ROOT / "firmware", "fiftyover_kit")):
        for path in (base / package).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                wanted.add(path.relative_to(base).as_posix())
    wanted |= {f"fiftyover/app/built/{file.name}" for file in (ROOT / "dashboards" / "built").glob("*.json")}
    wanted |= {f"fiftyover/bench/kits/{file.name}" for file in (ROOT / "hardware" / "settings").glob("*.json")}
    assert held == wanted


def test_source_archive_has_the_tests_and_the_firmware(built):
    with tarfile.open(built[1]) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {"firmware/main.py", "firmware/package.json", "tests/run", "README.md", "pyproject.toml"} <= names


def test_wheel_in_an_empty_environment_rehearses(installed, tmp_path):
    told = json.loads(done([str(installed / "fiftyover"), "rehearse", *SHORT], tmp_path))
    [chub] = told["chubs"]
    assert 66.6 <= chub["pulled_degC"] <= 68.4  # 152 to 155 °F


@pytest.mark.parametrize("kind", ["wheel", "editable"])
def test_firmware_is_found_to_be_flashed(request, kind, tmp_path):
    python = str(request.getfixturevalue("installed") / "python") if kind == "wheel" else sys.executable
    told = json.loads(done([python, "-c", LOOK], tmp_path))
    place = ROOT / "firmware" if kind == "editable" else Path(told["package"]).parent / "bench" / "device"
    assert Path(told["main"]) == place / "main.py"
    if kind == "wheel":
        assert ROOT not in Path(told["package"]).parents
        assert ROOT not in Path(told["kit"]).parents
    for name, source in {**told["files"], "main.py": told["main"]}.items():
        assert Path(source).read_bytes() == (ROOT / "firmware" / name).read_bytes(), name
    assert json.loads(told["json"]) == json.loads((ROOT / "firmware" / "package.json").read_text())
    assert set(told["files"]) >= {"main.py", "fiftyover_kit/guard.py", "fiftyover_kit/contract/messages.py"}


def test_editable_install_rehearses_from_elsewhere(tmp_path):
    told = json.loads(done([sys.executable, "-m", "fiftyover", "rehearse", *SHORT], tmp_path))
    assert len(told["chubs"]) == 1


def test_wheel_without_the_extra_says_what_a_demo_needs(installed, tmp_path):
    """Without mosquitto on the path and without iotcore there is no broker: one sentence."""
    code = "import shutil; shutil.which = lambda *a, **k: None\nfrom fiftyover.cli import main\n"
    code += "raise SystemExit(main(['demo', '--port', '0', '--until-done']))"
    ended = run([str(installed / "python"), "-c", code], tmp_path)
    assert ended.returncode == 2
    assert "install mosquitto, or `pip install fiftyover[demo]`" in ended.stderr
    assert "Traceback" not in ended.stderr
