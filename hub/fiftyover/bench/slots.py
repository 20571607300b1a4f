"""Firmware on the board in two slots: the new is written beside the old, verified, asked, and only then started.

`main.py` on the board is a selector that names one slot; putting the new selector in place is one rename. So a cut at
any moment leaves a board that starts the old version or the new one. The old slot is kept.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path

from fiftyover_kit.loop import FIRMWARE

from .firmware import device_files
from .usb import BenchError, Usb

SLOTS = ("slot_a", "slot_b")
FREE_FILE = "usb"  # it being there at a start leaves the board to USB once: a watchdog cannot be stopped
_SELECTOR = '''"""Written by `fiftyover kit flash`: which of two firmware slots starts. Changed by one rename only."""
SLOT = "{slot}"
import os, sys
sys.path.insert(0, SLOT)
from fiftyover_kit import board
board.make_safe()
if "{free}" in os.listdir():
    os.remove("{free}")
    print("No heat: the board is free for USB until it restarts.")
else:
    del sys.modules["fiftyover_kit.board"]
    import main
'''


def selector(slot: str) -> str:
    """The text of the board's main.py that starts a slot."""
    return _SELECTOR.format(slot=slot, free=FREE_FILE)


def slot_of(usb: Usb) -> str | None:
    """The slot that the board starts, None on a board without (empty, or files copied by hand)."""
    found = re.search(r'^SLOT = "(\w+)"', usb.read("main.py") or "", re.MULTILINE)
    return found.group(1) if found and found.group(1) in SLOTS else None


def free(usb: Usb) -> str | None:
    """Stop the kit, without heat and without its watchdog; the slot in use."""
    slot = slot_of(usb)
    if slot:
        usb.write(FREE_FILE, b"1\n")
        usb.reset()
    return slot


def import_path(slot: str | None) -> str:
    """Code that makes the board import a slot's files afresh."""
    lines = ["import sys", "for m in list(sys.modules):", " if m.startswith('fiftyover_kit'): del sys.modules[m]"]
    lines.append(f"sys.path[:]=[p for p in sys.path if p not in {SLOTS!r}]")
    if slot:
        lines.append(f"sys.path.insert(0,{slot!r})")
    return "\n".join(lines) + "\n"


def version(usb: Usb, slot: str | None) -> str:
    """What the firmware in a slot says of itself, all of its modules imported."""
    return usb.run(
        import_path(slot) + "from fiftyover_kit import board,link,loop,settings\nprint(loop.FIRMWARE)", limit_s=30
    )


def flash(usb: Usb, say: Callable[[str], None], files: dict[str, Path] | None = None) -> str:
    """Put this package's firmware on the board; the slot it is in. BenchError: the old one stands."""
    board, micropython = usb.about()
    say(f"{board}, MicroPython {micropython}")
    old = free(usb)
    slot = SLOTS[1] if old == SLOTS[0] else SLOTS[0]
    contents = {f"{slot}/{name}": path.read_bytes() for name, path in (files or device_files()).items()}
    wanted = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    there = usb.hashes(list(wanted))
    for folder in sorted({name.rpartition("/")[0] for name in wanted}):
        usb.folder(folder)
    for name, content in contents.items():
        if there.get(name) != wanted[name]:
            usb.write(name, content)
    if usb.hashes(list(wanted)) != wanted:
        raise BenchError("The firmware on the board is not what was sent: the old one stands; flash again.")
    say(f"{len(wanted)} files verified by hash in {slot}")
    _ask(usb, slot)
    before = usb.read("main.py")
    usb.write("main.py", selector(slot).encode())
    try:
        usb.reset()
        _ask(usb, slot)
    except BenchError as error:
        usb.connect()
        if before is not None:
            usb.write("main.py", before.encode())
        raise BenchError(f"The new firmware did not answer, the old one is back in its place ({error})") from error
    say(f"firmware {FIRMWARE} answers")
    return slot


def _ask(usb: Usb, slot: str) -> None:
    said = version(usb, slot)
    if said != FIRMWARE:
        raise BenchError(f"The firmware in {slot} says {said!r} instead of {FIRMWARE!r}; the old one stands.")
