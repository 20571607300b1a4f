"""iotcore: the broker from PyPI, for a demo on a machine without mosquitto. Loopback only: it has no access list.

Run as a child of our own (`python -m fiftyover.broker.iotcore FILE`) from a configuration file: its keyword form would
listen on every address without any sign-in. It speaks MQTT 3.1.1 here and hangs up on a wrong password without a word.
"""

from __future__ import annotations

import importlib.util
import json
import os
import sys
import threading
from pathlib import Path

from .accounts import ANNOUNCER, HOUSE, Account
from .address import write_secret
from .mosquitto import CONNECTIONS_MAX, PACKET_MAX_BYTES

FILE = "iotcore.toml"


def installed() -> bool:
    """Say whether the package is there."""
    return importlib.util.find_spec("iotcore") is not None


def command(folder: Path) -> list[str]:
    """Give the command line for the configuration in `folder`."""
    return [sys.executable, "-P", "-m", "fiftyover.broker.iotcore", str(folder / FILE)]


def write(folder: Path, accounts: list[Account], port: int) -> None:
    """Write the configuration, secrets included (it knows no hashes), readable by its owner only."""
    write_secret(folder / FILE, configuration(accounts, port))


def configuration(accounts: list[Account], port: int) -> str:
    """Give the text of the configuration: one plain listener on 127.0.0.1, with sign-in.

    Who is to look only does not come in: without an access list it could act.
    """
    accounts = [one for one in accounts if one.user not in (HOUSE, ANNOUNCER)]
    lines = [
        "id = 0",
        "[router]",
        "id = 0",
        f"max_connections = {CONNECTIONS_MAX}",
        "max_outgoing_packet_count = 200",
        "max_segment_size = 1048576",
        "max_segment_count = 10",
        "[v4.1]",
        'name = "loopback"',
        f'listen = "127.0.0.1:{port}"',
        "next_connection_delay_ms = 1",
        "[v4.1.connections]",
        "connection_timeout_ms = 5000",
        f"max_payload_size = {PACKET_MAX_BYTES}",
        "max_inflight_count = 100",
        "dynamic_filters = true",
        "[v4.1.connections.auth]",
        *(f"{json.dumps(one.user)} = {json.dumps(one.secret)}" for one in accounts),
    ]
    return "\n".join(lines) + "\n"


def _end_with_parent() -> None:
    """Wait for the end of standard input, which the parent holds open: no broker outlives its hub."""
    sys.stdin.buffer.read()
    os._exit(0)


def main() -> None:
    """Serve until the parent is gone."""
    from iotcore import Broker  # type: ignore[import-untyped,unused-ignore]  # only where the extra is installed

    threading.Thread(target=_end_with_parent, daemon=True).start()
    Broker(config_path=sys.argv[1]).run_forever()


if __name__ == "__main__":
    main()
