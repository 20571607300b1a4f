"""Changing sound input a little, by its structure: what is JSON behind its leading byte stays JSON, mostly."""

import json
import random

ODD = (
    0, 1, -1, 2, 31, 2**30, 2**30 - 1, 2**31, 10**400, 1.5, -0.0, 1e308, 1e-300, 1000.01, -273.16, True, False, None,
    "", "0", "ok", "open", "range", "jump", "on", "a" * 65, "é\u0000", "http://[", "../..", "9" * 5000, [], {}, [[]],
    [[0, 0]], [0, 0], [None], {"a": 1}, "\ud800", "%", "1/0 kg", "1e999 kg", "nan", "-5 F", "::1", "10.0.0.1",
)  # fmt: skip
TEXTS = (
    b"NaN", b"Infinity", b"1e999", b"-0", b"\0", b"\xff", b"\xed\xa0\x80", b"null", b'"', b"{", b"]", b",",
    b"[" * 3000, b"9", b"9", b"-", b".5", b" kg", b" %", b" F", b"/0", b"0",
)  # fmt: skip
WORDS = (b"nan", b"inf", b"-1", b"", b"1e999", b"true", b"\xff\xfe", b"9" * 500, b"-273.16", b"0", b"x" * 9000)
LEADS = bytes(range(15))  # the byte before the JSON or TOML of some targets


def places(node, found):
    """Every (container, key) below a node."""
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in list(pairs):
        found.append((node, key))
        places(value, found)
    return found


def changed(node, rng):
    spots = places(node, [])
    if not spots:
        return rng.choice(ODD)
    box, key = rng.choice(spots)
    what = rng.randrange(9)
    if what == 8 and isinstance(box, list):
        over = rng.choice((-(10**9), 1))  # a 0 or 1 may be a switch, which a next frame has, too
        for _ in range(rng.choice((1, 1, 2, 4, 8, 16))):  # lists end at limits of 8, 10 and 16
            box.append(_risen(box[-1], over))
    elif what == 0:
        del box[key]
    elif what == 1 and isinstance(box, dict):
        box[rng.choice(("x", "hub", "v", "standby", "chubs", "h", *map(str, box)))] = rng.choice(ODD)
    elif what == 2 and isinstance(box, list):
        box.insert(key, json.loads(json.dumps(box[key])))
    elif what == 3 and type(box[key]) in (int, float):
        box[key] = rng.choice(_nearly(box[key])) if box[key] < 1e15 else 0
    elif what == 4:
        other, there = rng.choice(spots)
        if isinstance(other, list) and there >= len(other) or isinstance(other, dict) and there not in other:
            return node
        box[key] = json.loads(json.dumps(other[there]))
    elif what == 5 and isinstance(box[key], str):
        at = rng.randrange(len(box[key]) + 1)
        box[key] = box[key][:at] + rng.choice(("/", " ", "[", "9", "é", "-", "%", "#", "{", '"')) + box[key][at:]
    else:
        box[key] = rng.choice(ODD)
    return node


def _nearly(number):
    """A little more or less of it, or the same as another kind of value."""
    return number - 1, number + 1, number + 0.5, number + 1e-9, [number], number == 1, str(number)


def _risen(node, over):
    """The same with each whole number above ``over`` one more: the next frame, range or probe of a row."""
    if isinstance(node, dict):
        return {key: _risen(value, over) for key, value in node.items()}
    if isinstance(node, list):
        return [_risen(value, over) for value in node]
    return node + 1 if type(node) is int and node > over else node


def repeated(node, rng):
    """JSON text of an object in which one key stands twice, with another value."""
    key = rng.choice(list(node))
    pair = json.dumps({key: rng.choice((node[key], rng.choice(ODD)))}, separators=(",", ":"))
    return pair[:-1] + "," + json.dumps(node, separators=(",", ":"))[1:]


def lines_changed(text, rng):
    """The same for what is no JSON: a line, a word or some bytes."""
    lines = text.split(b"\n")
    at = rng.randrange(len(lines))
    what = rng.randrange(5)
    if what == 0:
        lines.pop(at)
    elif what == 1:
        lines.insert(at, rng.choice(lines))
    elif what == 2 and b"=" in lines[at]:
        name = lines[at].partition(b"=")[0]
        lines[at] = name + b"= " + _toml(rng.choice(ODD))
    elif what == 3:
        place = rng.randrange(len(lines[at]) + 1)
        lines[at] = lines[at][:place] + rng.choice(TEXTS) + lines[at][place:]
    else:
        place = rng.randrange(len(lines[at]) + 1)
        lines[at] = lines[at][:place] + lines[at][place + rng.randrange(1, 9) :]
    return b"\n".join(lines)


def _toml(value):
    if isinstance(value, bool):
        return b"true" if value else b"false"
    return json.dumps(value).encode() if not isinstance(value, dict) else b"{}"


def mutated(data, rng):
    """`data` changed once or a few times."""
    lead, body = (data[:1], data[1:]) if data[:1] and data[0] in LEADS else (b"", data)
    if lead and rng.random() < 0.1:
        return lead + rng.choice(WORDS)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        try:
            node = json.loads(body)
            if isinstance(node, dict) and node and rng.random() < 0.03:
                return lead + repeated(node, rng).encode("utf-8", "surrogatepass")
            if rng.random() < 0.12:
                raise ValueError
            body = json.dumps(changed(node, rng), separators=(",", ":")).encode("utf-8", "surrogatepass")
        except (ValueError, RecursionError, TypeError):
            body = lines_changed(body, rng) if body else bytes([rng.randrange(256)])
    if lead and rng.random() < 0.05:
        lead = bytes([rng.randrange(15)])
    return lead + body


def some(data, seed):
    """The same with a generator from a seed."""
    return mutated(data, random.Random(seed))
