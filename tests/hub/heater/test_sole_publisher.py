"""No other room of the hub may publish heat."""

from pathlib import Path

import fiftyover

HUB = Path(fiftyover.__file__).parent


def test_only_the_heater_names_the_topics_of_grant_and_stop():
    users = {
        one.relative_to(HUB).parts[0]
        for one in HUB.rglob("*.py")
        if any(
            word in one.read_text()
            for word in ("grant_set", "stop_set", "encode_grant", "encode_stop", "heater/grant/set")
        )
    }
    assert users - {"rehearse"} == {"heater"}  # a rehearsal hands the bytes to its own kit, not to a broker


def test_only_the_client_imports_paho():
    users = {
        one.relative_to(HUB).as_posix()
        for one in HUB.rglob("*.py")
        if "paho" in one.read_text() and "import paho" in one.read_text()
    }
    assert users == {"broker/client.py"}
