"""The hub's own broker as a child process: mosquitto where it is installed, else iotcore; watched and started again."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import time
from pathlib import Path

from ..errors import BrokerError
from . import certificates, iotcore, mosquitto
from .accounts import HUB, Account, kept, secret_of
from .address import Address
from .mosquitto import Listener
from .probe import accepts, free_port

LOOPBACK = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - the encrypted listener is for the kits in the house
TLS_PORT = 8883  # as registered with IANA for MQTT over TLS
ACCOUNTS = "accounts"  # folder of secrets beside the broker's configuration
READY_S = 5.0
STOP_S = 5.0
STOP_TRIES = 10
RESTARTS_S = (0.0, 1.0, 5.0, 30.0)  # waits before the 1st, 2nd, … new start within CALM_S
CALM_S = 60.0
LOG_TAIL_BYTES = 4000


class ChildBroker:
    """One broker in `folder`; `start` gives the hub's address, `poll` (called often) starts a dead one again."""

    def __init__(
        self,
        kind: str | None,
        folder: Path,
        accounts: list[Account],
        *,
        port: int = 0,
        outside: Listener | None = None,
    ) -> None:
        """Use `kind` "mosquitto", "iotcore" or None for what there is; `outside`: a TLS listener for the Wi-Fi."""
        self.kind = kind or chosen()
        self.folder = folder
        self.accounts = accounts
        self.restarts = 0
        self._wanted_port = port
        self._outside = outside
        self._process: subprocess.Popen[bytes] | None = None
        self._address: Address | None = None
        self._deaths: list[float] = []
        self._ended = False
        if self.kind not in ("mosquitto", "iotcore"):
            raise BrokerError(f"there is no broker kind {self.kind!r}; use mosquitto or iotcore")
        if outside is not None and self.kind != "mosquitto":
            raise BrokerError("iotcore is for this machine only, since it has no access list; install mosquitto")

    @property
    def pid(self) -> int | None:
        """Process id while it runs."""
        return self._process.pid if self._process and self._process.poll() is None else None

    @property
    def address(self) -> Address:
        """The hub's way in; BrokerError before the first `start`."""
        if self._address is None:
            raise BrokerError("the broker was not started yet; call start first")
        return self._address

    def address_for(self, user: str) -> Address:
        """Another account's way in over loopback, a kit's for example."""
        return self.address.as_user(user, secret_of(self.accounts, user))

    def start(self) -> Address:
        """Start it and wait until it takes connections; BrokerError in one sentence if it does not."""
        self._ended = False
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._end_left_over()
        if self._outside is not None:
            free_port(self._outside.host, self._outside.port)
        port = free_port(LOOPBACK, self._address.port if self._address else self._wanted_port)
        command = self._write(port)
        log = os.open(self.folder / "broker.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        try:
            # A session of its own: Ctrl-C at the terminal must not end the broker before the hub's last stop is out
            self._process = subprocess.Popen(  # noqa: S603 - our own command line
                command, stdin=subprocess.PIPE, stdout=log, stderr=log, start_new_session=True
            )
        except OSError as fault:
            raise BrokerError(f"{self.kind} cannot be started ({fault.strerror}); is it installed") from fault
        finally:
            os.close(log)
        self._await_ready(port)
        protocol = "5" if self.kind == "mosquitto" else "3.1.1"
        secret = secret_of(self.accounts, HUB)
        self._address = Address(LOOPBACK, port, HUB, secret, protocol=protocol)
        return self._address

    def poll(self) -> str | None:
        """Start it again if it died, at once the first time, then ever later; gives a sentence when it had died."""
        if self._address is None or self._ended or self.pid is not None:
            return None
        now_s = time.monotonic()
        self._deaths = [at_s for at_s in self._deaths if now_s - at_s < CALM_S]
        wait_s = RESTARTS_S[min(len(self._deaths), len(RESTARTS_S) - 1)]
        if self._deaths and now_s - self._deaths[-1] < wait_s:
            return None
        self._deaths.append(now_s)
        code = self._process.returncode if self._process else "none"
        try:
            self.restart()
        except BrokerError as fault:
            return f"the broker ended (code {code}) and could not be started again: {fault}"
        return f"the broker ended by itself (code {code}) and was started again"

    def restart(self) -> Address:
        """Stop it if it runs and start it on the same port."""
        self._end()
        self.restarts += 1
        return self.start()

    def stop(self) -> None:
        """End it and wait, for good; safe to call twice."""
        self._ended = True
        self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        _ask_to_end(process)
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()

    def log_tail(self) -> str:
        """Give the end of what it wrote since its last start."""
        try:
            return (self.folder / "broker.log").read_bytes()[-LOG_TAIL_BYTES:].decode(errors="replace")
        except OSError:
            return ""

    def _write(self, port: int) -> list[str]:
        if self.kind == "iotcore":
            iotcore.write(self.folder, self.accounts, port)
            return iotcore.command(self.folder)
        listeners = [Listener(LOOPBACK, port)] + ([self._outside] if self._outside else [])
        mosquitto.write(self.folder, self.accounts, listeners)
        return mosquitto.command(self.folder)

    def _await_ready(self, port: int) -> None:
        process = self._process
        deadline_s = time.monotonic() + READY_S
        while process is not None and time.monotonic() < deadline_s:
            if process.poll() is not None:
                self._end()
                raise BrokerError(self._why_not())
            if accepts(LOOPBACK, port):
                return
            time.sleep(0.02)
        self._end()
        raise BrokerError(f"{self.kind} did not take connections within {READY_S:.0f} s; see {self.folder}/broker.log")

    def _why_not(self) -> str:
        tail = self.log_tail().strip()
        if "Address already in use" in tail:
            return "the broker's port is in use by another program; end that one or choose another port"
        last = tail.splitlines()[-1] if tail else "it wrote nothing"
        return f"{self.kind} ended at its start: {last}"

    def _end_left_over(self) -> None:
        """End a mosquitto that a killed hub left behind; it is ours only if it runs from this very folder."""
        try:
            pid = int((self.folder / "mosquitto.pid").read_text())
            line = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
        except (OSError, ValueError):
            return
        if str(self.folder / "mosquitto.conf").encode() not in line:
            return
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGTERM)
            _await_end(pid)


def _ask_to_end(process: subprocess.Popen[bytes]) -> None:
    """Ask more than once: mosquitto forgets a request that comes between its first connection and its main loop."""
    for _ in range(STOP_TRIES):
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(STOP_S / STOP_TRIES)
            return
    process.kill()
    process.wait(STOP_S)


def _await_end(pid: int) -> None:
    deadline_s = time.monotonic() + STOP_S
    while time.monotonic() < deadline_s and Path(f"/proc/{pid}").exists():
        time.sleep(0.02)


def kept_in(folder: Path, port: int = 0) -> ChildBroker:
    """Give the broker whose accounts and certificate `fiftyover setup` keeps in `folder`."""
    outside = None
    if (folder / certificates.SERVER).exists():
        outside = Listener(EVERYWHERE, TLS_PORT, folder / certificates.SERVER, folder / certificates.SERVER_KEY)
    return ChildBroker(None, folder, kept(folder / ACCOUNTS), port=port, outside=outside)


def chosen() -> str:
    """Give the kind of broker this machine has; BrokerError if it has none."""
    if mosquitto.program():
        return "mosquitto"
    if iotcore.installed():
        return "iotcore"
    raise BrokerError("there is no broker on this machine; install mosquitto, or `pip install fiftyover[demo]`")
