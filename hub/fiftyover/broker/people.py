"""Who may open the hub's pages: names with a role and the scrypt hash of a code, in one file of mode 0600."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import logging
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..errors import BrokerError
from .address import write_secret

LOG = logging.getLogger("fiftyover.hub")
ROLES = ("cook", "watcher")
ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"  # no 0 o 1 l i: it is read off a screen and typed on a phone
GROUPS, GROUP_CHARACTERS = 4, 4  # 31^16, about 79 bits
# scrypt cost: 16 MiB and some tens of milliseconds a try (RFC 7914 names N, r, p; the choice is common practice).
N, R, P, SALT_BYTES = 2**14, 8, 1, 16


def new_code() -> str:
    """Give a fresh random code, four groups of four."""
    return "-".join("".join(secrets.choice(ALPHABET) for _ in range(GROUP_CHARACTERS)) for _ in range(GROUPS))


def hashed(code: str) -> str:
    """Give what is stored of a code: scrypt$N$r$p$salt$digest, the last two in base64."""
    salt = secrets.token_bytes(SALT_BYTES)
    return f"scrypt${N}${R}${P}${_text(salt)}${_text(_digest(code, salt, N, R, P))}"


def fits(code: str, stored: str) -> bool:
    """Say whether a code is the stored one; a damaged entry fits nothing."""
    try:
        kind, n, r, p, salt, digest = stored.split("$")
        right = base64.b64decode(digest, validate=True)
        tried = _digest(code, base64.b64decode(salt, validate=True), int(n), int(r), int(p))
    except (ValueError, TypeError):
        return False
    return kind == "scrypt" and hmac.compare_digest(tried, right)


def add(file: Path, name: str, role: str) -> str:
    """Add one person and give the code, which is stored nowhere; BrokerError if the name or role will not do."""
    if role not in ROLES:
        raise BrokerError(f"{role!r} is no role here; use cook or watcher")
    if not 0 < len(name) <= 40 or not name.isprintable() or name != name.strip():
        raise BrokerError(f"{name!r} cannot be a person's name here; use 1 to 40 printable characters")
    people = load(file) if file.exists() else {}
    if name in people:
        raise BrokerError(f"{name!r} has an account already; its code is not shown again")
    code = new_code()
    people[name] = {"role": role, "code": hashed(code)}
    write_secret(file, json.dumps(people, indent=1) + "\n")
    return code


def remove(file: Path, name: str) -> None:
    """Take one person's account away; BrokerError if there is none, or no cook would be left."""
    people = load(file)
    if name not in people:
        raise BrokerError(f"{name!r} has no account here; load the page again to see who has")
    left = {other: one for other, one in people.items() if other != name}
    if not any(one["role"] == "cook" for one in left.values()):
        raise BrokerError(f"{name!r} is the only cook: add another first")
    write_secret(file, json.dumps(left, indent=1) + "\n")


def load(file: Path) -> dict[str, dict[str, str]]:
    """Read the file; BrokerError in one sentence if it cannot be used."""
    try:
        people = json.loads(file.read_text(encoding="utf-8"))
        sound = all(one["role"] in ROLES and isinstance(one["code"], str) for one in people.values())
    except OSError as fault:
        raise BrokerError(f"the accounts file {file} cannot be read ({fault.strerror}); check its rights") from fault
    except (ValueError, AttributeError, TypeError, KeyError):
        sound = False
    if not sound:
        raise BrokerError(f"the accounts file {file} is damaged; remove it and run `fiftyover setup` for new codes")
    return dict(people)


class SessionFile:
    """Who is signed in, beside the accounts file and as closed to others; see `web.entry.SessionFile`."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def load(self) -> dict[str, dict[str, Any]]:
        """What was kept; nothing when there is no file, or a damaged one."""
        try:
            found = json.loads(self._file.read_text(encoding="utf-8"))
            keys = {"name", "role", "token", "ends_s"}
            return {digest: one for digest, one in found.items() if set(one) == keys and one["role"] in ROLES}
        except (OSError, ValueError, AttributeError, TypeError):
            return {}

    def save(self, sessions: dict[str, dict[str, Any]]) -> None:
        """Keep these; a disk that cannot be written only costs a sign-in later."""
        try:
            write_secret(self._file, json.dumps(sessions) + "\n")
        except OSError as fault:
            LOG.warning("who is signed in cannot be kept (%s): after a restart they sign in again", fault.strerror)


def checker(file: Path) -> Callable[[str, str], str | None]:
    """Give the check for the sign-in page: name and code -> role, or None. The file is read at each try."""
    nobody = hashed(new_code())

    def check(name: str, code: str) -> str | None:
        one = load(file).get(name)
        # A name that does not exist takes as long as a wrong code, so that names cannot be found out by the clock.
        right = fits(_plain(code), one["code"] if one else nobody)
        return one["role"] if one and right else None

    return check


def _plain(code: str) -> str:
    return code.strip().lower()


def _digest(code: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    return hashlib.scrypt(code.encode(), salt=salt, n=n, r=r, p=p, dklen=32)


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode()
