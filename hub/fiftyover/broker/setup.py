"""`fiftyover setup`: settings, the first account, the broker's accounts and certificates, the service unit.

Running it again makes only what is missing (another kit's account, for one) and overwrites nothing. The one secret that
is ever printed is the first account's code, once; it is stored as a hash.
"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import socket
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

from .. import settings
from ..errors import BrokerError, SettingsError
from . import certificates, mosquitto, people, service
from .accounts import HOUSE, HUB, kept
from .address import write_secret
from .child import ACCOUNTS, EVERYWHERE, LOOPBACK, TLS_PORT
from .mosquitto import Listener

BROKER = "broker"
PEOPLE = "people.json"
TOML = "hub.toml"
_ANNOUNCE = "\n\n[announce]\non = true\n"
HUB_PORT = 18830  # not 1883: Debian's mosquitto package starts a broker of its own there


@dataclass(frozen=True)
class Wish:
    """What is to be set up."""

    folder: Path
    kits: tuple[str, ...] = ()
    cook: str = "cook"
    names: tuple[str, ...] = ()
    open_to_house: bool = True
    sounder: bool = False
    house: bool = False


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--folder", type=Path, default=default_folder(), help="where everything is kept (%(default)s)")
    parser.add_argument("--kit", action="append", default=[], metavar="ID", help="make a broker account for this kit")
    parser.add_argument("--sounder", action="store_true", help="make a broker account for a sounder in the house")
    parser.add_argument(
        "--home-automation",
        action="store_true",
        help="tell home-automation software of the kits, and make it a broker account, to look only",
    )
    parser.add_argument("--cook", default="cook", metavar="NAME", help="name of the first account (%(default)s)")
    parser.add_argument(
        "--host", action="append", default=[], metavar="NAME", help="a name or address by which kits reach this machine"
    )
    parser.add_argument("--loopback", action="store_true", help="open nothing to the house: this machine only")


def run(args: argparse.Namespace) -> int:
    """Set up and say what was done."""
    names = tuple(args.host) or own_names()
    given = (args.cook, names, not args.loopback, args.sounder, args.home_automation)
    wish = Wish(args.folder.absolute(), tuple(args.kit), *given)
    sys.stdout.write("\n".join(set_up(wish)) + "\n")
    return 0


def default_folder() -> Path:
    """Give /var/lib/fiftyover for root, else a folder of the person's own."""
    return Path("/var/lib/fiftyover") if os.geteuid() == 0 else Path.home() / ".local" / "share" / "fiftyover"


def own_names() -> tuple[str, ...]:
    """Give the names by which this machine is found in a house: with and without .local, and loopback."""
    name = socket.gethostname().split(".")[0].lower() or "hub"
    return (f"{name}.local", name, "localhost", LOOPBACK)


def set_up(wish: Wish) -> list[str]:
    """Make what is missing and give the lines to print; BrokerError before anything is written if it cannot be done."""
    folder = wish.folder
    _refuse_foreign(folder / TOML)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return [*_make(wish), *_closing(wish)]
    except PermissionError as fault:
        raise BrokerError(f"{fault.filename} cannot be written; run setup as its owner, or choose --folder") from fault
    except OSError as fault:
        raise BrokerError(f"{fault.filename or folder} cannot be made ({fault.strerror}); choose --folder") from fault


def _make(wish: Wish) -> list[str]:
    folder, broker = wish.folder, wish.folder / BROKER
    broker.mkdir(mode=0o700, exist_ok=True)
    accounts = kept(broker / ACCOUNTS, *wish.kits, sounder=wish.sounder, house=wish.house)
    lines = [f"broker accounts: {', '.join(one.user for one in accounts)}"]
    outside: list[Listener] = []
    if wish.open_to_house:
        made = certificates.make(broker, list(wish.names))
        lines.append(_said("certificates", made))
        outside = [Listener(EVERYWHERE, TLS_PORT, broker / certificates.SERVER, broker / certificates.SERVER_KEY)]
    mosquitto.write(broker, accounts, [Listener(LOOPBACK, HUB_PORT), *outside])
    lines.append(_said("settings", _settings_file(wish)))
    unit = service.unit(folder, sys.executable, getpass.getuser())
    lines.append(_said("service unit", _once(folder / service.NAME, unit)))
    return lines + _first_person(folder / PEOPLE, wish.cook)


def _settings_file(wish: Wish) -> list[str]:
    """Make it, or add to one that is there the table that it lacks; a table that says something already stays."""
    file = wish.folder / TOML
    made = _once(file, toml(wish))
    if made or not wish.house or "announce" in tomllib.loads(text := file.read_text(encoding="utf-8")):
        return made
    write_secret(file, text.rstrip("\n") + _ANNOUNCE)
    return [f"[announce] in {TOML}"]


def _first_person(file: Path, name: str) -> list[str]:
    if file.exists():
        return [f"accounts: kept ({', '.join(people.load(file))})"]
    code = people.add(file, name, "cook")
    return [f"account {name!r}, role cook. Its code, shown this once:", "", f"    {code}", ""]


def _once(file: Path, text: str) -> list[str]:
    if file.exists():
        return []
    write_secret(file, text)
    return [file.name]


def _said(what: str, made: list[str]) -> str:
    return f"{what}: made {', '.join(made)}" if made else f"{what}: kept as it is"


def toml(wish: Wish) -> str:
    """Give hub.toml: the hub starts its own broker and serves its pages to the house, for who has an account."""
    page_names = [one for one in wish.names if one not in ("localhost", LOOPBACK)]
    lines = [
        "# Made by `fiftyover setup`. Paths are taken from the folder of this file.",
        "[broker]",
        "child = true",
        f"port = {HUB_PORT}",
        f'user = "{HUB}"',
        f'password_file = "{BROKER}/{ACCOUNTS}/{HUB}"',
        "",
        "[web]",
        f'host = "{EVERYWHERE if wish.open_to_house else LOOPBACK}"',
        f"names = {json.dumps(page_names)}",
        f'accounts_file = "{PEOPLE}"',
    ]
    if len(wish.kits) == 1:
        lines += ["", "[kit]", f'id = "{wish.kits[0]}"']
    elif wish.kits:
        lines += ["", '[kit]  # one of them in the refrigerator? Out of the list, and: refrigerator = "its name"']
        lines += [f"smokers = {json.dumps(list(dict.fromkeys(wish.kits)))}"]
    return "\n".join(lines) + (_ANNOUNCE if wish.house else "\n")


def _refuse_foreign(file: Path) -> None:
    """Leave a settings file alone that was written by somebody else: its broker would not know our accounts."""
    if not file.exists():
        return
    try:
        known = settings.load(file)
    except SettingsError as fault:
        raise BrokerError(f"setup overwrites nothing, and {fault}") from fault
    if known.web.accounts_file != file.parent / PEOPLE:
        raise BrokerError(f"{file} was not made by setup and is not overwritten; move it away, or choose --folder")


def _closing(wish: Wish) -> list[str]:
    ports = f"{TLS_PORT} (kits, encrypted) and 8080 (pages)" if wish.open_to_house else "none; this machine only"
    lines = [f"everything is in {wish.folder}, readable by its owner only", f"open to the house: port {ports}"]
    if not mosquitto.program():
        lines.append("mosquitto is not installed: install it before kits can connect (package mosquitto)")
    if wish.house:
        lines += _house(wish)
    if getpass.getuser() == "root":
        lines.append("the service would run as root, though without its powers: better is an account of its own")
    return [*lines, f"start by hand: fiftyover serve --settings {wish.folder / TOML}", *_as_service(wish.folder)]


def _house(wish: Wish) -> list[str]:
    folder = wish.folder / BROKER
    where = f"port {TLS_PORT}, its authority {folder / certificates.CA}" if wish.open_to_house else f"port {HUB_PORT}"
    lines = [f"home-automation software signs in as {HOUSE} ({where}; password: {folder / ACCOUNTS / HOUSE})"]
    if not settings.load(wish.folder / TOML).announce.on:
        lines.append(f"it is not told of the kits yet: write `on = true` under [announce] in {wish.folder / TOML}")
    return lines


def _as_service(folder: Path) -> list[str]:
    return ["or as a service, as root:", f"    systemctl enable --now {folder / service.NAME}"]
