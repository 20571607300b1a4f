"""Acknowledgements: exactly the durable frames, in messages that fit."""

from hypothesis import given
from hypothesis import strategies as st

from fiftyover.ingest.acks import Acks, ranges
from fiftyover.store import Key
from fiftyover_kit.contract import messages

BOOT = "9f3c1a02b7e4"


def test_ranges_are_those_of_the_contracts_example():
    assert ranges([*range(58), 60]) == [[0, 57], [60, 60]]
    assert ranges([]) == []
    assert ranges([5, 3, 4, 4, 9]) == [[3, 5], [9, 9]]


@given(st.sets(st.integers(0, 400)))
def test_ranges_cover_the_numbers_and_no_others_and_never_touch(numbers):
    got = ranges(numbers)
    assert [n for first, last in got for n in range(first, last + 1)] == sorted(numbers)
    assert all(later[0] - earlier[1] > 1 for earlier, later in zip(got, got[1:], strict=False))


def test_taken_once_and_apart_by_kit_and_start():
    acks = Acks("c01d5a11ab1e")
    acks.committed([Key("kit-1", BOOT, 1), Key("kit-1", BOOT, 0), Key("kit-2", BOOT, 7), Key("kit-1", "0" * 12, 3)])
    assert acks.take() == [
        ("kit-1", {"v": 1, "hub": "c01d5a11ab1e", "boot": BOOT, "got": [[0, 1]]}),
        ("kit-2", {"v": 1, "hub": "c01d5a11ab1e", "boot": BOOT, "got": [[7, 7]]}),
        ("kit-1", {"v": 1, "hub": "c01d5a11ab1e", "boot": "0" * 12, "got": [[3, 3]]}),
    ]
    assert acks.take() == []


def test_torn_ranges_of_the_largest_numbers_fit_the_messages_and_none_is_left_out():
    acks = Acks("h" * 64)
    numbers = range(2**30 - 4001, 2**30, 2)
    acks.committed(Key("kit-1", BOOT, number) for number in numbers)
    taken = acks.take()
    sent = [messages.decode_ack(messages.encode_ack(ack))["got"] for _, ack in taken]  # refuses what is over 8 KB
    assert [first for part in sent for first, _ in part] == list(numbers)
    assert len(sent) > 1
