"""The five messages between kit and hub: dict <-> compact JSON bytes, the same rules in both directions.

    frame    kit -> hub   one reading of all probes, once a second
    backlog  kit -> hub   up to 10 older frames of one boot, oldest first
    ack      hub -> kit   ranges of frames that are committed to disk
    grant    hub -> kit   heat with a lifetime
    stop     hub -> kit   no heat, now

Each has `encode_<name>(dict) -> bytes` and `decode_<name>(bytes) -> dict`. Both raise ContractError (one sentence: the
message, the key, what is wrong) on all that is not the contract, and nothing else on any input; of a later version
it is FutureVersionError. Keys are written in the contract's order; °C with 2 decimals, duty with 4. Unknown keys are
ignored (left out of the result) in frames and backlogs, refused in acks, grants and stops.

A number and its status word: `ok` and `uncalibrated` always come with a number, `open`, `short` and `range` always with
null, `jump` and `stuck` with either (there is a number, it is just not believed).
"""

import json

from fiftyover_kit.contract import fields, limits
from fiftyover_kit.contract.errors import ContractError

TYPE_CHECKING = False  # the device has no typing module; type checkers take this name for true
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

# What two JSON texts of one content share, whatever their blanks and number forms. See _refuse_repeats.
_PUNCTUATION = (b'"', b",", b":", b"{", b"[")


def _no_constant(text: str) -> None:
    raise ValueError(text)


_loads: "Callable[[str], Any]" = json.loads
if hasattr(json, "JSONDecoder"):  # CPython's would take NaN and Infinity; MicroPython's refuses them by itself
    _loads = json.JSONDecoder(parse_constant=_no_constant).decode


def _frames(kind: str, key: str, value: "Any") -> "list[dict[str, Any]]":
    found = []
    past = -1
    for index, raw in enumerate(fields.filled_list(kind, key, value)):
        where = f"{kind} frame {index}"
        if index == limits.BACKLOG_MAX_FRAMES:
            raise ContractError(f"{kind} refused: it holds more than {index} frames, send the rest in another.")
        frame = _checked(where, _CONTENT, raw)
        if frame["seq"] <= past:
            raise fields.wrong(where, "seq", frame["seq"], f"above {past}, the one before it (oldest first)")
        past = frame["seq"]
        found.append(frame)
    return found


def _frames_text(frames: "list[dict[str, Any]]") -> str:
    return "[" + ",".join([_text(_CONTENT, frame) for frame in frames]) + "]"


def _standby(kind: str, key: str, value: "Any") -> "dict[str, Any]":
    return _checked(f"{kind} {key}", _STANDBY, value, (), True)


def _standby_text(value: "dict[str, Any]") -> str:
    return _text(_STANDBY, value)


# The messages: (key, check, writer) in the order of the wire.
_V = ("v", fields.version, str)
_BOOT = ("boot", fields.boot, fields.quoted_text)
_HUB = ("hub", fields.ident, fields.quoted_text)
_SEQ = ("seq", fields.seq, str)
_UP = ("up", fields.tick_ms, str)
_DUTY = ("duty", fields.duty, fields.duty_text)
_CONTENT = (
    _SEQ,
    _UP,
    ("t", fields.filled_list, fields.degC_list_text),
    ("s", fields.filled_list, fields.words_text),
    ("on", fields.whole(0, 1), str),
    _DUTY,
    ("why", fields.why, fields.quoted_text),
)
_COUNTS = (
    ("left", fields.whole(0, limits.STANDBY_MAX_S), str),  # seconds of the permit, or of a stand-by hold
    ("thinned", fields.seq, str),
    ("dropped", fields.seq, str),
)
_FRAME = (_V, _BOOT) + _CONTENT + _COUNTS
_BACKLOG = (_V, _BOOT, ("frames", _frames, _frames_text))
_ACK = (_V, _HUB, _BOOT, ("got", fields.ranges, fields.ranges_text))
_STOP = (_V, _HUB, _BOOT, _SEQ)
_GRANT = (_V, _HUB, _BOOT, _SEQ, _UP, ("ttl", fields.whole(limits.TTL_MIN_S, limits.TTL_MAX_S), str), _DUTY)
_GRANT_MAY = (("standby", _standby, _standby_text),)
_STANDBY = (
    ("batch", fields.ident, fields.quoted_text),
    ("degC", fields.number(0, limits.KIT_CAP_DEFAULT_DEGC), fields.degC_text),
    ("s", fields.whole(0, limits.STANDBY_MAX_S), str),
)


def _checked(
    kind: str, must: "tuple[Any, ...]", raw: "Any", may: "tuple[Any, ...]" = (), strict: bool = False
) -> "dict[str, Any]":
    """`raw` with every known key checked, unknown ones left out or, if `strict`, refused."""
    if not isinstance(raw, dict):
        raise ContractError(f"{kind} refused: it is {fields.shown(raw)}, it must be an object of keys.")
    found = {}
    for key, check, _ in must:
        if key not in raw:
            raise ContractError(f"{kind} refused: `{key}` is missing.")
        found[key] = check(kind, key, raw[key])
    for key, check, _ in may:
        if key in raw:
            found[key] = check(kind, key, raw[key])
    if strict and len(raw) != len(found):
        for key in raw:
            if key not in found:
                raise ContractError(f"{kind} refused: {fields.shown(key)} is not one of its keys, leave it out.")
    if "t" in found:
        fields.check_probes(kind, found["t"], found["s"])
    return found


def _text(known: "tuple[Any, ...]", message: "dict[str, Any]") -> str:
    return "{" + ",".join(['"%s":%s' % (key, write(message[key])) for key, _, write in known if key in message]) + "}"


def _encode(
    kind: str, must: "tuple[Any, ...]", message: "Any", may: "tuple[Any, ...]" = (), strict: bool = False
) -> bytes:
    data = _text(must + may, _checked(kind, must, message, may, strict)).encode()
    if len(data) > limits.MESSAGE_MAX_BYTES:
        raise ContractError(f"{kind} refused: {len(data)} bytes are over {limits.MESSAGE_MAX_BYTES}, send less in one.")
    return data


def _parsed(kind: str, data: "Any") -> "Any":
    if not isinstance(data, (bytes, bytearray)):
        raise ContractError(f"{kind} refused: it is {fields.shown(type(data))}, it must be bytes.")
    if len(data) > limits.MESSAGE_MAX_BYTES:
        raise ContractError(f"{kind} refused unread: {len(data)} bytes are over {limits.MESSAGE_MAX_BYTES}.")
    try:
        if data.count(b"\0"):  # MicroPython's decoder would take it for the end and not look behind it
            raise ValueError
        return _loads(str(data, "utf-8"))
    # Bad UTF-8 or JSON; deeper than the stack or larger than the heap; a list as a key (older MicroPython).
    except (ValueError, RuntimeError, MemoryError, OverflowError, TypeError):
        raise ContractError(f"{kind} refused: it is not JSON in UTF-8, or it is cut short, or nested too deep.")


def _decode_strict(kind: str, must: "tuple[Any, ...]", data: "Any", may: "tuple[Any, ...]" = ()) -> "dict[str, Any]":
    message = _checked(kind, must, _parsed(kind, data), may, True)
    _refuse_repeats(kind, data, _text(must + may, message).encode())
    return message


def _refuse_repeats(kind: str, data: bytes, canonical: bytes) -> None:
    """A key given twice shows in the punctuation, and so does a comma that MicroPython's decoder does not miss."""
    for mark in _PUNCTUATION:
        if data.count(mark) != canonical.count(mark):
            raise ContractError(f"{kind} refused: a key stands twice or its punctuation is not JSON.")


def encode_frame(message: "dict[str, Any]") -> bytes:
    """Bytes of a frame: v, boot, seq, up [ms], t [°C or None], s, on 0/1, duty 0..1, why, left [s], thinned, dropped.

    `t` and `s` are lists of one length, probe 1 (the chamber) first. Unknown keys are left out. ContractError else.
    """
    return _encode("frame", _FRAME, message)


def decode_frame(data: bytes) -> "dict[str, Any]":
    """The frame in `data` as a dict, keys and units as in `encode_frame`, unknown ones left out. ContractError else."""
    return _checked("frame", _FRAME, _parsed("frame", data))


def encode_backlog(message: "dict[str, Any]") -> bytes:
    """Bytes of a backlog: v, boot, frames = 1..10 of {seq, up [ms], t [°C or None], s, on, duty, why}, `seq` rising.

    Unknown keys are left out. ContractError else, also when the whole is over 8192 bytes.
    """
    return _encode("backlog", _BACKLOG, message)


def decode_backlog(data: bytes) -> "dict[str, Any]":
    """The backlog in `data` as a dict, keys as in `encode_backlog`, unknown ones left out. ContractError else."""
    return _checked("backlog", _BACKLOG, _parsed("backlog", data))


def encode_ack(message: "dict[str, Any]") -> bytes:
    """Bytes of an acknowledgement: v, hub, boot, got = [[first, last], ...] of frame seq, rising, apart; may be empty.

    ContractError else, also on an unknown key and when the whole is over 8192 bytes (send it in two).
    """
    return _encode("ack", _ACK, message, (), True)


def decode_ack(data: bytes) -> "dict[str, Any]":
    """The ack in `data` as a dict, keys as in `encode_ack`. ContractError else, also on unknown or repeated keys."""
    return _decode_strict("ack", _ACK, data)


def encode_grant(message: "dict[str, Any]") -> bytes:
    """Bytes of a heat permit: v, hub, boot, seq, up [ms, echo of the frame decided on], ttl 1..30 [s], duty 0..1.

    It may carry standby = {batch, degC 0..the kit's highest cap, s 0..14400}. ContractError else, unknown keys too.
    """
    return _encode("grant", _GRANT, message, _GRANT_MAY, True)


def decode_grant(data: bytes) -> "dict[str, Any]":
    """The permit in `data` as a dict, keys and units as in `encode_grant`. ContractError else, also on unknown keys.

    Whether it is to be obeyed (age, newer, bound hub, probe) is the guard's and the link's to judge.
    """
    return _decode_strict("grant", _GRANT, data, _GRANT_MAY)


def encode_stop(message: "dict[str, Any]") -> bytes:
    """The bytes of a stop: v, hub, boot, seq. ContractError else, also on an unknown key."""
    return _encode("stop", _STOP, message, (), True)


def decode_stop(data: bytes) -> "dict[str, Any]":
    """The stop in `data` as a dict, keys as in `encode_stop`. ContractError else, also on unknown or repeated keys."""
    return _decode_strict("stop", _STOP, data)
