"""`fiftyover kit check`: what of hardware/bench_test.md needs no mains; each row says ok, or what to look at."""

from __future__ import annotations

import contextlib

from .readings import Bench, Person
from .usb import BenchError, Usb

WITHIN_KELVIN = 0.5
ALIKE_KELVIN = 0.2
_BUTTON_S = 20


def check(usb: Usb, bench: Bench, person: Person, plug_ohm: tuple[float, ...], sockets: bool = True) -> list[str]:
    """Walk through the rows; the names of those that failed."""
    failed = []
    if sockets:
        failed += [f"resistor {ohm:g} ohm" for ohm in plug_ohm if not _resistor(bench, person, ohm)]
    # A refrigerator kit has no second switch and no box; a kit without that switch may have one, so a person says.
    has_limit = bench.settings.pins.get("limit") is not None
    has_box = has_limit or person.agrees("Does this kit switch a relay box?")
    rows = [
        ("lamp", "b._lamp.value(1)", "Is the lamp lit?"),
        ("sounder", "b.sounder(1)", "Does it sound?"),
    ]
    if has_box:
        _relay_unplugged(person)
        rows.insert(0, ("relay", "b.relay(1,b.ticks_ms()+1000)", "Did the relay click, or its own lamp light?"))
    for name, code, question in rows:
        try:  # the bench has no hard timer: whatever ends the question ends the relay
            bench.run(code)
            heard = person.agrees(question)
        finally:
            bench.run("b.relay(0,b.ticks_ms())\nb._lamp.value(0)\nb.sounder(0)")
        failed += [] if heard else [name]
    failed += [] if _button(bench, person) else ["button"]
    if has_limit:
        bench.run("import time\nfor i in range(12):\n b.lamp(0)\n time.sleep_ms(250)", 15)
        failed += [] if person.agrees("Did K2 (the second switch) close, and drop within 3 s?") else ["second switch"]
        bench.run("b.soft_reset_safe()")
    failed += [] if not has_box or _cut_out(person) else ["cut-out"]
    failed += [] if _watchdog(usb, bench, person) else ["watchdog"]
    return failed


def _relay_unplugged(person: Person) -> None:
    if not person.agrees("Is the relay box unplugged from the mains?"):
        raise BenchError("Unplug the relay box from the mains first: this test closes the relay. Then give it again.")


def _cut_out(person: Person) -> bool:
    closed = person.agrees("With the relay box unplugged: is TC1, its button pressed in, closed on the meter?")
    return closed and person.agrees("And open, once its button has popped out or it was warmed?")


def _resistor(bench: Bench, person: Person, ohm: float) -> bool:
    good, seen = True, []
    for channel, entry in enumerate(bench.settings.channels):
        person.ask(f"Plug {ohm:g} ohm into J{channel + 1}, then press Enter. ")
        status, degC = bench.shown(bench.ratios()[channel], channel)
        must = entry.thermistor.degC(ohm)
        if degC is None or abs(degC - must) > WITHIN_KELVIN:
            found = status if degC is None else f"{degC:.2f} °C"
            person.say(
                f"J{channel + 1} reads {found}, it must be {must:.2f}: is it {ohm:g} ohm? Look at R1{channel + 1}."
            )
            good = False
        else:
            seen.append(degC - must)
            person.say(f"J{channel + 1}: {degC:.2f} °C, must be {must:.2f}: ok")
    if seen and max(seen) - min(seen) > ALIKE_KELVIN:
        person.say(f"The sockets differ by {max(seen) - min(seen):.2f} K, over {ALIKE_KELVIN}: look at R11 and on.")
        return False
    return good


def _button(bench: Bench, person: Person) -> bool:
    person.ask(f"Press Enter here, then the kit's button within {_BUTTON_S} s. ")
    said = bench.run(
        f"import time\nn=0\nwhile n<{_BUTTON_S * 20} and not b.button():\n time.sleep_ms(50)\n n+=1\nprint(b.button())",
        _BUTTON_S + 5,
    )
    return said == "1"


def _watchdog(usb: Usb, bench: Bench, person: Person) -> bool:
    """The program hangs with the watchdog running: the board must start again."""
    person.say("The program is hung on purpose; the board must restart within 9 s.")
    bench.run("b.soft_reset_safe()\nhung=1")
    with contextlib.suppress(BenchError):
        usb.run("import machine,time\nw=machine.WDT(timeout=5000)\ntime.sleep(6)\nw.feed()\ntime.sleep(3)", 12)
    usb.close()
    usb.connect(15)
    return usb.run("print('hung' in globals())") == "False"
