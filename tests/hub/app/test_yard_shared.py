"""What several smokers share (threads, run numbers, the broker, the record), and that each has its part of it."""

import json
import re
import threading
import time

import pytest

from fiftyover.app import yard as yard_module
from fiftyover.broker import mosquitto
from fiftyover.broker.accounts import fresh
from fiftyover.broker.notes import Link, Message
from fiftyover.broker.setup import LOOPBACK, Listener
from fiftyover.clock import VirtualClock
from fiftyover.errors import HubError
from fiftyover.ingest import Inbox, Refused
from fiftyover.store import Store
from fiftyover_kit.contract import limits, messages, topics
from hub.app.test_yard import KITS, Club

MANY = 200
PROPERTIES_MOST = 31 * 2 + 14 + 2  # of a kit of 31 probes: value and status, heater and sys, state and description


@pytest.fixture
def club(tmp_path):
    made = Club(tmp_path, VirtualClock(at_s=5000.0))
    yield made
    made.store.close()


@pytest.fixture
def cooking(club):
    club.take_up()
    for kit in KITS:
        club.hang(kit)
    club.run(20)
    return club


def numbers(club, kit):
    grants = [messages.decode_grant(text) for topic, text in club.broker.sent if topic == topics.grant_set(kit)]
    return [grant["seq"] for grant in grants]


def test_each_kit_has_a_count_of_permits_of_its_own(cooking):
    run = cooking.store.run_number << limits.GRANT_RUN_SHIFT
    for kit in KITS:
        given = numbers(cooking, kit)
        assert len(given) >= 4
        assert given == [run + 1 + n for n in range(len(given))]


def test_a_used_up_count_gives_every_smoker_the_new_run(cooking):
    before = cooking.store.run_number
    cooking.yard.smokers["kit-a"].parts.heater._numbers._count = (1 << limits.GRANT_RUN_SHIFT) - 1
    cooking.run(11)
    assert cooking.store.run_number == before + 1
    for kit in KITS:
        assert numbers(cooking, kit)[-1] >> limits.GRANT_RUN_SHIFT == before + 1


def test_what_a_kit_says_before_its_batch_is_taken_up_is_not_lost(club):
    club.yard.step(Message("homie/5/kit-a/sys/cap", b"95.00", True, club.clock.monotonic_s()))
    club.run(3)
    hub = club.yard.smokers["kit-a"]
    assert hub.last_frame is None
    club.yard.take_up("kit-a")
    assert hub.watch.cap_degC == 95.0
    assert hub.last_frame.seq == 3
    assert club.yard.smokers["kit-b"].last_frame is None  # its own turn is still to come


def test_no_batch_is_begun_while_one_may_still_be_taken_up(club):
    with pytest.raises(HubError, match="being taken up"):
        club.hang("kit-a")
    club.take_up()
    club.hang("kit-a")


def test_the_end_of_the_program_stops_every_smoker(cooking):
    cooking.yard.stop()
    assert [cooking.broker.stops(kit) for kit in KITS] == [1, 1]


def test_a_lost_link_is_told_at_every_smoker_until_it_is_back(cooking):
    def told():
        return ["link is down" in str(hub.troubles.told(0.0)) for hub in cooking.yard.smokers.values()]

    cooking.yard.step(Link(False, "the broker is away"))
    assert told() == [True, True]
    cooking.yard.step(Link(True, "back"))
    assert told() == [False, False]


def test_forecasts_and_days_clocks_go_round_all_smokers(cooking, monkeypatch):
    looked, watched = set(), []
    monkeypatch.setattr(yard_module, "ROUND_S", 0.02)
    for kit, hub in cooking.yard.smokers.items():
        monkeypatch.setattr(hub.foresight, "look", lambda kit=kit: looked.add(kit))
        monkeypatch.setattr(hub, "watch_days", lambda kit=kit: watched.append(kit))
    thread = threading.Thread(target=cooking.yard._forecast_for_ever)
    thread.start()
    until_s = time.monotonic() + 5.0
    while looked != set(KITS) and time.monotonic() < until_s:
        time.sleep(0.01)
    cooking.yard._ended.set()
    thread.join(5.0)
    assert looked == set(KITS)
    for _ in range(4):
        cooking.yard.write()
    assert sorted(watched) == sorted(KITS * 2)


def test_older_readings_of_two_hundred_kits_are_all_dated(tmp_path):
    clock = VirtualClock(at_s=5000.0)
    store = Store(tmp_path / "record.sqlite", clock, 0)
    kits = [f"kit-{n:03d}" for n in range(MANY)]
    inbox = Inbox(store, clock, set(kits))
    content = {"t": [30.0, 20.0], "s": ["ok"] * 2, "on": 0, "duty": 0.0, "why": "off"}
    for second in (1, 2):
        for n, kit in enumerate(kits):
            frame = {"v": 1, "boot": f"{n:012x}", "seq": 8 + second, "up": 9000 + 1000 * second, **content}
            raw = messages.encode_frame(frame | {"left": 0, "thinned": 0, "dropped": 0})
            inbox.handle(topics.frame_sample(kit), raw, False, clock.monotonic_s())
        clock.advance(1.0)
    for n, kit in enumerate(kits):
        older = [{"seq": 3, "up": 3000, **content}]
        raw = messages.encode_backlog({"v": 1, "boot": f"{n:012x}", "frames": older})
        results = inbox.handle(topics.frame_backlog(kit), raw, False, clock.monotonic_s())
        assert [one.at_s for one in results if not isinstance(one, Refused)] == [4993.0]
    assert len(store.commit()) == 3 * MANY
    assert sorted({kit for kit, _ in inbox.acks_due()}) == kits
    store.close()


def test_the_brokers_bounds_hold_what_every_kit_keeps_retained(tmp_path):
    listeners = [Listener(LOOPBACK, 1883)]
    told = mosquitto.configuration(tmp_path, listeners, len(fresh(*(f"kit-{n}" for n in range(MANY)))))
    bounds = {name: int(value) for name, value in re.findall(r"^(max_\w+|memory_limit) (\d+)$", told, re.MULTILINE)}
    assert bounds["max_queued_messages"] >= MANY * PROPERTIES_MOST  # a hub that signs in is sent it all at once
    assert bounds["max_connections"] >= MANY + 1
    assert bounds["memory_limit"] > bounds["max_queued_bytes"] >= MANY * limits.MESSAGE_MAX_BYTES
    alone = mosquitto.configuration(tmp_path, listeners, 2)
    assert "max_queued_messages 1000\n" in alone
    assert "max_connections 32\n" in alone


def test_the_record_lists_a_kits_own_batches(cooking):
    cooking.store.commit()
    for number, kit in enumerate(KITS):
        assert [line.batch_id for line in cooking.store.batches(kit)] == [f"7f2c000{number}"]
    assert len(cooking.store.batches()) == 2
    sql = "SELECT batch FROM events WHERE kind IN ('planned', 'kit-chosen') AND json_extract(data, '$.kit') = ?"
    plan = cooking.store.reader.rows(f"EXPLAIN QUERY PLAN {sql}", ("kit-a",))
    assert "batches_of_kits" in json.dumps(plan)  # not a walk through all events
