"""The ring of frames not yet committed by the hub: what it keeps, re-sends, thins and drops."""

import os
import random
import subprocess

import pytest

from fiftyover.bench.firmware import package_folder
from fiftyover_kit.backlog import NO_READING, Backlog, frame_bytes
from fiftyover_kit.contract import limits
from fiftyover_kit.contract.messages import decode_backlog, encode_backlog

EIGHT = 8


def push(ring, seq, t_x100=None, statuses=None, on=0, duty_1000=0, why=1):
    count = ring.channels
    ring.push(seq, seq * 1000, t_x100 or [2000] * count, statuses or [0] * count, on, duty_1000, why)


def filled(count, channels=3, capacity_bytes=60000):
    ring = Backlog(channels, capacity_bytes)
    for seq in range(count):
        push(ring, seq)
    return ring


def run_seconds(ring, first_seq, seconds, start_ms=0):
    """One frame and one thinning a second, nothing acknowledged."""
    for second in range(seconds):
        push(ring, first_seq + second)
        ring.thin((start_ms + second * 1000) & limits.TICK_MASK)


def test_frame_of_eight_probes_takes_at_most_forty_bytes():
    assert frame_bytes(EIGHT) <= 40


def test_frame_comes_back_to_the_digit():
    ring = Backlog(4)
    ring.push(7, (1 << 30) - 1, [2341, NO_READING, -1999, 15000], [0, 1, 6, 4], 1, 350, 10)
    assert ring.newest() == {
        "seq": 7,
        "up": 1073741823,
        "t": [23.41, None, -19.99, 150.0],
        "s": ["ok", "open", "uncalibrated", "jump"],
        "on": 1,
        "duty": 0.35,
        "why": "standby",
    }


@pytest.mark.parametrize("channels", [2, 3, 8, 9, 13, 31])
def test_every_status_of_every_channel_survives_next_to_the_others(channels):
    ring = Backlog(channels)
    wanted = [[(seq + index) % 7 for index in range(channels)] for seq in range(20)]
    for seq, statuses in enumerate(wanted):
        push(ring, seq, [100 * index + seq for index in range(channels)], statuses)
    frames = ring.oldest(19, 0)
    assert [frame["s"] for frame in frames] == [[limits.STATUS[code] for code in row] for row in wanted[:19]]
    assert [frame["t"][-1] for frame in frames] == [(100 * (channels - 1) + seq) / 100 for seq in range(19)]


def test_frames_fit_the_contracts_backlog_message():
    ring = filled(11)
    message = encode_backlog({"v": 1, "boot": "9f3c1a02b7e4", "frames": ring.oldest(10, 0)})
    assert [frame["seq"] for frame in decode_backlog(message)["frames"]] == list(range(10))


def test_selective_acknowledgement_drops_exactly_those():
    ring = filled(10)
    assert ring.ack([[0, 2], [5, 5], [8, 9]]) == 6
    assert ring.pending() == [[3, 4], [6, 7]]
    assert len(ring) == 4


def test_acknowledgement_of_frames_already_gone_or_never_made_changes_nothing():
    ring = filled(5)
    ring.ack([[1, 1]])
    assert ring.ack([[1, 1], [90, 99]]) == 0
    assert ring.pending() == [[0, 0], [2, 4]]


def test_acknowledgement_of_everything_leaves_an_empty_ring_that_fills_again():
    ring = filled(5)
    ring.ack([[0, 4]])
    assert ring.pending() == []
    assert ring.newest() is None
    push(ring, 5)
    assert ring.pending() == [[5, 5]]


def test_oldest_come_first_and_not_again_before_ten_seconds():
    ring = filled(6)
    assert [frame["seq"] for frame in ring.oldest(3, 0)] == [0, 1, 2]
    assert [frame["seq"] for frame in ring.oldest(10, 1000)] == [3, 4]
    assert ring.oldest(10, 10000) == []
    assert [frame["seq"] for frame in ring.oldest(10, 12500)] == [0, 1, 2, 3, 4]


def test_newest_frame_is_left_to_the_live_message_until_it_was_sent_once():
    ring = filled(2)
    ring.sent(0, 0)
    assert ring.oldest(10, 0) == []
    ring.sent(1, 0)
    assert [frame["seq"] for frame in ring.oldest(10, 13000)] == [0, 1]


def test_resending_works_across_the_wrap_of_the_ticks():
    ring = filled(3)
    start = (1 << 30) - 4000
    ring.oldest(10, start)
    assert ring.oldest(10, (start + 9000) & limits.TICK_MASK) == []
    assert [frame["seq"] for frame in ring.oldest(10, (start + 13000) & limits.TICK_MASK)] == [0, 1]


@pytest.mark.parametrize("start_ms", [0, (1 << 30) - 20000])
def test_frames_older_than_thirty_seconds_are_thinned_to_one_in_five(start_ms):
    ring = Backlog(3)
    run_seconds(ring, 0, 100, start_ms)
    kept = [seq for first, last in ring.pending() for seq in range(first, last + 1)]
    assert [seq for seq in kept if seq < 65] == list(range(0, 65, 5))
    assert kept[-30:] == list(range(70, 100))
    assert ring.thinned == 100 - len(kept)
    assert ring.dropped == 0


def test_frame_is_never_thinned_before_thirty_seconds():
    ring = filled(3)
    for now_ms in range(0, 30001, 250):
        ring.thin(now_ms)
    assert ring.pending() == [[0, 2]]
    for now_ms in range(30250, 32001, 250):
        ring.thin(now_ms)
    assert ring.pending() == [[0, 0]]


def test_two_hours_without_the_hub_lose_only_what_is_thinned():
    ring = Backlog(EIGHT)
    run_seconds(ring, 0, 7200)
    kept = [seq for first, last in ring.pending() for seq in range(first, last + 1)]
    assert ring.dropped == 0
    assert kept[0] == 0
    assert max(b - a for a, b in zip(kept, kept[1:], strict=False)) == 5
    assert ring.thinned + len(kept) == 7200


def test_full_ring_drops_the_oldest_and_counts_it():
    ring = filled(25, channels=2, capacity_bytes=10 * frame_bytes(2))
    assert ring.pending() == [[15, 24]]
    assert ring.dropped == 15


def test_thinning_goes_on_after_the_frame_it_had_judged_last_is_acknowledged():
    ring = Backlog(3)
    run_seconds(ring, 0, 60)
    ring.ack([[0, 29]])
    run_seconds(ring, 60, 40, 60000)
    kept = [seq for first, last in ring.pending() for seq in range(first, last + 1)]
    assert [seq for seq in kept if 30 <= seq < 65] == [30, 35, 40, 45, 50, 55, 60]


def model_step(model, draw, ring, clock):
    """One random operation on the ring and on a plain dict seq -> sent second; returns the new clock."""
    action = draw.random()
    if action < 0.5:
        seq = model["next"]
        model["next"] += 1
        push(ring, seq)
        if len(model["held"]) == ring.slots:
            del model["held"][min(model["held"])]
            model["dropped"] += 1
        model["held"][seq] = None
    elif action < 0.75:
        first = draw.randrange(max(1, model["next"]))
        ranges = [[first, first + draw.randrange(6)], [first + 9, first + 9 + draw.randrange(9)]]
        ring.ack(ranges)
        for low, high in ranges:
            for seq in range(low, high + 1):
                model["held"].pop(seq, None)
    else:
        clock += draw.choice([1024, 20480])
        sent = [frame["seq"] for frame in ring.oldest(4, clock)]
        newest = max(model["held"], default=None)
        due = [
            seq
            for seq, at in sorted(model["held"].items())
            if (at is None and seq != newest) or (at is not None and clock - at >= 11264)
        ][:4]
        assert sent == due
        model["held"].update(dict.fromkeys(sent, clock))
    return clock


@pytest.mark.parametrize("seed", range(8))
def test_ring_agrees_with_a_plain_dictionary_over_random_use(seed):
    draw = random.Random(seed)
    ring = Backlog(2, 40 * frame_bytes(2))
    model = {"next": 0, "held": {}, "dropped": 0}
    clock = 0
    for _ in range(1500):
        clock = model_step(model, draw, ring, clock)
        held = [seq for first, last in ring.pending() for seq in range(first, last + 1)]
        assert held == sorted(model["held"])
    assert ring.dropped == model["dropped"] > 0


TWO_HOURS = """
import gc
from fiftyover_kit import link
from fiftyover_kit.backlog import Backlog
from fiftyover_kit.contract.messages import encode_backlog
ring = Backlog(8)
for second in range(7200):
    ring.push(second, second * 1000, [2000 + n for n in range(8)], [0] * 8, 0, 350, 1)
    ring.thin(second * 1000)
frames = ring.oldest(10, 0)
message = encode_backlog({"v": 1, "boot": "9f3c1a02b7e4", "frames": frames})
gc.collect()
print(len(ring), ring.thinned, ring.dropped, frames[0]["seq"], len(message) > 1000, gc.mem_free() > 60000)
"""


def test_two_hours_fit_a_190_kb_heap_beside_the_link(micropython):
    done = subprocess.run(
        [str(micropython), "-X", "heapsize=190k", "-c", TWO_HOURS],
        env={**os.environ, "MICROPYPATH": f"{package_folder().parent}:.frozen"},
        capture_output=True,
        text=True,
        timeout=60,
    )
    held, thinned, dropped, oldest, *rest = done.stdout.split()
    assert int(held) + int(thinned) == 7200, done.stderr
    assert (dropped, oldest, rest) == ("0", "0", ["True", "True"])
