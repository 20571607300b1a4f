"""A kit's settings.json: made of a kind of kit and a person's answers, checked by the kit's own code, written whole."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from fiftyover_kit.settings import KitError, load

from .firmware import package_folder
from .usb import BenchError, Usb

FILE = "settings.json"
JOIN_WITHIN_S = 20.0  # common practice: a network in reach is joined in under ten
_WIFI_CODE = """import network,time
w=network.WLAN(network.STA_IF)
w.active(True)
w.connect({ssid!r},{password!r})
n=0
while n<{tries} and not w.isconnected():
 time.sleep_ms(100)
 n+=1
print(1 if w.isconnected() else 0)
"""
_PINS_CODE = """from fiftyover_kit.board import Board
from fiftyover_kit.settings import KitError,load
try: Board(load({text!r}))
except KitError as fault: print(fault)
"""


def kinds() -> dict[str, Path]:
    """Kinds of kit -> settings file, in the source tree or in a wheel."""
    for folder in (package_folder().parents[1] / "hardware" / "settings", Path(__file__).parent / "kits"):
        if found := {path.stem: path for path in sorted(folder.glob("*.json"))}:
            return found
    raise BenchError("The settings of the kits are not in this installation; install fiftyover again.")


def template(kind: str) -> dict[str, Any]:
    """The settings of a kind of kit. BenchError names the kinds there are."""
    known = kinds()
    if kind not in known:
        raise BenchError(f"No kit is called {kind!r}; there are {', '.join(known)}.")
    return dict(json.loads(known[kind].read_text("utf-8")))


def checked(given: dict[str, Any]) -> str:
    """The text to write. BenchError if the kit would not start with it."""
    text = json.dumps(given)
    try:
        load(text)  # type: ignore[no-untyped-call]
    except KitError as error:
        raise BenchError(str(error)) from error
    return text


def read(usb: Usb) -> dict[str, Any]:
    """What is on the board. BenchError if there is none, or it is not whole."""
    text = usb.read(FILE)
    if text is None:
        raise BenchError("The board has no settings.json yet: give `fiftyover kit setup` first.")
    try:
        return dict(json.loads(text))
    except ValueError as error:
        raise BenchError("The board's settings.json cannot be read: give `fiftyover kit setup` again.") from error


def write(usb: Usb, given: dict[str, Any]) -> None:
    """Put settings on the board, whole or not at all."""
    usb.write(FILE, checked(given).encode())


def try_pins(usb: Usb, import_code: str, given: dict[str, Any]) -> None:
    """Let the board's own firmware, which `import_code` finds, take the pins. BenchError if they do not fit it."""
    said = usb.run(import_code + _PINS_CODE.format(text=checked(given)))
    if said:
        raise BenchError(
            f"The settings do not fit the board that is on USB ({said.rstrip('.')}): choose the kind of kit that was "
            "built on it and give `fiftyover kit setup` again; the settings on the board are as before."
        )


def try_wifi(usb: Usb, ssid: str, password: str) -> None:
    """Join the network. BenchError if the board does not get in: wrong name, wrong password, too far away."""
    code = _WIFI_CODE.format(ssid=ssid, password=password, tries=int(JOIN_WITHIN_S * 10))
    if usb.run(code, limit_s=JOIN_WITHIN_S + 10) != "1":
        raise BenchError(
            f"The board does not get into the Wi-Fi {ssid!r}: see that name and password are right and that it is a "
            "2.4 GHz network in reach, then give `fiftyover kit setup` again; the settings on the board are as before."
        )
