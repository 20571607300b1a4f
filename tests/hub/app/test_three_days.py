"""A whole batch from the bowl to the label on a virtual clock, through real ingest, store and events, against figures
worked by hand; and the same with the hub killed at twenty points."""

import json
import random
from functools import partial
from typing import Any

import pytest

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.batch.plan import Chub, Plan
from fiftyover.clock import VirtualClock
from fiftyover.reports import record as records
from fiftyover_kit.contract import messages
from references.batch.reading import by_hand

STEP_S = 5
PULL_1_S, PULL_2_S = 18_750, 19_050
END_S = 27_600
WRITE_S = 30  # slower than life, so that a kill loses more
MADE_OF = {
    "kinds": ["pork", "beef"], "poultry": False, "fat": 0.24, "meat_g": 4000.0, "batch_g": 4200.0, "nitrite_ppm": 150.0,
    "erythorbate_ppm": 0.0, "hold_s": 72_000.0, "chill": "ice", "bloom_s": 3600.0,
}  # fmt: skip


def core_degC(since_s: float, start_degC: float, pulled_s: float) -> float:
    if since_s <= pulled_s:
        return start_degC + 0.2 * since_s / 60.0
    return max(3.5, start_degC + 0.2 * pulled_s / 60.0 - 0.5 * (since_s - pulled_s) / 60.0)


def plan() -> Plan:
    chubs = tuple(Chub(n, "slim", 45.0, f"place {n}", n if n <= 2 else None) for n in (1, 2, 3))
    return Plan(batch_id="3da70001", name="Three days", chubs=chubs, cap_degC=85.0)


class Story:
    """The kit, the person and the killer around one hub. Points are counted over marks and frames alike."""

    def __init__(self, make_rig: Any, kills: set[int]) -> None:
        clock = VirtualClock(at_s=5000.0, utc_zero_ms=1_764_028_800_000)
        self.make_rig, self.kills = partial(make_rig, clock=clock), kills
        self.rig = self.make_rig()
        self.rig.say("sys/cap", "95.00")
        self.kept: dict[int, dict[str, Any]] = {}  # what the kit was not yet told to drop
        self.points = self.killed = 0
        self.late: list[dict[str, Any]] = []  # sent again only after the next live frame

    def point(self) -> None:
        self.points += 1
        if self.points in self.kills:
            self.kill()

    def mark(self, kind: str, **data: Any) -> None:
        done, told = self.rig.hub.mark(kind, {"batch": "3da70001", **data} if kind in day.MARKS else data, "anna")
        assert done, told
        self.point()

    def frame(self, since_s: float) -> None:
        one, two = core_degC(since_s, 5.0, PULL_1_S), core_degC(since_s, 4.0, PULL_2_S)
        chamber = two + 27.78 if since_s <= PULL_2_S else 25.0
        self.rig.live(t=[round(chamber, 2), round(one, 2), round(two, 2)])
        self.kept[self.rig.seq] = self.rig.content(self.rig.seq, t=[round(chamber, 2), round(one, 2), round(two, 2)])
        self.again(self.late)
        self.late = []
        self.rig.hub.write() if since_s % WRITE_S == 0 else None
        self.drop_acknowledged()
        self.point()

    def drop_acknowledged(self) -> None:
        for ack in self.rig.broker.acks():
            for first, last in ack["got"]:
                for seq in range(first, last + 1):
                    self.kept.pop(seq, None)
        self.rig.broker.sent.clear()

    def kill(self) -> None:
        """The hub dies with what it had not committed; the kit sends that again to the next one, sometimes late."""
        self.killed += 1
        old = self.rig
        old.die()
        self.rig = self.make_rig(began_s=old.began_s)
        self.rig.seq = old.seq
        self.rig.hub.take_up()
        self.rig.say("sys/cap", "95.00")
        waiting = [self.kept[seq] for seq in sorted(self.kept)]
        if self.killed % 2:
            self.again(waiting)
        else:
            self.late = waiting

    def again(self, waiting: list[dict[str, Any]]) -> None:
        for start in range(0, len(waiting), 10):
            raw = messages.encode_backlog({"v": 1, "boot": "9f3c1a02b7e4", "frames": waiting[start : start + 10]})
            self.rig.hub.step(self.rig.message("frame/backlog", raw))

    def tell(self) -> dict[str, Any]:
        """The first two days, the cook, the chill, and the close."""
        clock = self.rig.clock
        self.rig.hub.days.begin(plan(), "kit-3f2a", MADE_OF)
        self.point()
        self.mark(day.MIXED, core_degC=4.0)
        clock.advance(5400.0)
        self.mark(day.STUFFED, core_degC=8.0)
        self.mark(day.COLD)
        self.mark(day.WEIGHED, what="raw", kg=4.2)
        clock.advance(16.0 * 3600)
        assert self.rig.hub.days.look("3da70001")["hold_left_s"] == pytest.approx(4.0 * 3600)
        clock.advance(4.5 * 3600)
        assert any("is over" in alarm for alarm in self.rig.hub.days.alarms())
        self.rig.hub.start_batch(plan())
        self.point()
        acts = {
            PULL_1_S: lambda: self.pull(1),
            19_000: lambda: self.mark(ev.HAND_READING, chub=3, core_degC=68.0, held_s=60.0),
            19_010: lambda: self.pull(3),
            PULL_2_S: lambda: self.pull(2),
            19_100: lambda: self.mark(day.INTO_ICE),
            27_000: lambda: self.mark(day.OUT_OF_ICE),
            27_300: lambda: self.mark(day.BLOOMED),
            27_305: lambda: self.mark(day.COLD),
        }
        for since_s in range(STEP_S, END_S, STEP_S):
            self.rig.clock.advance(STEP_S)
            self.frame(float(since_s))
            if since_s in acts:
                acts[since_s]()
        self.rig.hub.write()
        clock.advance(15.0 * 3600)
        self.mark(day.WEIGHED, what="cooked", kg=3.8)
        self.mark(day.SECOND, chub=1, core_degC=67.5, second_degC=68.2)
        self.mark(day.PACKED)
        self.mark(day.CLOSED)
        found, frames = records.read(self.rig.store.reader, "3da70001")
        return records.record(found, frames)

    def pull(self, number: int) -> None:
        self.mark(ev.PULLED, chub=number, probe="stays")


def test_record_equals_the_one_worked_by_hand(make_rig: Any) -> None:
    record = Story(make_rig, set()).tell()
    expected = by_hand("three_days.csv")

    def is_by_hand(value: float, figure: str) -> None:
        assert value == pytest.approx(expected[figure][0], abs=expected[figure][1]), figure

    one, two, three = record["chubs"]
    for chub in (one, two):
        is_by_hand(chub["warm_up"]["hours"], "warm_up_h")
        is_by_hand(chub["peak_degC"], "peak_degC")
        is_by_hand(chub["highest_row_degF"], "row_1")
        assert chub["warm_up"]["kept"] is True
        assert chub["cooling"]["met_by"] == "1.5h+5h"
        first, second = chub["cooling"]["ways"]["1.5h+5h"]["legs"]
        is_by_hand(first["took_s"], "cool_130_80_s")
        is_by_hand(second["took_s"], "cool_80_40_s")
        assert chub["called_s"] is not None
        assert chub["called_s"] <= chub["pulled_s"]
    is_by_hand(one["pulled_s"], "pulled_s_1")
    is_by_hand(two["pulled_s"], "pulled_s_2")
    assert three["rows_by_hand_degF"] == [151, 152, 153]
    is_by_hand(three["highest_row_degF"], "row_3")
    assert three["asked_by_hand_s"] is not None
    is_by_hand(record["weights"]["yield"], "yield")
    is_by_hand(record["second_reading"]["apart_kelvin"], "second_apart_kelvin")
    assert record["second_reading"]["check_the_probe"] is False
    assert (record["closed"], record["missed_a_published_limit"], record["ending"]) == (True, False, None)
    assert "Meets the 151 °F row in chub 1." in record["said"]
    assert "Meets the 153 °F row in chub 3 by a hand reading that held." in record["said"]
    assert "The cooling of chub 3 was not read." in record["said"]
    assert not any("safe" in sentence or "pass" in sentence for sentence in record["said"])
    assert "160 °F" in record["beside"]


def test_hub_killed_at_twenty_points_leaves_the_same_record(make_rig: Any, tmp_path: Any) -> None:
    story = Story(make_rig, set())
    whole = story.tell()
    for file in tmp_path.iterdir():
        file.unlink()
    kills = set(random.Random(5).sample(range(1, story.points + 1), 20))
    again = Story(make_rig, kills)
    cut = again.tell()
    assert again.killed == 20
    assert [mark["kind"] for mark in whole["marks"] if mark["kind"] == "called"], "the tool called somebody"
    assert json.dumps(cut, sort_keys=True) == json.dumps(whole, sort_keys=True)
    assert cut["readings"] == END_S // STEP_S - 1
