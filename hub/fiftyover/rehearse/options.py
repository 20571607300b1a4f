"""The options of `fiftyover rehearse`, from words to a checked scenario; a bad one is one sentence."""

import argparse
import json
import math
from typing import Any

from fiftyover.errors import HubError
from fiftyover.rehearse import faults
from fiftyover.rehearse.scenario import CONTROLLERS, KIT_CAP_ABOVE_DEGF, RELAYS, Scenario
from fiftyover_kit.contract import limits
from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference

CHUBS_MAX = 30  # a kit's settings hold up to 31 channels


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options on a parser."""
    add = parser.add_argument
    add("--seed", type=int, default=1, help="one seed, one result (1)")
    add("--chubs", type=int, default=8, metavar="N", help="how many hang (8)")
    add("--probes", type=int, metavar="N", help="cores probed (all); the other chubs are checked by hand")
    add("--diameter-mm", default="45", metavar="MM[,MM]", help="45, or 45,64 shared out in turn (45)")
    add("--watts", type=float, default=800.0, help="power of the element (800)")
    add("--cap-f", type=float, default=180.0, metavar="F", help="smoker limit of the cook (180)")
    add("--kit-cap-f", type=float, metavar="F", help="the kit's own cut-off (10 above the limit)")
    add("--lift-f", type=float, default=50.0, metavar="F", help="degrees over the lowest core (50)")
    add("--floor-f", type=float, metavar="F", help="chamber never below (none)")
    add("--band-f", default="152-155", metavar="LOW-HIGH", help="cores are pulled in this band (152-155)")
    add("--relay", choices=RELAYS, default="mechanical", help="what switches the element (mechanical)")
    add("--controller", choices=CONTROLLERS, default="follow", help="follow, or a baseline (follow)")
    add("--door-at", action="append", default=[], metavar="S", help="open the door for 60 s; may be repeated")
    add("--response-min", type=float, default=0.0, metavar="M", help="the person pulls M min after a call (0)")
    add("--no-forecast", action="store_true", help="leave the forecast out")
    add("--fault", action="append", default=[], metavar="NAME[:N]@S", help="what goes wrong when; `list` names them")
    add("--option", action="append", default=[], metavar="KEY=VALUE", help="handed to the plant; may be repeated")
    add("--plant", metavar="FILE.py:CLASS", help="another simulated smoker")
    add("--json", action="store_true", help="print one JSON object")


def scenario_from(args: argparse.Namespace) -> Scenario:
    """Check the options and return the scenario they ask for; HubError on the first that cannot be."""
    chubs = _within("--chubs", args.chubs, 1, CHUBS_MAX)
    probes = chubs if args.probes is None else args.probes
    if not 1 <= probes <= chubs:
        raise HubError(f"--probes {probes}: give 1 to {chubs}, for so many chubs hang.")
    if args.seed < 0:
        raise HubError(f"--seed {args.seed}: give a whole number from 0.")
    cap_f = _within("--cap-f", args.cap_f, 100.0, limits.KIT_CAP_DEFAULT_DEGF - limits.CAP_GAP_DEGF_DIFFERENCE)
    band = _band(args.band_f)
    floor_f = args.floor_f
    if floor_f is not None:
        _within("--floor-f", floor_f, 32.0, cap_f)
    return Scenario(
        seed=args.seed,
        chubs=int(chubs),
        probes=int(probes),
        diameters_mm=_diameters(args.diameter_mm),
        element_watts=_within("--watts", args.watts, 50.0, 5000.0),
        cap_degC=degC_from_degF(cap_f),
        kit_cap_degC=_kit_cap(args.kit_cap_f, cap_f),
        lift_kelvin=kelvin_from_degF_difference(_within("--lift-f", args.lift_f, 1.0, 150.0)),
        floor_degC=None if floor_f is None else degC_from_degF(floor_f),
        band_degC=(degC_from_degF(band[0]), degC_from_degF(band[1])),
        relay=args.relay,
        controller=args.controller,
        doors_s=_doors(args.door_at),
        response_s=60.0 * _within("--response-min", args.response_min, 0.0, 60.0),
        forecast=not args.no_forecast,
        faults=tuple(faults.planned(word, int(probes)) for word in args.fault),
        options=_plant_options(args.option),
        plant=args.plant,
    )


def _number(name: str, word: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise HubError(f"{name} {word}: that is not a number.")
    return value


def _within(name: str, value: float, low: float, high: float) -> float:
    if not low <= value <= high:
        raise HubError(f"{name} {value:g}: give a number from {low:g} to {high:g}.")
    return value


def _band(word: str) -> tuple[float, float]:
    low, dash, high = word.partition("-")
    if not dash:
        raise HubError(f"--band-f {word}: write LOW-HIGH, for example 152-155.")
    foot, top = _number("--band-f", low), _number("--band-f", high)
    if not 100.0 <= foot < top <= 212.0:
        raise HubError(f"--band-f {word}: the first must be the lower one, both from 100 to 212.")
    return foot, top


def _diameters(word: str) -> tuple[float, ...]:
    return tuple(_within("--diameter-mm", _number("--diameter-mm", part), 25.0, 150.0) for part in word.split(","))


def _kit_cap(kit_cap_f: float | None, cap_f: float) -> float:
    if kit_cap_f is None:
        return min(degC_from_degF(cap_f + KIT_CAP_ABOVE_DEGF), limits.KIT_CAP_DEFAULT_DEGC)
    least = cap_f + limits.CAP_GAP_DEGF_DIFFERENCE
    most = limits.KIT_CAP_DEFAULT_DEGF
    if not least <= kit_cap_f <= most:
        raise HubError(
            f"--kit-cap-f {kit_cap_f:g}: give {least:g} to {most:g}, so that it lies above the limit of the cook."
        )
    return min(degC_from_degF(kit_cap_f), limits.KIT_CAP_DEFAULT_DEGC)


def _doors(words: list[str]) -> tuple[float, ...]:
    parts = [part for word in words for part in word.split(",")]
    return tuple(sorted(_within("--door-at", _number("--door-at", part), 0.0, 57600.0) for part in parts))


def _plant_options(words: list[str]) -> dict[str, Any]:
    options: dict[str, Any] = {}
    for word in words:
        key, equals, value = word.partition("=")
        if not equals or not key.isidentifier():
            raise HubError(f"--option {word}: write KEY=VALUE.")
        try:
            options[key] = json.loads(value)
        except ValueError:
            options[key] = value
    return options
