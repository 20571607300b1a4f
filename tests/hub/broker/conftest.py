"""Real brokers on free ports, clients that are always stopped, and a scripted broker for what a real one never does."""

import contextlib
import os
import queue
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fiftyover.broker import accounts
from fiftyover.broker.address import Address
from fiftyover.broker.child import ChildBroker
from fiftyover.broker.client import BrokerClient
from fiftyover.broker.notes import Link, Message

Open = Callable[..., "Held"]


@pytest.fixture(scope="session")
def needed() -> Callable[[str], str]:
    """Ask for a program of the system: its path; missing: a skip, under CI=true a failure."""
    return _needed


def _needed(program: str) -> str:
    found = shutil.which(program) or shutil.which(program, path="/usr/sbin")
    if found is None:
        message = f"{program} is missing; `bash tests/run` installs it where it may"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return found


class Held:
    """A client and what it put on its inbox."""

    def __init__(self, client: BrokerClient, inbox: "queue.Queue[Message | Link]") -> None:
        self.client = client
        self.inbox = inbox
        self.seen: list[Message | Link] = []

    def take(self, wait_s: float = 0.0) -> "list[Message | Link]":
        """All that came so far, and what comes within the wait."""
        until_s = time.monotonic() + wait_s
        while True:
            with contextlib.suppress(queue.Empty):
                self.seen.append(self.inbox.get(timeout=max(0.0, until_s - time.monotonic())))
                continue
            return self.seen

    def wait_for(self, fits: "Callable[[Message | Link], bool]", wait_s: float = 5.0) -> "Message | Link":
        """The first that fits, also of those seen before."""
        until_s = time.monotonic() + wait_s
        looked = 0
        while True:
            for one in self.seen[looked:]:
                if fits(one):
                    return one
            looked = len(self.seen)
            left_s = until_s - time.monotonic()
            try:
                self.seen.append(self.inbox.get(timeout=max(0.0, left_s)))
            except queue.Empty:
                raise AssertionError(f"did not come within {wait_s} s; seen: {self.seen}") from None

    def wait_link(self, up: bool, wait_s: float = 5.0) -> Link:
        """The first link note of this kind."""
        found = self.wait_for(lambda one: isinstance(one, Link) and one.up is up, wait_s)
        assert isinstance(found, Link)
        return found

    def messages(self) -> list[Message]:
        """Only the messages."""
        return [one for one in self.seen if isinstance(one, Message)]


@pytest.fixture
def opened() -> Iterator[Open]:
    """Make a client that is stopped at the end; start it unless told not to."""
    held: list[Held] = []

    def make(address: Address, client_id: str = "c01d", *, start: bool = True, **options: object) -> Held:
        inbox = options.pop("inbox", None) or queue.Queue()
        client = BrokerClient(address, client_id, inbox, **options)
        held.append(Held(client, inbox))
        if start:
            client.start()
        return held[-1]

    yield make
    for one in held:
        one.client.stop()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[ChildBroker]:
    """A mosquitto with the generated configuration: hub, kit-1, kit-2."""
    _needed("mosquitto")
    child = ChildBroker("mosquitto", tmp_path / "broker", accounts.fresh("kit-1", "kit-2"))
    child.start()
    yield child
    child.stop()


class ScriptedBroker:
    """Speaks as much MQTT 3.1.1 as a test needs: CONNACK, SUBACK, PINGRESP; acknowledges nothing that is published."""

    def __init__(self, *, suback: int | None = 1, connack: bytes = b"\x20\x02\x00\x00", pings: bool = True) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = Address("127.0.0.1", self.listener.getsockname()[1], protocol="3.1.1")
        self.published: list[bytes] = []
        self._suback = suback
        self._connack = connack
        self._pings = pings
        self._lines: list[socket.socket] = []
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                line, _ = self.listener.accept()
                self._lines.append(line)
                threading.Thread(target=self._talk, args=(line,), daemon=True).start()

    def _talk(self, line: socket.socket) -> None:
        with contextlib.suppress(OSError), line, line.makefile("rb") as reader:
            while head := reader.read(1):
                body = reader.read(_length(reader))
                self._answer(line, head[0] >> 4, body)

    def _answer(self, line: socket.socket, kind: int, body: bytes) -> None:
        if kind == 1:
            line.sendall(self._connack)
        elif kind == 8 and self._suback is not None:
            filters = body.count(b"homie/")
            line.sendall(bytes([0x90, 2 + filters]) + body[:2] + bytes([self._suback]) * filters)
        elif kind == 12 and self._pings:
            line.sendall(b"\xd0\x00")
        elif kind == 3:
            self.published.append(body)

    def close(self) -> None:
        """Close listener and connections."""
        self.listener.close()
        for line in self._lines:
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)


def _length(reader: object) -> int:
    total, shift = 0, 0
    while True:
        byte = reader.read(1)[0]
        total |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            return total


@pytest.fixture
def scripted() -> Iterator[Callable[..., ScriptedBroker]]:
    """Make scripted brokers that are closed at the end."""
    made: list[ScriptedBroker] = []

    def make(**options: object) -> ScriptedBroker:
        made.append(ScriptedBroker(**options))
        return made[-1]

    yield make
    for one in made:
        one.close()
