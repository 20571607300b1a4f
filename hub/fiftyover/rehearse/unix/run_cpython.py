"""Runs a simulated kit's main.py under CPython, where there is no MicroPython for this computer.

Called as: python run_cpython.py main.py, in the folder that plays the board. CPython's own `time` cannot be shadowed,
so the ticks of the shim are put on it; `machine` and `network` are found beside this file.
"""

import importlib.util
import os
import runpy
import sys
import time


def _board_time():
    folder = os.path.dirname(os.path.abspath(__file__))
    spec = importlib.util.spec_from_file_location("fiftyover_board_time", os.path.join(folder, "time.py"))
    shim = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(shim)
    for name in ("ticks_ms", "ticks_us", "ticks_cpu", "ticks_add", "ticks_diff", "sleep_ms", "sleep_us"):
        setattr(time, name, getattr(shim, name))


def main():
    script = os.path.abspath(sys.argv[1])
    folder = os.path.dirname(os.path.abspath(__file__))
    _board_time()
    # Behind everything: this folder's time.py must never be met by an import of CPython's library.
    sys.path[:] = [os.path.dirname(script)] + [path for path in sys.path if os.path.abspath(path) != folder] + [folder]
    sys.argv = [script]
    runpy.run_path(script, run_name="__main__")


if __name__ == "__main__":
    main()
