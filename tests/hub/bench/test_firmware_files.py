"""The kit's files are found in the source tree and in a wheel."""

import shutil

import pytest

from fiftyover.bench import firmware
from fiftyover.errors import HubError


def test_source_tree_has_main_beside_the_package():
    assert firmware.main_file().name == "main.py"
    assert firmware.firmware_folder() == firmware.package_folder().parent


@pytest.fixture
def wheel(tmp_path, monkeypatch):
    """The two folders as a wheel lays them out: the package in one, main.py and package.json in another."""
    device = tmp_path / "fiftyover" / "bench" / "device"
    device.mkdir(parents=True)
    shutil.copytree(firmware.package_folder(), tmp_path / "fiftyover_kit", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(firmware.fiftyover_kit, "__file__", str(tmp_path / "fiftyover_kit" / "__init__.py"))
    monkeypatch.setattr(firmware, "_WHEEL_FOLDER", device)
    return device


def test_wheel_has_main_in_its_device_folder(wheel):
    (wheel / "main.py").write_text("")
    (wheel / "package.json").write_text("{}")
    assert firmware.firmware_folder() == wheel
    assert firmware.main_file() == wheel / "main.py"


def test_install_without_main_is_a_sentence_that_names_both_places(wheel):
    (wheel / "main.py").write_text("")  # package.json is missing
    with pytest.raises(HubError, match="install fiftyover again") as caught:
        firmware.main_file()
    assert str(wheel) in str(caught.value)


def test_device_files_are_main_and_every_module_of_the_package():
    files = firmware.device_files()
    assert files["main.py"] == firmware.main_file()
    wanted = {
        path.relative_to(firmware.package_folder()).as_posix() for path in firmware.package_folder().rglob("*.py")
    }
    assert set(files) - {"main.py"} == {f"fiftyover_kit/{name}" for name in wanted}
    assert "fiftyover_kit/contract/messages.py" in files
