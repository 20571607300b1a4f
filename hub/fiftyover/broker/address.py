"""Where a broker is and who signs in: what the client needs and the child hands out."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path

from .. import settings
from ..settings import BrokerSettings


@dataclass(frozen=True)
class Address:
    """One way into a broker. The secret is left out of `repr`, so that no log line can carry it."""

    host: str
    port: int
    user: str = ""
    secret: str = field(default="", repr=False)
    tls: bool = False
    ca: str = ""
    protocol: str = "5"  # "5" says why a session ended; "3.1.1" where the broker speaks only that

    def __str__(self) -> str:
        """Give host and port as a person reads them."""
        return f"{self.host}:{self.port}"

    def as_user(self, user: str, secret: str) -> Address:
        """Give the same broker for another account."""
        return replace(self, user=user, secret=secret)


def address_of(broker: BrokerSettings) -> Address:
    """Read the `[broker]` table of hub.toml; SettingsError if its password file cannot be read."""
    secret = settings.password(broker)
    return Address(broker.host, broker.port, broker.user, secret, broker.tls, str(broker.ca or ""))


def write_secret(file: Path, text: str) -> None:
    """Write a file that only its owner may read: made with mode 0600 before anything stands in it, then moved."""
    fresh = file.with_name(file.name + ".new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        out.write(text)
    fresh.replace(file)
