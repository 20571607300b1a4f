"""A board on USB: found, spoken to by mpremote's transport, its files written whole or not at all.

Every fault is a BenchError of one sentence with a way on. A file is written beside its place, verified by hash, then
renamed over it: a cut at any moment leaves the old one or the new one (littlefs and POSIX replace by rename).
"""

from __future__ import annotations

import ast
import contextlib
import hashlib
import time
from types import TracebackType

from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport
from serial import SerialException
from serial.tools import list_ports

from fiftyover.errors import HubError

MICROPYTHON_MIN = (1, 28)  # the oldest that was tried
# USB vendors of boards and of the bridges on them: RP2, Espressif, and three makers of serial bridges (USB-IF numbers).
VENDORS = {0x2E8A, 0x303A, 0x10C4, 0x1A86, 0x0403}
_CHUNK_BYTES = 512
_ANSWER_S = 3.0
_ASK_AGAIN_S = 1.0  # a board that was just starting dropped the first words: it is asked anew so soon
_PULLED = "The board no longer answers: was the cable pulled? Plug it in and repeat the command; nothing is half done."


class BenchError(HubError):
    """Something at the bench that a person can mend; `str()` is one sentence: what, where, what to do."""


def boards() -> list[str]:
    """Ports on which a board may be."""
    return sorted(port.device for port in list_ports.comports() if port.vid in VENDORS)


def the_board(port: str | None) -> str:
    """The port given, or the only board there is. BenchError if there is none, or more than one."""
    if port:
        return port
    found = boards()
    if not found:
        raise BenchError("No board is on USB: plug it in with a cable that carries data, and give the command again.")
    if len(found) > 1:
        raise BenchError(f"{len(found)} boards are on USB ({', '.join(found)}): unplug one, or say --port {found[0]}.")
    return found[0]


class Usb:
    """One board's raw REPL, as a context."""

    def __init__(self, port: str) -> None:
        self.port = port
        self._transport: SerialTransport | None = None

    def __enter__(self) -> Usb:
        self.connect()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def connect(self, limit_s: float = 10.0) -> None:
        """Open the port and interrupt what runs. BenchError if nothing is there, or no MicroPython."""
        end = time.monotonic() + limit_s
        wait_s = min(_ASK_AGAIN_S, limit_s)
        while True:
            try:
                self._transport = SerialTransport(self.port, timeout=wait_s)
                self._transport.use_raw_paste = False  # its writer waits for ever for a board that is gone
                self._transport.enter_raw_repl(soft_reset=False, timeout_overall=wait_s)
                # A program that was just leaving may have taken the first words: ask until it answers.
                if self._transport.exec_raw("print(1)", timeout=3)[0].strip() != b"1":
                    raise TransportError("no answer")
                self._transport.serial.timeout = _ANSWER_S
                return
            except (TransportError, SerialException, OSError) as error:
                opened = self._transport is not None
                self.close()
                if time.monotonic() > end:
                    if opened:
                        raise BenchError(
                            f"{self.port} does not speak MicroPython: put MicroPython on the board first (hold its "
                            "BOOT button while plugging it in, and copy the maker's file to it)."
                        ) from error
                    raise BenchError(
                        f"{self.port} cannot be opened ({error}): is another program using it, or may your user "
                        "not (Debian: `sudo usermod -aG dialout $USER`, then log in again)?"
                    ) from error
                time.sleep(0.2)

    def close(self) -> None:
        """Let go of the port."""
        if self._transport is not None:
            transport, self._transport = self._transport, None
            with contextlib.suppress(TransportError, SerialException, OSError):  # already gone
                transport.exit_raw_repl()
            with contextlib.suppress(SerialException, OSError):
                transport.close()

    def run(self, code: str, limit_s: float = 10.0) -> str:
        """Run code on the board; what it printed. BenchError if it fails there or the board is gone."""
        if self._transport is None:
            raise BenchError(_PULLED)
        try:
            said, failed = self._transport.exec_raw(code, timeout=limit_s)
        except (TransportError, SerialException, OSError) as error:
            raise BenchError(_PULLED) from error
        if failed:
            last = failed.decode(errors="replace").strip().splitlines()[-1]
            raise BenchError(f"The board says {last!r}; give the command again, and `fiftyover kit flash` if it stays.")
        return str(said.decode(errors="replace")).strip()

    def reset(self, seconds: float = 0.5) -> None:
        """Restart the board and connect again."""
        if self._transport is not None:
            with contextlib.suppress(TransportError, SerialException, OSError):
                self._transport.exec_raw_no_follow("import machine\nmachine.reset()")
        self.close()
        time.sleep(seconds)
        self.connect()

    def about(self) -> tuple[str, str]:
        """(board, MicroPython version). BenchError if it is too old or something else."""
        said = self.run(
            "import sys\nprint(sys.implementation.name,*sys.implementation.version[:3],sep=' ')\n"
            "print(getattr(sys.implementation,'_machine',sys.platform))"
        ).splitlines()
        name, *version = said[0].split()
        numbers = tuple(int(one) for one in version)
        text = ".".join(version)
        if name != "micropython":
            raise BenchError(f"{self.port} runs {name}, not MicroPython; put MicroPython on it first.")
        if numbers < MICROPYTHON_MIN:
            least = ".".join(str(one) for one in MICROPYTHON_MIN)
            raise BenchError(
                f"The board has MicroPython {text}, too old: put {least} or later on it, then flash again."
            )
        return said[1], text

    # -- files -----------------------------------------------------------------------------------------------

    def hashes(self, paths: list[str]) -> dict[str, str]:
        """SHA-256 of the files that are there."""
        found = {}
        for path in paths:
            said = self.run(
                f"import hashlib,binascii\nh=hashlib.sha256()\ntry:\n f=open({path!r},'rb')\n while 1:\n"
                "  d=f.read(256)\n  if not d: break\n  h.update(d)\n f.close()\n"
                " print(binascii.hexlify(h.digest()).decode())\nexcept OSError: print('-')"
            )
            if said != "-":
                found[path] = said
        return found

    def read(self, path: str) -> str | None:
        """A small text file, None if it is not there."""
        said = self.run(f"try: print('+'+repr(open({path!r}).read()))\nexcept OSError: print('-')")
        return None if said == "-" else str(ast.literal_eval(said[1:]))

    def folder(self, path: str) -> None:
        """Make a folder and those above it."""
        parts = path.split("/")
        for end in range(1, len(parts) + 1):
            self.run(f"import os\ntry: os.mkdir({'/'.join(parts[:end])!r})\nexcept OSError: pass")

    def write(self, path: str, content: bytes) -> None:
        """Put a file in its place, whole or not at all. BenchError if what arrived is not what was sent."""
        fresh = path + ".new"
        self.run(f"open({fresh!r},'wb').close()")
        for at in range(0, len(content), _CHUNK_BYTES):
            piece = content[at : at + _CHUNK_BYTES]
            self.run(f"f=open({fresh!r},'ab')\nf.write({piece!r})\nf.close()")
        if self.hashes([fresh]).get(fresh) != hashlib.sha256(content).hexdigest():
            raise BenchError(f"{path} did not arrive as it was sent: give the command again, with another cable.")
        self.run(f"import os\nif hasattr(os,'sync'): os.sync()\nos.rename({fresh!r},{path!r})")
