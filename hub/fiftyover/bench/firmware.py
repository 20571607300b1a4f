"""Where the files that go on the board are, in an editable install and in a wheel."""

from pathlib import Path

import fiftyover_kit
from fiftyover.errors import HubError

_WHEEL_FOLDER = Path(__file__).parent / "device"


def package_folder() -> Path:
    """The folder `fiftyover_kit` as it is copied to the board."""
    return Path(fiftyover_kit.__file__).parent


def firmware_folder() -> Path:
    """The folder that holds `main.py` and `package.json`.

    In the source tree they lie beside `fiftyover_kit`, in a wheel in `fiftyover/bench/device`. HubError if in neither.
    """
    places = (package_folder().parent, _WHEEL_FOLDER)
    for folder in places:
        if (folder / "main.py").is_file() and (folder / "package.json").is_file():
            return folder
    raise HubError(
        f"The kit's main.py and package.json are neither in {places[0]} nor in {places[1]}; install fiftyover again."
    )


def main_file() -> Path:
    """The kit's `main.py`. HubError if it is not there."""
    return firmware_folder() / "main.py"


def device_files() -> dict[str, Path]:
    """Path on the board -> file here, of all the Python files a kit needs (settings.json is each kit's own)."""
    files = {"main.py": main_file()}
    package = package_folder()
    for path in sorted(package.rglob("*.py")):
        files[f"{package.name}/{path.relative_to(package).as_posix()}"] = path
    return files
