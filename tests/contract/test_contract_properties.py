"""Properties of the messages: round trips, and nothing but ContractError on whatever comes."""

import json
import math
import time
import timeit

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover_kit.contract import limits, messages
from fiftyover_kit.contract.errors import ContractError, FutureVersionError

KINDS = ("frame", "backlog", "ack", "grant", "stop")
PRINTED_KEYS = {  # the contract's examples
    "frame": ["v", "boot", "seq", "up", "t", "s", "on", "duty", "why", "left", "thinned", "dropped"],
    "backlog": ["v", "boot", "frames"],
    "ack": ["v", "hub", "boot", "got"],
    "grant": ["v", "hub", "boot", "seq", "up", "ttl", "duty", "standby"],
    "stop": ["v", "hub", "boot", "seq"],
}
COUNT = st.integers(0, limits.SEQ_MAX)
IDENT = st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=64)
BOOT = st.text("0123456789abcdef", min_size=12, max_size=12)
DUTY = st.floats(0, 1) | st.integers(0, 1)
NUMBER = st.floats(-273.15, 1000)
PROBE = st.one_of(
    st.tuples(NUMBER, st.sampled_from(("ok", "uncalibrated", "jump", "stuck"))),
    st.tuples(st.none(), st.sampled_from(("open", "short", "range", "jump", "stuck"))),
)
PROBES = st.lists(PROBE, min_size=1, max_size=16)


@st.composite
def contents(draw):
    probes = draw(PROBES)
    return {
        "seq": draw(COUNT),
        "up": draw(COUNT),
        "t": [value for value, _ in probes],
        "s": [word for _, word in probes],
        "on": draw(st.integers(0, 1)),
        "duty": draw(DUTY),
        "why": draw(st.sampled_from(limits.WHY)),
    }


@st.composite
def frames(draw):
    left = {"left": draw(st.integers(0, 14400)), "thinned": draw(COUNT), "dropped": draw(COUNT)}
    return {"v": 1, "boot": draw(BOOT), **draw(contents()), **left}


@st.composite
def backlogs(draw):
    # At most 8 probes: ten frames of 16 with the longest words do not fit into 8 KB, which is refused as it must be.
    older = draw(st.lists(contents(), min_size=1, max_size=10, unique_by=lambda frame: frame["seq"]))
    for frame in older:
        frame["t"], frame["s"] = frame["t"][:8], frame["s"][:8]
    return {"v": 1, "boot": draw(BOOT), "frames": sorted(older, key=lambda frame: frame["seq"])}


@st.composite
def acks(draw):
    ends = sorted(draw(st.sets(COUNT, max_size=40)))
    got = [list(pair) for pair in zip(ends[::2], ends[1::2], strict=False)]
    return {"v": 1, "hub": draw(IDENT), "boot": draw(BOOT), "got": got}


@st.composite
def grants(draw):
    grant = {"v": 1, "hub": draw(IDENT), "boot": draw(BOOT), "seq": draw(COUNT), "up": draw(COUNT)}
    grant.update(ttl=draw(st.integers(1, 30)), duty=draw(DUTY))
    if draw(st.booleans()):
        grant["standby"] = {
            "batch": draw(IDENT),
            "degC": draw(st.floats(0, 107.22)),
            "s": draw(st.integers(0, 14400)),
        }
    return grant


STOPS = st.fixed_dictionaries({"v": st.just(1), "hub": IDENT, "boot": BOOT, "seq": COUNT})
SOUND = st.one_of(
    st.tuples(st.just("frame"), frames()),
    st.tuples(st.just("backlog"), backlogs()),
    st.tuples(st.just("ack"), acks()),
    st.tuples(st.just("grant"), grants()),
    st.tuples(st.just("stop"), STOPS),
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=8), inner, max_size=5),
    max_leaves=20,
)
ANYTHING = JSON | st.binary(max_size=20) | st.complex_numbers() | st.just(10**5000) | st.just(object())


def encode(kind, message):
    return getattr(messages, "encode_" + kind)(message)


def decode(kind, data):
    return getattr(messages, "decode_" + kind)(data)


def rounded(value, key=""):
    """What the wire keeps of a message: °C to 2 decimals, duty to 4 (CPython's own rounding)."""
    if isinstance(value, dict):
        return {name: rounded(item, name) for name, item in value.items()}
    if isinstance(value, list):
        return [rounded(item, key) for item in value]
    if isinstance(value, int | float) and key in ("t", "degC"):
        return round(value, 2)
    return round(value, 4) if key == "duty" else value


@given(SOUND)
def test_what_is_sent_arrives_but_for_the_rounding(sound) -> None:
    kind, message = sound
    assert decode(kind, encode(kind, message)) == rounded(message)


@given(SOUND)
def test_a_message_written_again_has_the_same_bytes(sound) -> None:
    kind, message = sound
    data = encode(kind, message)
    assert encode(kind, decode(kind, data)) == data


@given(SOUND)
def test_the_bytes_are_compact_strict_json_in_the_printed_order(sound) -> None:
    kind, message = sound
    data = encode(kind, message)
    assert len(data) <= 8192
    strict = json.loads(data, parse_constant=lambda text: pytest.fail(text))
    assert list(strict) == [key for key in PRINTED_KEYS[kind] if key in message]
    assert data == json.dumps(strict, separators=(",", ":")).encode()


@given(st.sampled_from(KINDS), st.binary(max_size=300))
def test_arbitrary_bytes_raise_nothing_but_contract_error(kind, data) -> None:
    with pytest.raises(ContractError):
        decode(kind, data)


@given(st.sampled_from(KINDS), JSON)
def test_arbitrary_json_raises_nothing_but_contract_error(kind, value) -> None:
    with pytest.raises(ContractError):
        decode(kind, json.dumps(value).encode())


@given(SOUND, st.data())
def test_one_key_with_anything_in_it_is_refused_or_keeps_to_the_contract(sound, data) -> None:
    kind, message = sound
    key = data.draw(st.sampled_from(sorted(message)))
    changed = {**message, key: data.draw(ANYTHING)}
    try:
        came = decode(kind, encode(kind, changed))
    except ContractError:
        return
    assert came == rounded(changed)


@given(SOUND, st.data())
def test_bytes_damaged_in_one_place_raise_nothing_but_contract_error(sound, data) -> None:
    kind, message = sound
    sent = bytearray(encode(kind, message))
    sent[data.draw(st.integers(0, len(sent) - 1))] = data.draw(st.integers(0, 255))
    try:
        came = decode(kind, bytes(sent))
    except ContractError:
        return
    encode(kind, came)  # what is let in keeps to the contract


@given(SOUND, st.data())
def test_a_message_cut_short_anywhere_is_refused(sound, data) -> None:
    kind, message = sound
    sent = encode(kind, message)
    with pytest.raises(ContractError):
        decode(kind, sent[: data.draw(st.integers(0, len(sent) - 1))])


@given(st.sampled_from(KINDS), ANYTHING)
def test_no_object_makes_an_encoder_raise_anything_but_contract_error(kind, value) -> None:
    with pytest.raises(ContractError):
        encode(kind, value)


@given(SOUND, st.integers(2, 10**30))
def test_a_later_version_is_named_as_such(sound, version) -> None:
    kind, message = sound
    data = encode(kind, message).replace(b'{"v":1', b'{"v":%d,"new":"key"' % version, 1)
    with pytest.raises(FutureVersionError, match="update the older end"):
        decode(kind, data)


@given(st.sampled_from(KINDS))
@settings(max_examples=5)
def test_a_list_without_bottom_is_refused(kind) -> None:
    endless: list[object] = []
    endless.append(endless)
    deep: list[object] = []
    for _ in range(20000):
        deep = [deep]
    for value in (endless, deep, {"v": endless}, {"v": deep}):
        with pytest.raises(ContractError):
            encode(kind, value)


def test_decoding_does_not_change_what_was_given() -> None:
    message = {"v": 1, "boot": "0" * 12, "seq": 1, "up": 2, "t": (23.456, None), "s": ("ok", "open"), "on": 0}
    message.update(duty=0.123456, why="on", left=0, thinned=0, dropped=0, extra=[1])
    before = repr(message)
    encode("frame", message)
    assert repr(message) == before


def test_a_reading_just_below_zero_is_not_written_as_minus_nothing() -> None:
    message = {"v": 1, "boot": "0" * 12, "seq": 1, "up": 2, "t": [-0.004, -0.005, -0.006], "s": ["ok"] * 3, "on": 0}
    message.update(duty=-0.0, why="on", left=0, thinned=0, dropped=0)
    assert b'"t":[0.0,-0.01,-0.01],' in encode("frame", message)
    assert b'"duty":0.0,' in encode("frame", message)


def test_errors_are_one_sentence_of_bearable_length() -> None:
    with pytest.raises(ContractError) as caught:
        decode("grant", b'{"v":1,"hub":"' + b"x" * 8000 + b'"}')
    assert len(str(caught.value)) < 200
    assert "`hub`" in str(caught.value)
    assert str(caught.value).startswith("grant refused")


def least_cpu_s(call) -> float:
    """CPU time of 200 calls, the least of nine tries: other work on the machine counts little."""
    return min(timeit.repeat(call, number=200, repeat=9, timer=time.process_time))


def test_a_frame_of_nine_probes_costs_little_more_than_its_json() -> None:
    """A rehearsal codes some 15 000 frames: a few times the C library's json, whatever the machine."""
    message = {"v": 1, "boot": "9f3c1a02b7e4", "seq": 1204, "up": 123456, "t": [60.25] * 9, "s": ["ok"] * 9}
    message.update(on=0, duty=0.35, why="on", left=11, thinned=0, dropped=0)
    assert messages.encode_frame(message) == json.dumps(message, separators=(",", ":")).encode()
    ours = least_cpu_s(lambda: messages.decode_frame(messages.encode_frame(message)))
    assert ours < 8 * least_cpu_s(lambda: json.loads(json.dumps(message)))


def test_limits_agree_with_each_other() -> None:
    assert limits.KIT_CAP_DEFAULT_DEGC <= (limits.KIT_CAP_DEFAULT_DEGF - 32) / 1.8
    assert math.isclose(limits.KIT_CAP_DEFAULT_DEGC, 107.2222, abs_tol=1e-3)
    assert limits.CAP_GAP_KELVIN >= limits.CAP_GAP_DEGF_DIFFERENCE / 1.8
    assert limits.TTL_MIN_S <= limits.TTL_S <= limits.TTL_MAX_S
    assert 2 * limits.GRANT_PERIOD_S < limits.TTL_S
    assert set(limits.STATUS_HEATS) | set(limits.STATUS_NUMBERLESS) | {"jump", "stuck"} == set(limits.STATUS)
    assert not set(limits.STATUS_HEATS) & set(limits.STATUS_NUMBERLESS)
