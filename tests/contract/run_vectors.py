"""Runs the contract's vectors and thermistor tables; device dialect, so that CPython and MicroPython run the same file.

    micropython run_vectors.py FIRMWARE_FOLDER VECTORS_JSON TABLES_FOLDER

prints one line a failure, then "<cases> cases, <failures> failures"; ends with 1 on any failure. Every case is a pair
(name, function); the function returns None or a sentence that says what is wrong.
"""

import json
import sys

TOKENS = {"@nan": float("nan"), "@inf": float("inf"), "@-inf": -float("inf"), "@bytes": b"9f3c1a02b7e4"}
SH_WITHIN_KELVIN = 0.10  # thermistor notes, section 2: Steinhart-Hart through 0/50/100 against rows 0..120 °C
MAKER_WITHIN_KELVIN = 0.05  # the same: makers' published inverse against rows 0..120 °C


def real(value):
    """`value` with the words for NaN and its like replaced."""
    if isinstance(value, str):
        return TOKENS.get(value, value)
    if isinstance(value, list):
        return [real(item) for item in value]
    if isinstance(value, dict):
        return {key: real(item) for key, item in value.items()}
    return value


def refusal(call, *arguments):
    """The name and text of the ContractError that a call ends in; ("", what came) if it ended otherwise."""
    from fiftyover_kit.contract.errors import ContractError

    try:
        came = call(*arguments)
    except ContractError as error:
        return type(error).__name__, str(error)
    except Exception as error:
        return "", "it raised " + repr(error)
    return "", "it gave " + repr(came)


def expect_refusal(kind, says, call, *arguments):
    name, text = refusal(call, *arguments)
    if name != kind or says not in text:
        return f"wanted {kind} with {says!r} in it, but {name} {text[:200]}"
    return None


def expect_equal(got, wanted):
    return None if got == wanted else f"got {repr(got)[:300]}, wanted {repr(wanted)[:300]}"


def bytes_of(case, texts):
    if "hex" in case:
        return bytes([int(case["hex"][i : i + 2], 16) for i in range(0, len(case["hex"]), 2)])
    if "repeat" in case:
        return case["repeat"][0].encode() * case["repeat"][1]
    text = case["text"] if "text" in case else texts[case["like"]]
    if "change" in case:
        old, new = case["change"]
        if text.count(old) != 1:
            raise ValueError("vector {}: {!r} is not there once".format(case["name"], old))
        text = text.replace(old, new)
    data = text.encode()
    if "pad" in case:
        data = data + b" " * (case["pad"] - len(data))
    return data


def message_cases(vectors):
    from fiftyover_kit.contract import messages

    def encode(kind):
        return getattr(messages, "encode_" + kind)

    def decode(kind):
        return getattr(messages, "decode_" + kind)

    texts = {case["name"]: case["text"] for case in vectors["good"]}
    objects = {case["name"]: case["object"] for case in vectors["good"]}
    for case in vectors["good"]:
        kind, text = case["message"], case["text"].encode()
        yield (
            "encode: " + case["name"],
            lambda kind=kind, text=text, case=case: expect_equal(encode(kind)(case["object"]), text),
        )
        yield (
            "decode: " + case["name"],
            lambda kind=kind, text=text, case=case: expect_equal(decode(kind)(text), case["object"]),
        )
        yield (
            "decode a bytearray: " + case["name"],
            lambda kind=kind, text=text, case=case: expect_equal(decode(kind)(bytearray(text)), case["object"]),
        )
        yield (
            "decode a str: " + case["name"],
            lambda kind=kind, case=case: expect_refusal("ContractError", "bytes", decode(kind), case["text"]),
        )
    for case in vectors["alike"]:
        yield (
            "alike: " + case["name"],
            lambda case=case: expect_equal(decode(case["message"])(bytes_of(case, texts)), objects[case["like"]]),
        )
    for case in vectors["bad_bytes"]:
        yield (
            "bad bytes: " + case["name"],
            lambda case=case: expect_refusal(
                case.get("error", "ContractError"), case["says"], decode(case["message"]), bytes_of(case, texts)
            ),
        )
    for case in vectors["bad_objects"]:
        changed = dict(objects[case["like"]])
        changed.update(real(case.get("set", {})))
        for key in case.get("drop", []):
            del changed[key]
        kind = "FutureVersionError" if case["says"] == "version" else "ContractError"
        yield (
            "bad object: " + case["name"],
            lambda case=case, kind=kind, changed=changed: expect_refusal(
                kind, case["says"], encode(case["message"]), changed
            ),
        )


def tick_cases(vectors):
    from fiftyover_kit.contract.limits import ticks_add, ticks_diff

    for a, b, wanted in vectors["ticks"]["add"]:
        yield f"ticks_add({a}, {b})", lambda a=a, b=b, wanted=wanted: expect_equal(ticks_add(a, b), wanted)
    for a, b, wanted in vectors["ticks"]["diff"]:
        yield f"ticks_diff({a}, {b})", lambda a=a, b=b, wanted=wanted: expect_equal(ticks_diff(a, b), wanted)


def near(got, wanted, within):
    return None if abs(got - wanted) <= within else f"got {got!r}, wanted {wanted!r} within {within!r}"


def refused_curve_cases(vectors):
    from fiftyover_kit.contract import thermistor

    for name, maker, arguments, says in vectors["thermistor"]["refused"]:
        yield (
            "no curve: " + name,
            lambda maker=maker, arguments=arguments, says=says: expect_refusal(
                "ContractError", says, getattr(thermistor, maker), *real(arguments)
            ),
        )
    curve = thermistor.from_points([(0, 32650.0), (50, 3603.0), (100, 680.0)])
    for value in vectors["thermistor"]["not_ohms"]:
        yield (
            f"not ohms: {value!r}",
            lambda value=value: expect_refusal("ContractError", "resistance", curve.degC, real(value)),
        )
    for value in vectors["thermistor"]["not_degC"]:
        yield (
            f"not °C: {value!r}",
            lambda value=value: expect_refusal("ContractError", "°C", curve.ohms, real(value)),
        )


def divider_cases(vectors):
    from fiftyover_kit.contract import thermistor

    known = vectors["thermistor"]
    curve = thermistor.from_points([(0, 32650.0), (50, 3603.0), (100, 680.0)])
    for ohms, series, ratio in known["divider"]:
        yield (
            f"ratio of {ohms!r} over {series!r} ohm",
            lambda o=ohms, s=series, r=ratio: near(thermistor.ratio_from_ohms(o, s), r, 1e-12),
        )
        yield (
            f"ohms of {ratio!r} over {series!r} ohm",
            lambda o=ohms, s=series, r=ratio: near(thermistor.ohms_from_ratio(r, s), o, 1e-6),
        )
    for ratio, reads, counts in known["counts"]:
        yield (
            f"counts of {ratio}, {reads} reads",
            lambda r=ratio, n=reads, c=counts: expect_equal(thermistor.counts_from_ratio(r, n), c),
        )
        yield (
            f"ratio of {counts} counts, {reads} reads",
            lambda r=ratio, n=reads, c=counts: near(thermistor.ratio_from_counts(c, n), r, 0.5001 / 65535 / n),
        )
    for word, ratio in known["ratio_status"]:
        yield (
            f"status of ratio {ratio!r}",
            lambda w=word, r=ratio: expect_equal(thermistor.status(curve, real(r), 22000), w),
        )


def rows_of(path):
    """The rows of a reference table as lists of words; comments and the head line left out."""
    with open(path) as table:
        lines = [line.strip() for line in table]
    return [line.split(",") for line in lines if line and not line.startswith("#")][1:]


def table_of(folder, name, leave_out=""):
    """[(degC, ohms)] of one published table, without a row known to be a slip."""
    rows = [(float(row[0]), float(row[1])) for row in rows_of(folder + "/" + name)]
    return [row for row in rows if not leave_out or row[0] != float(leave_out)]


def through_0_50_100(table):
    return [row for row in table if row[0] in (0, 50, 100)]


def worst_kelvin(curve, table, low_degC=0, high_degC=120):
    """Largest difference between the curve and the published rows from `low_degC` to `high_degC`."""
    return max([abs(curve.degC(ohms) - degC) for degC, ohms in table if low_degC <= degC <= high_degC])


def table_cases(folder):
    from fiftyover_kit.contract import thermistor

    for name, grade, _, leave_out in rows_of(folder + "/index.csv"):
        table = table_of(folder, name, leave_out)
        yield (
            f"Steinhart-Hart, grade {grade}: {name}",
            lambda table=table: near(
                worst_kelvin(thermistor.from_points(through_0_50_100(table)), table), 0, SH_WITHIN_KELVIN
            ),
        )
    for row in rows_of(folder + "/makers.csv"):
        table = table_of(folder, row[0])
        numbers = [float(word) for word in row[1:]]
        yield (
            "maker's A1..D1: " + row[0],
            lambda table=table, numbers=numbers: near(
                worst_kelvin(thermistor.from_maker(*numbers), table), 0, MAKER_WITHIN_KELVIN
            ),
        )


def cases(vectors, folder):
    """Every case as (name, function that returns None or what is wrong)."""
    for part in (message_cases, tick_cases, refused_curve_cases, divider_cases):
        yield from part(vectors)
    yield from table_cases(folder)


def main(arguments):
    sys.path.insert(0, arguments[0])
    with open(arguments[1]) as file:
        vectors = json.load(file)
    count = 0
    failures = 0
    for name, run in cases(vectors, arguments[2]):
        count += 1
        try:
            wrong = run()
        except Exception as error:
            wrong = "raised " + repr(error)
        if wrong:
            failures += 1
            print(name + ": " + wrong)
    print(f"{count} cases, {failures} failures")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main(sys.argv[1:])
