"""`fiftyover kit find | flash | setup | check | calibrate | watch | update`."""

from __future__ import annotations

import argparse
import getpass
import sys
import time
from pathlib import Path
from typing import Any

from fiftyover_kit.settings import RELAYS

from . import kit_settings, slots
from .bench_test import check
from .calibrating import Given, calibrate, remember
from .readings import Bench, Person, line
from .thermistors import named
from .usb import BenchError, Usb, boards, the_board


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the words and their options."""
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    for word, words in (
        ("find", "which boards are on USB"),
        ("flash", "put the firmware on the board; the old version stays until the new one answers"),
        ("update", "the same as flash: a newer version beside the old one"),
        ("setup", "write the kit's settings: Wi-Fi, hub, kind of kit"),
        ("check", "the bench test"),
        ("calibrate", "the converter by two resistors, the probes by ice and boiling water"),
        ("watch", "live readings; Ctrl-C ends it"),
    ):
        job = jobs.add_parser(word, help=words, description=words[0].upper() + words[1:] + ".")
        job.add_argument("--port", help="the board's port, if there is more than one")
        if word == "setup":
            _setup_arguments(job)
        if word in ("check", "calibrate"):
            job.add_argument("--plugs", help="ohms of X1 and X2 as measured: 3300,30000")
        if word == "check":
            job.add_argument("--no-sockets", action="store_true", help="leave out the resistors in each socket")
        if word == "calibrate":
            how = job.add_mutually_exclusive_group(required=True)
            how.add_argument("--station-hpa", type=float, help="barometer on the spot, not reduced to sea level")
            how.add_argument("--altitude-m", type=float, help="metres above the sea; less exact by the weather")
            job.add_argument(
                "--third-bath", action="store_true", help="a bath of 50 to 65 °C too: a check on the others"
            )
            job.add_argument("--unknown", action="store_true", help="measure my unknown probes: three baths")
            job.add_argument(
                "--history",
                type=Path,
                metavar="FOLDER",
                default=Path.home() / ".local/share/fiftyover/calibration",
                help="where each calibration leaves its line",
            )
        if word == "watch":
            job.add_argument("--lines", type=int, default=0, help="end after so many")


def _setup_arguments(job: argparse.ArgumentParser) -> None:
    job.add_argument("--kind", help="mux, direct, esp32 or fridge")
    job.add_argument("--kit", help="the kit's name: a-z, 0-9, -")
    job.add_argument("--host", help="the hub's address")
    job.add_argument("--broker-port", type=int, default=8883, help="the broker's port (%(default)s)")
    job.add_argument("--user", help="the kit's broker account (its name, unless given)")
    job.add_argument("--password-file", type=Path, help="the account's password, as `fiftyover setup --kit` made it")
    job.add_argument("--ca", type=Path, help="the hub's certificate of authority; left out: no encryption")
    job.add_argument("--ssid", help="the Wi-Fi's name")
    job.add_argument("--relay", help=f"{' or '.join(RELAYS)}; left out: {RELAYS[0]}, which suits both")
    job.add_argument("--thermistor", help="a named kind of probe")
    job.add_argument("--cap-f", type=float, help="the kit's cut-off in °F, at most 225")


def person() -> Person:
    """Who sits before this terminal."""

    def say(words: str) -> None:
        sys.stdout.write(words + "\n")
        sys.stdout.flush()

    return Person(input, say)


def run(args: argparse.Namespace) -> int:
    """Do the job; 1 if a check failed."""
    who = person()
    if args.job == "find":
        found = [args.port] if args.port else boards() or [the_board(None)]
        for port in found:
            with Usb(port) as usb:
                board, version = usb.about()
                who.say(f"{port}: {board}, MicroPython {version}")
        return 0
    with Usb(the_board(args.port)) as usb:
        usb.about()
        return _JOBS[args.job](usb, who, args)


def _flash(usb: Usb, who: Person, args: argparse.Namespace) -> int:  # noqa: ARG001  one form for all jobs
    slots.flash(usb, who.say)
    usb.reset()
    return 0


def _setup(usb: Usb, who: Person, args: argparse.Namespace) -> int:
    slot = slots.free(usb)
    if slot is None:
        raise BenchError("The board has no firmware of ours yet: give `fiftyover kit flash` first.")
    made = wanted(args, who)
    kit_settings.checked(made)
    kit_settings.try_pins(usb, slots.import_path(slot), made)
    kit_settings.try_wifi(usb, made["wifi"]["ssid"], made["wifi"]["password"])
    kit_settings.write(usb, made)
    who.say("Settings written; the kit starts with them at its next restart.")
    return 0


def wanted(args: argparse.Namespace, who: Person) -> dict[str, Any]:
    """Settings of the arguments; what they leave out is asked for."""
    made = kit_settings.template(args.kind or who.ask("Kind of kit (mux, direct, esp32, fridge): ").strip())
    made["kit"] = args.kit or who.ask("The kit's name (a-z, 0-9, -): ").strip()
    if args.password_file:
        try:
            secret = args.password_file.read_text("utf-8").strip()
        except OSError as error:
            raise BenchError(
                f"{args.password_file} cannot be read ({error.strerror}); give --password-file."
            ) from error
    else:
        secret = getpass.getpass("Password of its broker account: ")
    ca = ""
    if args.ca:
        try:
            ca = args.ca.read_text("utf-8")
        except OSError as error:
            raise BenchError(f"{args.ca} cannot be read ({error.strerror}); give --ca.") from error
    made["broker"] = {
        "host": args.host or who.ask("The hub's address: ").strip(),
        "port": args.broker_port,
        "user": args.user or made["kit"],
        "password": secret,
        "tls": bool(ca),
        "ca": ca,
    }
    ssid = args.ssid or who.ask("The Wi-Fi's name: ").strip()
    made["wifi"] = {"ssid": ssid, "password": who.ask("The Wi-Fi's password: ")}
    if args.relay:
        made["relay"] = args.relay  # a word the kit does not know is refused by its own code
    if args.thermistor:
        for channel in made["channels"]:
            channel["thermistor"] = named(args.thermistor).setting
    if args.cap_f is not None:
        made["cap_degC"] = round((args.cap_f - 32) / 1.8, 3)
    return made


def plugs(args: argparse.Namespace, settings: dict[str, Any]) -> tuple[float, float]:
    """Ohms of the two calibration plugs: as told, else of the parts list for this kit."""
    if args.plugs:
        try:
            one, other = (float(text) for text in args.plugs.split(","))
        except ValueError as error:
            raise BenchError(f"--plugs is {args.plugs!r}, it must be two numbers of ohm: 3300,30000.") from error
        return one, other
    return _PLUGS_RAIL if settings["pins"].get("adc16") else _PLUGS


_PLUGS, _PLUGS_RAIL = (7500.0, 68000.0), (3300.0, 30000.0)  # parts.csv: X1, X2


def _check(usb: Usb, who: Person, args: argparse.Namespace) -> int:
    slot, settings = slots.free(usb), kit_settings.read(usb)
    failed = check(usb, Bench(usb, slot, settings), who, plugs(args, settings), not args.no_sockets)
    who.say("Every row is ok." if not failed else f"Not ok: {', '.join(failed)}. It does not go to the smoker.")
    return 1 if failed else 0


def _calibrate(usb: Usb, who: Person, args: argparse.Namespace) -> int:
    slot, settings = slots.free(usb), kit_settings.read(usb)
    given = Given(plugs(args, settings), args.station_hpa, args.altitude_m, args.third_bath, args.unknown)
    bench = Bench(usb, slot, settings, raw=True)
    history = args.history / f"{settings['kit']}.jsonl"
    made, entry = calibrate(bench, who, settings, given, history)
    kit_settings.write(usb, made)
    remember(history, entry)  # after it: a cable pulled here leaves no line of what the kit never got
    who.say("Written. Check in ice: each probe within 0.3 °C of 0.")
    return 0


def _watch(usb: Usb, who: Person, args: argparse.Namespace) -> int:
    slot, settings = slots.free(usb), kit_settings.read(usb)
    bench = Bench(usb, slot, settings)
    who.say("lamp: waiting (no heat while the computer watches)")
    shown = 0
    while not args.lines or shown < args.lines:
        who.say(line(bench))
        shown += 1
        time.sleep(1 if shown != args.lines else 0)
    return 0


_JOBS = {
    "flash": _flash,
    "update": _flash,
    "setup": _setup,
    "check": _check,
    "calibrate": _calibrate,
    "watch": _watch,
}
