"""Targets of the contract: the five messages, and what a kit does with those it hears.

The promises are written down from the contract, by hand; nothing is asked of the code under test.
"""

import json
import math
from array import array

from fiftyover_kit import guard
from fiftyover_kit.contract import messages
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.limits import ticks_add
from firmware.kit_rig import Rig

STATUS = {"ok", "open", "short", "range", "jump", "stuck", "uncalibrated"}
WHY = {
    "on", "off", "refused", "expired", "cap", "probe-fault", "boot-hold", "link-lost", "door", "latched", "standby",
}  # fmt: skip
TOP = (1 << 30) - 1
CONTENT = {"seq", "up", "t", "s", "on", "duty", "why"}
KEYS = {
    "frame": CONTENT | {"v", "boot", "left", "thinned", "dropped"},
    "backlog": {"v", "boot", "frames"},
    "ack": {"v", "hub", "boot", "got"},
    "grant": {"v", "hub", "boot", "seq", "up", "ttl", "duty"},
    "stop": {"v", "hub", "boot", "seq"},
}
NAME = set("abcdefghijklmnopqrstuvwxyz0123456789-")


def promise(kept, what):
    if not kept:
        raise AssertionError(what)


def is_whole(value, low, high):
    return type(value) is int and low <= value <= high


def is_number(value, low, high):
    return type(value) in (int, float) and math.isfinite(value) and low <= value <= high


def is_name(value):
    return type(value) is str and 0 < len(value) <= 64 and set(value) <= NAME


def pairs(found):
    """An object; with a key None where one stands twice."""
    told = dict(found)
    return told if len(told) == len(found) else told | {None: True}


def decoded(kind, data):
    """The message, None where it was refused; the promises that all five kinds share."""
    try:
        told = getattr(messages, f"decode_{kind}")(data)
    except ContractError as error:
        promise(str(error).endswith("."), f"a refusal is a sentence: {error}")
        return None
    promise(len(data) <= 8192, "a message over 8 KB was read")
    given = json.loads(data, object_pairs_hook=pairs)  # what was taken is JSON by the standard library too
    must = KEYS[kind]
    promise(must <= set(told) <= must | {"standby"}, f"keys of the result: {sorted(told)}")
    if kind in ("ack", "grant", "stop"):
        promise(set(given) == set(told), "an unknown key was let pass")
        promise(None not in given, "a key stands twice")
        promise(is_name(told["hub"]), "hub is no name")
    promise(told["v"] == 1 and type(told["v"]) is int, "version")
    promise(len(told["boot"]) == 12 and set(told["boot"]) <= set("0123456789abcdef"), "boot")
    for key in {"seq", "up", "thinned", "dropped"} & set(told):
        promise(is_whole(told[key], 0, TOP), f"{key} = {told[key]!r}")
    again = getattr(messages, f"encode_{kind}")(told)
    promise(len(again) <= 8192, "it grew over 8 KB")
    written = getattr(messages, f"encode_{kind}")(getattr(messages, f"decode_{kind}")(again))
    promise(written == again, "written, read and written again it is another")
    return told


def content(one):
    promise(set(one) >= CONTENT, "a key of the content is missing")
    promise(is_whole(one["on"], 0, 1) and is_number(one["duty"], 0, 1) and one["why"] in WHY, "on, duty, why")
    promise(is_whole(one["seq"], 0, TOP) and is_whole(one["up"], 0, TOP), "seq, up")
    promise(len(one["t"]) == len(one["s"]) > 0, "t and s")
    for degC, word in zip(one["t"], one["s"], strict=True):
        promise(word in STATUS, f"status {word!r}")
        promise(degC is None or is_number(degC, -273.15, 1000), f"t = {degC!r}")
        promise(word not in ("ok", "uncalibrated") or degC is not None, "no number where one must be")
        promise(word not in ("open", "short", "range") or degC is None, "a number where none can be")


def frame(data):
    told = decoded("frame", data)
    if told is not None:
        content(told)
        promise(is_whole(told["left"], 0, 14400), "left")


def backlog(data):
    told = decoded("backlog", data)
    if told is not None:
        promise(1 <= len(told["frames"]) <= 10, "1 to 10 frames")
        for one in told["frames"]:
            content(one)
        numbers = [one["seq"] for one in told["frames"]]
        promise(numbers == sorted(set(numbers)), "oldest first, each once")


class KitAtRest:
    """A kit with a good chamber probe, obeying the hub of the vectors; its guard is put back before each message."""

    def __init__(self):
        self.rig = Rig(start_ms=115_500, hub="c01d").run(8)  # now: 123 500 ms, as in the vectors
        self.guard = self.rig.kit._guard
        self.before = array("i", self.guard)

    def say(self, rest, data, retained=False):
        """Whether heat is allowed now, and 31 s later, after this message alone."""
        self.guard[:] = self.before
        self.rig.say(rest, data, retained)
        now = guard.heat_allowed(self.guard, self.rig.now)
        return now, guard.heat_allowed(self.guard, ticks_add(self.rig.now, 31_000))


KITS = []


def kit():
    """The one of this process."""
    if not KITS:
        KITS.append(KitAtRest())
    return KITS[0]


def ack(data):
    told = decoded("ack", data)
    if told is not None:
        past = -1
        for first, last in told["got"]:
            promise(is_whole(first, 0, TOP) and is_whole(last, 0, TOP) and past < first <= last, "ranges")
            past = last
    promise(kit().say("frame/ack/set", data) == (0, 0), "heat by an acknowledgement")


def grant(data):
    told = decoded("grant", data)
    if told is not None:
        promise(is_whole(told["ttl"], 1, 30) and is_number(told["duty"], 0, 1), "ttl, duty")
        wish = told.get("standby", {"batch": "x", "degC": 0, "s": 0})
        promise(set(wish) == {"batch", "degC", "s"} and is_name(wish["batch"]), "standby")
        promise(is_number(wish["degC"], 0, 107.222) and is_whole(wish["s"], 0, 14400), "standby's figures")
        given = json.loads(data).get("standby", wish)
        promise(set(given) == set(wish), "an unknown key of standby was let pass")
    now, later = kit().say("heater/grant/set", data)
    promise(not now or told is not None, "heat by a permit that was refused")
    promise(not later, "heat for more than 30 s")
    promise(kit().say("heater/grant/set", data, retained=True) == (0, 0), "heat by a retained permit")
    return now


def stop(data):
    decoded("stop", data)
    promise(kit().say("heater/stop/set", data) == (0, 0), "heat by a stop")
