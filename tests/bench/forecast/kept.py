"""Cooks kept in a folder between runs (`--cooks DIR`): to simulate them costs more than to forecast them.

A cook is taken from the folder only if nothing that it was simulated with has changed: its name is the hash of what was
asked and of the text of plants, controller, target and cooks.
"""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from functools import cache, wraps
from pathlib import Path
from typing import Any

import cooks

import fiftyover

folder: Path | None = None  # set before the processes begin


@cache
def _texts() -> bytes:
    hub, here = Path(fiftyover.__file__).parent, Path(__file__).parent
    files = [here / "cooks.py", here / "other_smoker.py", *sorted((hub / "rehearse").glob("*.py"))]
    files += sorted((hub / "control").glob("*.py"))
    return b"".join(file.read_bytes() for file in files)


def _kept(make: Callable[..., cooks.Cook]) -> Callable[..., cooks.Cook]:
    @wraps(make)
    def cook(*args: Any, **options: Any) -> cooks.Cook:
        if folder is None:
            return make(*args, **options)
        asked = repr((make.__name__, args, sorted(options.items()))).encode()
        file = folder / hashlib.sha256(asked + _texts()).hexdigest()
        if file.exists():
            found: cooks.Cook = pickle.loads(file.read_bytes())  # written below, by whoever gave the folder
            return found
        made = make(*args, **options)
        whole = file.with_suffix(f".{os.getpid()}")
        whole.parent.mkdir(parents=True, exist_ok=True)
        whole.write_bytes(pickle.dumps(made))
        whole.rename(file)
        return made

    return cook


ours = _kept(cooks.ours)
other = _kept(cooks.other)
