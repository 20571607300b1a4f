"""settings.json of the kit: read, checked, every unknown or missing key refused by name.

The file is written over USB only; no message can change it. Its keys are in firmware/README.md. Only these may be left
out: `cap_degC` (225 °F), `hub` (the first one heard), `chamber_2` (none), `converter` (right as it is).
"""

import json

from .contract import limits, thermistor
from .contract.errors import ContractError
from .contract.topics import is_id

CHANNELS_MIN, CHANNELS_MAX = 2, 31
CAP_MIN_DEGC = 40.0  # below this nothing is smoked warm; a cap in the wrong unit or place shows here
SERIES_MIN_OHM, SERIES_MAX_OHM = 100.0, 1e7
RELAYS = ("mechanical", "solid-state")
_KEYS = ("kit", "hub", "cap_degC", "relay", "wifi", "broker", "pins", "channels", "chamber_2", "converter")
_MAY_MISS = ("hub", "cap_degC", "chamber_2", "converter")
_BROKER = ("host", "port", "user", "password", "tls", "ca")
_CONVERTER = ("gain_ppm", "offset_ppm")
CONVERTER_MAX_PPM = 20000  # more is no tolerance of a converter but a wrong resistor
_CHANNEL = ("input", "series_ohm", "thermistor", "calibrated")
_THERMISTORS = {
    "points": lambda given: thermistor.from_points([tuple(pair) for pair in given]),
    "coefficients": lambda given: thermistor.from_coefficients(*given),
    "maker": lambda given: thermistor.from_maker(*given),
    "beta": lambda given: thermistor.from_beta(*given),
}


class KitError(Exception):
    """The kit cannot start as it is set; `str()` is one sentence for a person: what, where, what to do."""


class Channel:
    """One probe's input: `input` (number on the board), `series_ohm`, `thermistor` (a curve), `calibrated`."""

    def __init__(self, given, where):
        only(given, _CHANNEL, (), where)
        self.input = whole(given["input"], 0, 63, where + ".input")
        self.series_ohm = _number(given["series_ohm"], SERIES_MIN_OHM, SERIES_MAX_OHM, where + ".series_ohm")
        self.thermistor = _curve(given["thermistor"], where + ".thermistor")
        self.calibrated = _flag(given["calibrated"], where + ".calibrated")


class Settings:
    """What the file says, checked. Attributes are its keys; `wifi` a dict or None, `channels` a list of Channel."""

    def __init__(self, given):
        """`given`: the file's object. KitError names the key that is wrong."""
        only(given, _KEYS, _MAY_MISS, "settings.json")
        self.kit = given["kit"]
        if not is_id(self.kit):
            raise KitError(f"settings.json: kit is {self.kit!r}, it must be 1 to 64 of a-z, 0-9 and -.")
        self.hub = given.get("hub", "")
        if self.hub != "" and not is_id(self.hub):
            raise KitError(
                f"settings.json: hub is {self.hub!r}, it must be the hub's id, or empty for the first heard."
            )
        self.cap_degC = _cap(given.get("cap_degC", limits.KIT_CAP_DEFAULT_DEGC))
        self.relay = given["relay"]
        if self.relay not in RELAYS:
            raise KitError(f"settings.json: relay is {self.relay!r}, it must be one of {', '.join(RELAYS)}.")
        self.wifi = _wifi(given["wifi"])
        self.broker = _broker(given["broker"])
        self.pins = given["pins"]
        if not isinstance(self.pins, dict):
            raise KitError("settings.json: pins must be an object of pin names and numbers.")
        self.channels = _channels(given["channels"])
        self.chamber_2 = given.get("chamber_2")
        if self.chamber_2 is not None:
            whole(self.chamber_2, 1, len(self.channels) - 1, "settings.json: chamber_2")
        # True share of the supply = read share x (1 + gain) + offset, both in millionths; from two known resistors.
        self.converter = _converter(given.get("converter", {"gain_ppm": 0, "offset_ppm": 0}))


def load(text):
    """Settings from the text of settings.json. KitError: one sentence, the key that is wrong and what it must be."""
    try:
        given = json.loads(text)
    except (ValueError, RuntimeError):
        raise KitError("settings.json is not JSON, or it is cut short; write it again with `fiftyover kit setup`.")
    return Settings(given)


def only(given, keys, may_miss, where):
    """KitError unless `given` is a dict with all of `keys` but `may_miss`, and no others."""
    if not isinstance(given, dict):
        raise KitError(f"{where} must be an object of keys: {', '.join(keys)}.")
    for key in given:
        if key not in keys:
            raise KitError(f"{where}: {key!r} is not a key, did you mean {nearest(str(key), keys)!r}?")
    for key in keys:
        if key not in given and key not in may_miss:
            raise KitError(f"{where}: {key!r} is missing, add it.")


def nearest(word, known):
    """The one of `known` with the fewest letters to change, add or drop to get from `word`."""
    best = known[0]
    least = 1000
    for candidate in known:
        steps = _edits(word.lower(), candidate.lower())
        if steps < least:
            best, least = candidate, steps
    return best


def _edits(a, b):
    row = list(range(len(b) + 1))
    for i, letter in enumerate(a):
        corner, row[0] = row[0], i + 1
        for j, other in enumerate(b):
            cost = corner if letter == other else corner + 1
            corner = row[j + 1]
            row[j + 1] = min(cost, row[j] + 1, row[j + 1] + 1)
    return row[-1]


def whole(value, low, high, where):
    """`value`, or KitError unless it is an int from `low` to `high`."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise KitError(f"{where} is {value!r}, it must be a whole number {low} to {high}.")
    return value


def _number(value, low, high, where):
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise KitError(f"{where} is {value!r}, it must be a number {low} to {high}.")
    return value


def _text(value, where):
    if not isinstance(value, str):
        raise KitError(f"{where} is {value!r}, it must be text in quotes.")
    return value


def _flag(value, where):
    if not isinstance(value, bool):
        raise KitError(f"{where} is {value!r}, it must be true or false.")
    return value


def _cap(value):
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not value <= limits.KIT_CAP_DEFAULT_DEGC:
        raise KitError(
            f"settings.json: cap_degC is {value!r}, it must not be over {limits.KIT_CAP_DEFAULT_DEGC} (225 °F); "
            "nothing raises it."
        )
    return _number(value, CAP_MIN_DEGC, limits.KIT_CAP_DEFAULT_DEGC, "settings.json: cap_degC")


def _wifi(given):
    if given is None:
        return None
    only(given, ("ssid", "password"), (), "settings.json: wifi")
    return {key: _text(given[key], "settings.json: wifi." + key) for key in given}


def _converter(given):
    where = "settings.json: converter"
    only(given, _CONVERTER, (), where)
    return {key: whole(given[key], -CONVERTER_MAX_PPM, CONVERTER_MAX_PPM, f"{where}.{key}") for key in _CONVERTER}


def _broker(given):
    where = "settings.json: broker"
    only(given, _BROKER, (), where)
    for key in ("host", "user", "password", "ca"):
        _text(given[key], f"{where}.{key}")
    whole(given["port"], 1, 65535, where + ".port")
    _flag(given["tls"], where + ".tls")
    return given


def _curve(given, where):
    kinds = tuple(_THERMISTORS)
    if not isinstance(given, dict) or len(given) != 1:
        raise KitError(f"{where} must be an object with one of: {', '.join(kinds)}.")
    kind = list(given)[0]
    if kind not in _THERMISTORS:
        raise KitError(f"{where}: {kind!r} is no kind, did you mean {nearest(str(kind), kinds)!r}?")
    try:
        return _THERMISTORS[kind](given[kind])
    except ContractError as error:
        raise KitError(f"{where}: {error}")
    except TypeError:
        raise KitError(f"{where}.{kind} is {given[kind]!r}, it is a list of numbers as in firmware/README.md.")


def _channels(given):
    where = "settings.json: channels"
    if not isinstance(given, list) or not CHANNELS_MIN <= len(given) <= CHANNELS_MAX:
        raise KitError(f"{where} must list {CHANNELS_MIN} to {CHANNELS_MAX} probes, the chamber's first.")
    channels = [Channel(entry, f"{where}[{index}]") for index, entry in enumerate(given)]
    inputs = [channel.input for channel in channels]
    for one in inputs:
        if inputs.count(one) > 1:
            raise KitError(f"{where}: input {one} is used twice, give each probe its own.")
    return channels
