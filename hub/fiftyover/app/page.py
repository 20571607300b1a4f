"""The web server in a thread of its own: one socket, opened before anything else so that a taken port is said early."""

from __future__ import annotations

import errno
import socket
import threading
from collections.abc import Callable, Mapping

import uvicorn

from ..errors import HubError, SettingsError
from ..web.desk import Desk
from ..web.entry import CheckCode, Entry, SessionFile
from ..web.live import Live
from ..web.site import application, several

START_S = 10.0
LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})


class Page:
    """The page of one hub at `address`."""

    def __init__(self, host: str, port: int, names: frozenset[str], check_code: CheckCode | None) -> None:
        """Take the port at once; SettingsError if it cannot be had."""
        self._socket = _taken(host, port)
        self.host, self.port = self._socket.getsockname()[:2]
        self._given = sorted(names)
        self._names = names | LOOPBACK | {self.host}
        self._check_code = check_code
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._lives: list[Live] = []
        self.entry: Entry | None = None

    @property
    def link(self) -> str:
        """What to type into a phone in the house: the first name it was given, else the address."""
        return f"http://{self._given[0]}:{self.port}/" if self._given else self.address

    @property
    def address(self) -> str:
        """What to type into a browser on this machine."""
        host = "127.0.0.1" if self.host in ("0.0.0.0", "::") else self.host  # noqa: S104 - compared, not bound
        return f"http://{host}:{self.port}/"

    def start(
        self,
        live: Live,
        desk: Desk | Mapping[str, tuple[Live, Desk]],
        entry_clock: Callable[[], float],
        sessions: SessionFile | None = None,
    ) -> None:
        """Serve; HubError if the server does not come up. `desk`: with several smokers each one's, by its name, and
        `live` is their list. `sessions`: where sign-ins outlive this program."""
        smokers = desk if isinstance(desk, Mapping) else {}
        self._lives = [live, *(one for one, _ in smokers.values())]
        names = frozenset(name.lower() for name in self._names)
        self.entry = entry = Entry(names, self._check_code, entry_clock, sessions)
        config = uvicorn.Config(
            several(live, desk, entry) if isinstance(desk, Mapping) else application(live, desk, entry),
            log_level="warning",
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=2,
            ws="none",
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, name="page", daemon=True
        )
        self._thread.start()
        waited = threading.Event()
        for _ in range(int(START_S / 0.05)):
            if self._server.started:
                return
            waited.wait(0.05)
        raise HubError(f"The page at {self.address} did not come up within {START_S:.0f} s.")

    def stop(self) -> None:
        """End every stream and the server."""
        for live in self._lives:
            live.close()
        if self._server is not None:
            self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(5.0)
        self._socket.close()


def _taken(host: str, port: int) -> socket.socket:
    one: socket.socket | None = None
    try:
        infos = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        one = socket.socket(infos[0][0], socket.SOCK_STREAM)
        one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        one.bind(infos[0][4])
        one.listen()  # a bound socket that does not listen would not keep a second hub off the port
    except OSError as fault:
        if one is not None:
            one.close()
        if fault.errno == errno.EADDRINUSE:
            raise SettingsError(
                f"The page's port {port} is in use by another program: end that one, or choose another port."
            ) from None
        why = fault.strerror or str(fault)
        raise SettingsError(
            f"The page cannot be served at {host}:{port} ({why}): check host and port under [web]."
        ) from None
    return one
