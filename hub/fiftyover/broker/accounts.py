"""Accounts of the broker: the hub's and one for each kit, each with its own random secret and its own rights.

A kit writes below its own id only and hears only what the hub says to it; the hub reads all kits and writes only what
is meant for one (`.../set`). Rights are written out by account, not as patterns over user names, so that no name can be
chosen that widens them. The secrets lie one a file, mode 0600.
"""

from __future__ import annotations

import base64
import hashlib
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from fiftyover_kit.contract import topics

from ..errors import BrokerError
from .address import write_secret

HUB = "hub"
SOUNDER = "sounder"  # reads what the house is to sound (alerts/sounder.py), and nothing else
SOUNDS = "fiftyover/sounder"
# Home-automation software, which looks and never acts, and the hub's second session, which tells it of the kits: with
# the hub's own account it would throw the hub off, a user being one client. No kit has such a name: an id has no "_".
HOUSE = "home_automation"
ANNOUNCER = "hub_announcer"
DISCOVERY = "homeassistant"  # the prefix under which its published discovery messages stand if nobody changed it
# Secrets are 192 random bits, which no dictionary holds: the count only keeps to the file format, and a small one
# keeps a kit's sign-in quick on a small board.
ITERATIONS = 1000
SALT_BYTES = 12


@dataclass(frozen=True)
class Account:
    """One user of the broker; the secret stays out of `repr`."""

    user: str
    secret: str = field(repr=False)


def fresh(*kits: str) -> list[Account]:
    """Make accounts for the hub and the kits, nothing stored: for a demo or a test. BrokerError on a bad kit id."""
    return [Account(HUB, secrets.token_urlsafe(24))] + [Account(_good(kit), secrets.token_urlsafe(24)) for kit in kits]


def kept(folder: Path, *kits: str, sounder: bool = False, house: bool = False) -> list[Account]:
    """Read the accounts whose secrets lie in `folder`; make those of hub, `kits`, `sounder` and `house` that miss."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    others = [*([SOUNDER] if sounder else []), *([HOUSE, ANNOUNCER] if house else [])]
    for user in (HUB, *others, *(_good(kit) for kit in kits)):
        if not (folder / user).exists():
            write_secret(folder / user, secrets.token_urlsafe(24) + "\n")
    users = sorted(one.name for one in folder.iterdir() if "." not in one.name)
    return [Account(user, (folder / user).read_text(encoding="utf-8").strip()) for user in users]


def secret_of(accounts: list[Account], user: str) -> str:
    """Give one user's secret; BrokerError if there is no such user."""
    for one in accounts:
        if one.user == user:
            return one.secret
    raise BrokerError(f"the broker has no account {user!r}; make it with `fiftyover setup --kit {user}`")


def password_lines(accounts: list[Account]) -> str:
    """Give mosquitto's password file: user:$7$iterations$salt$hash, PBKDF2-HMAC-SHA512, 64 bytes.

    Made here and not by `mosquitto_passwd`, whose command line would show the secret to every user of the machine.
    """
    return "".join(f"{one.user}:{_hashed(one.secret)}\n" for one in accounts)


def _hashed(secret: str) -> str:
    salt = secrets.token_bytes(SALT_BYTES)
    digest = hashlib.pbkdf2_hmac("sha512", secret.encode(), salt, ITERATIONS, 64)
    return f"$7${ITERATIONS}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def access_lines(accounts: list[Account]) -> str:
    """Give mosquitto's access list: what is not listed here is not allowed to anybody."""
    return "\n".join(line for one in accounts for line in _rights(one.user)) + "\n"


def _rights(user: str) -> list[str]:
    root = topics.ROOT
    if user == HUB:
        return [f"user {HUB}", "topic read homie/#", f"topic write {root}/+/+/+/set", f"topic write {SOUNDS}/+"]
    if user == ANNOUNCER:  # only kinds that are looked at: it could not announce a switch, or permit heat
        tells = [f"topic write {DISCOVERY}/{kind}/+/+/config" for kind in ("sensor", "binary_sensor")]
        return [f"user {ANNOUNCER}", f"topic read {root}/+/$description", f"topic read {DISCOVERY}/status", *tells]
    if user == HOUSE:  # what the kits say, never the `.../set` topics; and the word that it has started
        looks = [f"topic read {root}/+/$state", f"topic read {root}/+/+/+", f"topic read {DISCOVERY}/#"]
        return [f"user {HOUSE}", *looks, f"topic write {DISCOVERY}/status"]
    if user == SOUNDER:
        return [f"user {SOUNDER}", f"topic read {SOUNDS}/#"]
    mine = f"{root}/{user}"
    # One and two levels below the kit hold all that it says; the three-level `.../set` topics are not among them.
    written = [f"topic write {mine}/+", f"topic write {mine}/+/+"]
    return [f"user {user}", *written, *(f"topic read {topic}" for topic in topics.kit_hears(user))]


def _good(kit: str) -> str:
    if kit in (HUB, SOUNDER) or not topics.is_id(kit):
        raise BrokerError(f"{kit!r} cannot be a kit's name: use 1 to 64 of a-z, 0-9 and -, not {HUB!r} or {SOUNDER!r}")
    return kit
