"""A server of this machine as a process of a test's own: on a free port, killed and started again at will."""

import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

READY_S = 30.0
END_S = 10.0


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def program(name: str) -> str:
    found = shutil.which(name, path="/usr/sbin:/usr/bin:/usr/local/bin")
    assert found, f"{name} is missing: tests/run installs it"
    return found


class Process:
    """A server process that can be killed and started again on the same data."""

    def __init__(self, words: list[str], port: int, log: Path) -> None:
        self.words, self.port, self.log = words, port, log
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.words, stdout=log, stderr=log)
        end = time.monotonic() + READY_S
        while True:
            assert self.process.poll() is None, self.log.read_text()[-2000:]
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                assert time.monotonic() < end, self.log.read_text()[-2000:]
                time.sleep(0.05)

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None

    def end(self) -> None:
        if self.process is not None:
            self.process.terminate()
            try:
                self.process.wait(END_S)
            except subprocess.TimeoutExpired:
                self.kill()
            self.process = None


@contextmanager
def running(*servers: Process) -> Iterator[None]:
    """Start them in order; end them in the reverse order, those that died included."""
    try:
        for one in servers:
            one.start()
        yield
    finally:
        for one in reversed(servers):
            one.end()


def folder_in(parent: Path, name: str) -> Path:
    made = parent / name
    made.mkdir()
    return made
