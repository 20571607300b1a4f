"""mosquitto: its configuration as text, and where the program is. Written for 2.0 and later."""

from __future__ import annotations

import getpass
import shutil
from dataclasses import dataclass
from pathlib import Path

from fiftyover_kit.contract import limits

from .accounts import Account, access_lines, password_lines
from .address import write_secret

# One message is at most 8 KB; topic and header are added, so that one just over it is seen and counted by the hub.
PACKET_MAX_BYTES = limits.MESSAGE_MAX_BYTES + 512
QUEUED_MAX = 1000  # a client: at one frame a second a quarter of an hour, then the kit's own ring has to do
QUEUED_MAX_BYTES = 4 * 1024 * 1024
MEMORY_MAX_BYTES = 64 * 1024 * 1024
CONNECTIONS_MAX = 32
# For each account where there are many: two connections, what a kit keeps retained (a hub that signs in is sent it all
# at once), and room for it.
CONNECTIONS_EACH, QUEUED_EACH, QUEUED_EACH_BYTES, MEMORY_EACH_BYTES = 2, 120, 32 * 1024, 256 * 1024


@dataclass(frozen=True)
class Listener:
    """One address it listens on; with the three certificate files, encrypted."""

    host: str
    port: int
    certificate: Path | None = None
    key: Path | None = None


def program() -> str | None:
    """Give the path of mosquitto, or None where it is not installed (Debian keeps it in /usr/sbin)."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def command(folder: Path) -> list[str]:
    """Give the command line for the configuration in `folder`."""
    return [program() or "mosquitto", "-c", str(folder / "mosquitto.conf")]


def write(folder: Path, accounts: list[Account], listeners: list[Listener]) -> None:
    """Write password file, access list and configuration, each readable by its owner only."""
    write_secret(folder / "passwords", password_lines(accounts))
    write_secret(folder / "access", access_lines(accounts))
    write_secret(folder / "mosquitto.conf", configuration(folder, listeners, len(accounts)))


def configuration(folder: Path, listeners: list[Listener], accounts: int = 1) -> str:
    """Give the text of mosquitto.conf: nobody without an account, bounded memory, nothing kept on disk.

    The bounds are a household's, and grow with the number of `accounts` where that is more.
    """
    lines = [
        "# Made by fiftyover; written anew at each start.",
        "per_listener_settings false",
        "allow_anonymous false",
        f"password_file {folder / 'passwords'}",
        f"acl_file {folder / 'access'}",
        "# As root it would change to its own user and could not read these files.",
        f"user {getpass.getuser()}",
        f"pid_file {folder / 'mosquitto.pid'}",
        "# The kit keeps its frames until they are on the hub's disk, so the broker keeps nothing.",
        "persistence false",
        f"max_packet_size {PACKET_MAX_BYTES}",
        f"max_queued_messages {max(QUEUED_MAX, QUEUED_EACH * accounts)}",
        f"max_queued_bytes {max(QUEUED_MAX_BYTES, QUEUED_EACH_BYTES * accounts)}",
        f"memory_limit {max(MEMORY_MAX_BYTES, MEMORY_EACH_BYTES * accounts)}",
        "max_keepalive 600",
        "sys_interval 0",
        "set_tcp_nodelay true",
        "connection_messages false",
        "log_dest stderr",
        "log_type error",
        "log_type warning",
    ]
    for one in listeners:
        lines += _listener(one, max(CONNECTIONS_MAX, CONNECTIONS_EACH * accounts))
    return "\n".join(lines) + "\n"


def _listener(one: Listener, connections: int) -> list[str]:
    # Options of a listener stand below it: given above, mosquitto would open its default one, 1883 to everybody, too.
    lines = ["", f"listener {one.port} {one.host}", f"max_connections {connections}"]
    # A user is one client: nobody can throw the hub off by taking its client id.
    lines.append("use_username_as_clientid true")
    if one.certificate is not None:
        lines += [f"certfile {one.certificate}", f"keyfile {one.key}", "tls_version tlsv1.2"]
    return lines
