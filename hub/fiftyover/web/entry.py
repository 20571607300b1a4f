"""Who may come in: Host and Origin allow-lists, sign-in by name and code, a token in each request for a change.

Until `fiftyover setup` ran there are no accounts, and the hub then listens on loopback only; the one person at that
machine is the cook. With accounts, every page but the sign-in asks for a session.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from starlette.requests import Request

COOKIE = "fiftyover_session"
TOKEN_HEADER = "x-fiftyover-token"  # noqa: S105 - the name of a header, not a secret
SESSION_S = 30 * 24 * 3600.0
BACK_OFF_AFTER = 5
BACK_OFF_S = 30.0

# name, code -> role ("cook" or "watcher"), None when they do not fit
CheckCode = Callable[[str, str], "str | None"]


@dataclass
class Session:
    """One signed-in browser."""

    name: str
    role: str
    token: str
    ends_s: float


@dataclass
class Entry:
    """Sessions in memory: a restarted hub asks again, which is cheap and leaves no secret on the disk."""

    hosts: frozenset[str]
    check_code: CheckCode | None
    now_s: Callable[[], float]
    _sessions: dict[str, Session] = field(default_factory=dict)
    _loopback: Session = field(default_factory=lambda: Session("cook", "cook", secrets.token_urlsafe(24), float("inf")))
    _failed: dict[str, tuple[int, float]] = field(default_factory=dict)

    def host_allowed(self, request: Request) -> bool:
        """Only names this hub was told it has: a page elsewhere can then not reach it under a name of its own."""
        host = urlsplit("//" + request.headers.get("host", "")).hostname or ""
        return host.lower() in self.hosts

    def origin_allowed(self, request: Request) -> bool:
        """A request that changes something must come from a page of this hub."""
        origin = request.headers.get("origin")
        if origin is None:
            return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
        return urlsplit(origin).netloc == request.headers.get("host", "")

    def session(self, request: Request) -> Session | None:
        """The session of this browser, None when it must sign in."""
        if self.check_code is None:
            return self._loopback
        found = self._sessions.get(request.cookies.get(COOKIE, ""))
        return found if found and found.ends_s > self.now_s() else None

    def token_fits(self, request: Request, session: Session) -> bool:
        """The token that the page was given must come back with each change."""
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
        self._sessions[key] = Session(name, role, secrets.token_urlsafe(24), self.now_s() + SESSION_S)
        return key

    def sign_out(self, request: Request) -> None:
        """Forget this browser."""
        self._sessions.pop(request.cookies.get(COOKIE, ""), None)
