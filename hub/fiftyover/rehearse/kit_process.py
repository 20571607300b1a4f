"""The real firmware of a kit in a process of its own, wired to a plant: MicroPython if there is one, else CPython."""

import json
import os
import shutil
import signal
import subprocess
import sys
import sysconfig
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fiftyover.bench.firmware import device_files
from fiftyover.errors import HubError

HEAP = "190k"
LATE_WATCHDOG = 70  # exit code, see unix/machine.py
_SHIMS = Path(__file__).parent / "unix"
_LOG = "kit.log"


def micropython() -> Path | None:
    """The MicroPython interpreter installed beside this Python, or on the path; None if there is none."""
    beside = Path(sysconfig.get_path("scripts")) / "micropython"
    if beside.is_file():
        return beside
    found = shutil.which("micropython")
    return Path(found) if found else None


@dataclass(frozen=True)
class KitOptions:
    """How a simulated kit is run; `settings` is what stands in its settings.json."""

    settings: dict[str, Any]
    plant_port: int
    speed: float = 1.0
    heap: str = HEAP
    ticks_start_ms: int = 0
    force_cpython: bool = False


class KitProcess:
    """One simulated kit. Its folder plays the board's flash: it outlives a restart, and ends with close()."""

    def __init__(self, options: KitOptions) -> None:
        self.options = options
        self.folder = Path(tempfile.mkdtemp(prefix="fiftyover-kit-"))
        self.interpreter = None if options.force_cpython else micropython()
        self._process: subprocess.Popen[bytes] | None = None
        self._flash()

    @property
    def runtime(self) -> str:
        """Name of the interpreter: "MicroPython" or "CPython"."""
        return "MicroPython" if self.interpreter else "CPython"

    def start(self) -> None:
        """Power on. HubError if the interpreter does not start."""
        if self.alive():
            return
        with (self.folder / _LOG).open("ab") as log:
            try:
                self._process = subprocess.Popen(  # noqa: S603  our own interpreter on our own files
                    self._command(),
                    cwd=self.folder,
                    env=self._environment(),
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=subprocess.STDOUT,
                )
            except OSError as error:
                raise HubError(f"The simulated kit did not start with {self._command()[0]}: {error}.") from error

    def stop(self, limit_s: float = 5.0) -> int | None:
        """Interrupt as Ctrl-C does, so that the firmware leaves by its own way out; killed after `limit_s`."""
        return self._end(signal.SIGINT, limit_s)

    def kill(self) -> int | None:
        """Cut the power."""
        return self._end(signal.SIGKILL, 5.0)

    def close(self) -> None:
        """Kill the process and remove its folder."""
        self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)

    def alive(self) -> bool:
        """True while the process runs."""
        return self._process is not None and self._process.poll() is None

    def exit_code(self) -> int | None:
        """Exit code of the last process, None while it runs; 70 is a watchdog fed late."""
        return None if self._process is None else self._process.poll()

    def log_tail(self, lines: int = 20) -> list[str]:
        """The last lines that the kit printed."""
        path = self.folder / _LOG
        return path.read_text(errors="replace").splitlines()[-lines:] if path.is_file() else []

    def peak_kib(self) -> int | None:
        """Peak resident memory of the running process in KiB, None where the system does not tell."""
        if self._process is None:
            return None
        try:
            status = Path(f"/proc/{self._process.pid}/status").read_text()
        except OSError:
            return None
        for line in status.splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1])
        return None

    def _flash(self) -> None:
        for name, source in device_files().items():
            target = self.folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)
        (self.folder / "settings.json").write_text(json.dumps(self.options.settings))

    def _command(self) -> list[str]:
        if self.interpreter:
            # -O3: without line numbers, as a board's precompiled files; 64-bit objects make the heap tight enough.
            return [str(self.interpreter), "-O3", "-X", f"heapsize={self.options.heap}", "main.py"]
        return [sys.executable, "-u", str(_SHIMS / "run_cpython.py"), "main.py"]

    def _environment(self) -> dict[str, str]:
        environment = dict(os.environ)
        # The search path of MicroPython is replaced by this one: `.frozen` holds its asyncio.
        environment["MICROPYPATH"] = f"{_SHIMS}:.frozen:{self.folder}"
        environment["FIFTYOVER_PLANT_PORT"] = str(self.options.plant_port)
        environment["FIFTYOVER_SPEED"] = f"{self.options.speed:g}"
        environment["FIFTYOVER_TICKS_START"] = str(self.options.ticks_start_ms)
        pins = self.options.settings.get("pins", {})
        environment["FIFTYOVER_MUX_PINS"] = ",".join(str(pin) for pin in pins.get("mux", []))
        environment["FIFTYOVER_BUTTON_PIN"] = str(pins.get("button", -1))
        return environment

    def _end(self, how: signal.Signals, limit_s: float) -> int | None:
        if self._process is None:
            return None
        if self._process.poll() is None:
            self._process.send_signal(how)
        try:
            return self._process.wait(limit_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait(limit_s)
