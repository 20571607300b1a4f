"""One value of a message: its check, and its JSON text. `messages` puts them together.

A check is called with the message's name, the key and the value, and gives the value back or raises ContractError. A
writer takes a checked value and gives its JSON text: by hand, because MicroPython's dict keeps no order and because
both ends must write one number with the same digits.
"""

from fiftyover_kit.contract import limits
from fiftyover_kit.contract.errors import ContractError, FutureVersionError
from fiftyover_kit.contract.topics import is_id

TYPE_CHECKING = False  # the device has no typing module; type checkers take this name for true
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

_HEX = "0123456789abcdef"


def shown(value: object) -> str:
    """`value` as an error text shows it: its repr, at most 40 characters; never raises, whatever came in."""
    try:
        text = repr(value)
    except (ValueError, RuntimeError, MemoryError):  # an int of > 4300 digits, a bottomless list, a full heap
        text = "something unprintable"
    return text if len(text) <= 40 else text[:37] + "..."


def wrong(kind: str, key: str, value: object, wanted: str) -> ContractError:
    """The error whose text says what is wrong with `value` and what is `wanted`; for the caller to raise."""
    return ContractError(f"{kind} refused: `{key}` is {shown(value)}, it must be {wanted}.")


def version(kind: str, key: str, value: "Any") -> int:
    """Check: the contract's version, limits.V. FutureVersionError if larger, ContractError if anything else."""
    if type(value) is int and value > limits.V:
        raise FutureVersionError(
            f"{kind} refused: its contract version is {shown(value)}, this end speaks {limits.V}; update the older end."
        )
    if type(value) is not int or value != limits.V:
        raise wrong(kind, key, value, str(limits.V))
    return limits.V


def whole(low: int, high: int) -> "Callable[[str, str, Any], int]":
    """Make a check: an int (never a bool, never 3.0) from `low` to `high`, both in, in the key's own unit."""

    def check(kind: str, key: str, value: "Any") -> int:
        if type(value) is not int or not low <= value <= high:
            raise wrong(kind, key, value, f"a whole number {low} to {high}")
        return value

    return check


def number(low: float, high: float) -> "Callable[[str, str, Any], float]":
    """Make a check: an int or float (never a bool, NaN or infinity) from `low` to `high`, in the key's own unit."""

    def check(kind: str, key: str, value: "Any") -> float:
        if not isinstance(value, (int, float)) or isinstance(value, bool) or not low <= value <= high:
            raise wrong(kind, key, value, f"a number {low} to {high}")  # NaN compares false
        return value

    return check


def boot(kind: str, key: str, value: "Any") -> str:
    """Check: the text that names one start of the kit, 12 hex digits in lower case."""
    if not isinstance(value, str) or len(value) != limits.BOOT_DIGITS or value.strip(_HEX):
        raise wrong(kind, key, value, "12 hex digits, lower case")
    return value


def ident(kind: str, key: str, value: "Any") -> str:
    """Check: an id of a hub or a batch, the same shape as a kit's (`topics.is_id`)."""
    if not is_id(value):
        raise wrong(kind, key, value, "an id, 1 to 64 of a-z, 0-9 and -")
    return str(value)


def why(kind: str, key: str, value: "Any") -> str:
    """Check: a word of limits.WHY."""
    if not isinstance(value, str) or value not in limits.WHY:
        raise wrong(kind, key, value, "one of " + ", ".join(limits.WHY))
    return value


def filled_list(kind: str, key: str, value: "Any") -> "list[Any]":
    """Check: a list or tuple of at least one entry; the entries are not looked at."""
    if not isinstance(value, (list, tuple)) or not value:
        raise wrong(kind, key, value, "a list that is not empty")
    return list(value)


def ranges(kind: str, key: str, value: "Any") -> "list[list[int]]":
    """Check: [[first, last], ...] of frame numbers, first <= last, rising, none shared; may be empty."""
    if not isinstance(value, (list, tuple)):
        raise wrong(kind, key, value, "a list of [first, last]")
    found = []
    past = -1
    for pair in value:
        if not isinstance(pair, (list, tuple)) or len(pair) != 2:
            raise wrong(kind, key, pair, "a list of [first, last]")
        first, last = seq(kind, key, pair[0]), seq(kind, key, pair[1])
        if not past < first <= last:
            raise wrong(kind, key, pair, "[first, last] in rising order, free of overlap")
        found.append([first, last])
        past = last
    return found


def check_probes(kind: str, degC: "list[Any]", status: "list[Any]") -> None:
    """Check `t` [°C or None] against `s` (limits.STATUS): one length, and a number just where the status has one.

    `ok` and `uncalibrated` need a number, `open`, `short`, `range` need None, `jump` and `stuck` take either.
    """
    if len(degC) != len(status):
        raise ContractError(f"{kind} refused: `t` has {len(degC)} entries, `s` has {len(status)}; one each a probe.")
    heats, low, high = limits.STATUS_HEATS, limits.TEMPERATURE_MIN_DEGC, limits.TEMPERATURE_MAX_DEGC
    for index, word in enumerate(status):
        value = degC[index]
        if type(value) is float and low <= value <= high and word in heats:
            continue  # nearly all: the hub reads hundreds of thousands a minute after an outage
        if not isinstance(word, str) or word not in limits.STATUS:
            raise wrong(kind, f"s[{index}]", word, "one of " + ", ".join(limits.STATUS))
        if value is None:
            if word in limits.STATUS_HEATS:
                raise wrong(kind, f"t[{index}]", value, "a number, as its status is " + word)
        elif word in limits.STATUS_NUMBERLESS:
            raise wrong(kind, f"t[{index}]", value, "null, as its status is " + word)
        else:
            temperature(kind, "t", value)


seq = whole(0, limits.SEQ_MAX)
tick_ms = whole(0, limits.TICK_MASK)
temperature = number(limits.TEMPERATURE_MIN_DEGC, limits.TEMPERATURE_MAX_DEGC)
duty = number(0, 1)


def quoted_text(value: str) -> str:
    """JSON of an id, hex or word: nothing that needs an escape passes the checks."""
    return '"' + value + '"'


def degC_text(value: "float | None") -> str:
    """JSON of a temperature [°C]: 2 decimals, at least one shown; null for None. 23.406 -> 23.41, 7 -> 7.0."""
    if value is None:
        return "null"
    text = "%.2f" % value
    if text == "-0.00":
        return "0.0"
    return text[:-1] if text[-1] == "0" else text


def duty_text(value: float) -> str:
    """JSON of a duty 0..1: 4 decimals, at least one shown. 0.35 -> 0.35, 1 -> 1.0."""
    text = ("%.4f" % abs(value)).rstrip("0")  # abs: no "-0.0"
    return text + "0" if text[-1] == "." else text


def degC_list_text(values: "list[float | None]") -> str:
    """JSON of temperatures [°C or None], as `degC_text`."""
    return "[" + ",".join([degC_text(value) for value in values]) + "]"


def words_text(values: "list[str]") -> str:
    """JSON of a list of words, as `quoted_text`; at least one."""
    return '["' + '","'.join(values) + '"]'


def ranges_text(values: "list[list[int]]") -> str:
    """JSON of [[first, last], ...]."""
    return "[" + ",".join(["[%d,%d]" % (first, last) for first, last in values]) + "]"
