"""Who may come in: Host and Origin allow-lists, sign-in by name and code, a token in each request for a change.

Until `fiftyover setup` ran there are no accounts, and the hub then listens on loopback only; the one person at that
machine is the cook. With accounts, every page but the sign-in asks for a session.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from typing import Any, Protocol
from urllib.parse import urlsplit

from starlette.requests import Request

COOKIE = "fiftyover_session"
TOKEN_HEADER = "x-fiftyover-token"  # noqa: S105 - the name of a header, not a secret
SESSION_S = 30 * 24 * 3600.0
BACK_OFF_AFTER = 5
BACK_OFF_S = 30.0

# name, code -> role ("cook" or "watcher"), None when they do not fit
CheckCode = Callable[[str, str], "str | None"]


class SessionFile(Protocol):
    """Where sessions outlive the program."""

    def load(self) -> dict[str, dict[str, Any]]:
        """What was kept; empty when there is none or it is damaged."""

    def save(self, sessions: dict[str, dict[str, Any]]) -> None:
        """Keep these; a disk that cannot be written only costs a sign-in later."""


@dataclass
class Session:
    """One signed-in browser."""

    name: str
    role: str
    token: str
    ends_s: float


@dataclass
class Entry:
    """Who is signed in. With `file` a restarted hub still knows: digests of the cookies are kept, not the cookies."""

    hosts: frozenset[str]
    check_code: CheckCode | None
    now_s: Callable[[], float]
    file: SessionFile | None = None
    _sessions: dict[str, Session] = field(default_factory=dict)
    _loopback: Session = field(default_factory=lambda: Session("cook", "cook", secrets.token_urlsafe(24), float("inf")))
    _failed: dict[str, tuple[int, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Take up the sessions that were kept."""
        if self.file is not None:
            self._sessions = {digest: Session(**told) for digest, told in self.file.load().items()}

    def host_allowed(self, request: Request) -> bool:
        """Only names this hub was told it has: a page elsewhere can then not reach it under a name of its own."""
        try:
            host = urlsplit("//" + request.headers.get("host", "")).hostname or ""
        except ValueError:  # brackets around what is no address
            return False
        return host.lower() in self.hosts

    def origin_allowed(self, request: Request) -> bool:
        """A request that changes something must come from a page of this hub."""
        origin = request.headers.get("origin")
        if origin is None:
            return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
        try:
            return urlsplit(origin).netloc == request.headers.get("host", "")
        except ValueError:
            return False

    def session(self, request: Request) -> Session | None:
        """The session of this browser or program, None when it must sign in."""
        return self._loopback if self.check_code is None else self.session_of(_key(request))

    def session_of(self, key: str) -> Session | None:
        """The session that a key (the cookie's value) opens, None when it is over or was never."""
        found = self._sessions.get(_digest(key))
        return found if found and found.ends_s > self.now_s() else None

    def token_fits(self, request: Request, session: Session) -> bool:
        """The token that the page was given must come back with each change.

        A program that sent the key itself proves as much: a browser adds a cookie by itself, but no such header.
        """
        if self.check_code is not None and _bearer(request):
            return True
        return hmac.compare_digest(request.headers.get(TOKEN_HEADER, "").encode(), session.token.encode())

    def wait_s(self, address: str) -> float:
        """Seconds this address has to wait before its next try, 0 when it may try now."""
        tries, last_s = self._failed.get(address, (0, 0.0))
        return max(0.0, last_s + BACK_OFF_S - self.now_s()) if tries >= BACK_OFF_AFTER else 0.0

    def sign_in(self, name: str, code: str, address: str) -> str | None:
        """A session's cookie value, None when name and code do not fit."""
        if self.check_code is None:
            return None
        role = self.check_code(name, code)
        if role is None:
            tries, _ = self._failed.get(address, (0, 0.0))
            self._failed[address] = (tries + 1, self.now_s())
            return None
        self._failed.pop(address, None)
        key = secrets.token_urlsafe(32)
        self._sessions = {k: s for k, s in self._sessions.items() if s.ends_s > self.now_s()}
        self._sessions[_digest(key)] = Session(name, role, secrets.token_urlsafe(24), self.now_s() + SESSION_S)
        self._keep()
        return key

    def sign_out(self, request: Request) -> None:
        """Forget this browser."""
        self._sessions.pop(_digest(_key(request)), None)
        self._keep()

    def forget(self, name: str) -> None:
        """End every session of a person, whose account is no more."""
        self._sessions = {digest: one for digest, one in self._sessions.items() if one.name != name}
        self._keep()

    def _keep(self) -> None:
        if self.file is not None:
            self.file.save({digest: asdict(one) for digest, one in self._sessions.items()})


def _bearer(request: Request) -> str:
    kind, _, key = request.headers.get("authorization", "").partition(" ")
    return key.strip() if kind.lower() == "bearer" else ""


def _key(request: Request) -> str:
    """What a program sent as its key, else the browser's cookie; never the cookie where a key was sent."""
    return _bearer(request) or request.cookies.get(COOKIE, "")


def _digest(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()
