"""A full disk, broken messages, a lost broker: the hub goes on, and says what is wrong."""

import time

import pytest

from fiftyover.app import hub as hub_module
from fiftyover.broker.notes import Link
from fiftyover_kit.contract import messages

KIT = "kit-3f2a"


def test_frames_are_acknowledged_only_after_the_commit(cooking):
    cooking.run(3)
    assert cooking.broker.acks() == []
    cooking.hub.write()
    [ack] = cooking.broker.acks()
    assert ack["got"] == [[0, 2]]
    assert [frame.seq for frame in cooking.store.frames(KIT, 0, 1 << 60)] == [0, 1, 2]


def test_full_disk_does_not_end_control_and_is_told(cooking):
    cooking.run(1)
    cooking.hub.write()
    used = cooking.store._connection.execute("PRAGMA page_count").fetchone()[0]
    cooking.store._connection.execute(f"PRAGMA max_page_count = {used}")
    for _ in range(60):  # until the pages that are there are full
        cooking.run(10)
        cooking.hub.write()
        if cooking.store.problem:
            break
    acknowledged, granted = len(cooking.broker.acks()), len(cooking.broker.grants())
    cooking.run(20)
    cooking.hub.write()
    assert len(cooking.broker.grants()) >= granted + 3
    assert len(cooking.broker.acks()) == acknowledged, "what is not on the disk is not acknowledged"
    assert cooking.told().count("the disk is full") == 1
    cooking.store._connection.execute("PRAGMA max_page_count = 1000000")
    cooking.hub.write()
    assert len(cooking.broker.acks()) == acknowledged + 1
    assert "the disk is full" not in cooking.told()
    assert "works again" in cooking.told()
    held = {n for ack in cooking.broker.acks() for first, last in ack["got"] for n in range(first, last + 1)}
    assert held == set(range(cooking.seq + 1))


BROKEN = {
    "truncated": b'{"v":1,"boot":"9f3c1a02b7e4","se',
    "not JSON": b"hello",
    "empty": b"",
    "over 8 KB": b"[" * 9000,
    "deep": b"[" * 8000,
    "not UTF-8": b"\xff\xfe\x00",
    "of a future version": messages.encode_frame(
        {"v": 1, "boot": "9f3c1a02b7e4", "seq": 1, "up": 1, "t": [20.0], "s": ["ok"], "on": 0, "duty": 0.0}
        | {"why": "off", "left": 0, "thinned": 0, "dropped": 0}
    ).replace(b'"v":1', b'"v":2'),
}


@pytest.mark.parametrize("payload", BROKEN.values(), ids=BROKEN.keys())
@pytest.mark.parametrize("rest", ["frame/sample", "frame/backlog"])
def test_broken_message_is_told_with_the_kits_name_and_the_next_good_one_is_taken(cooking, rest, payload):
    cooking.hub.step(cooking.message(rest, payload))
    assert f"Kit {KIT}:" in cooking.told()
    cooking.run(1)
    assert len(cooking.broker.grants()) == 1
    assert cooking.hub.faults == 0


def test_told_news_fades_after_ten_minutes(cooking):
    cooking.hub.step(cooking.message("frame/sample", b"hello"))
    cooking.clock.advance(599.0)
    assert f"Kit {KIT}:" in cooking.told()
    cooking.clock.advance(2.0)
    assert f"Kit {KIT}:" not in cooking.told()


def test_flood_of_different_nonsense_stays_bounded(cooking):
    for number in range(300):
        cooking.hub.step(cooking.message("frame/sample", cooking.sample(), retained=True, kit=f"kit-{number}"))
    told = cooking.hub._alarms(0.0, cooking.clock.monotonic_s())
    assert 1 <= len(told) <= 25
    assert "Kit kit-0 is not this hub's" in told[0]


def test_message_of_an_unknown_kit_is_told_with_the_remedy(cooking):
    cooking.hub.step(cooking.message("frame/sample", cooking.sample(), kit="kit-9"))
    assert "Kit kit-9 is not this hub's" in cooking.told()
    assert "fiftyover kit setup" in cooking.told()


def test_message_that_the_client_dropped_for_its_size_is_told(cooking):
    cooking.broker.counters.oversized = 1
    cooking.broker.counters.oversized_topic = "homie/5/kit-3f2a/frame/sample"
    cooking.hub.step(None)
    assert "homie/5/kit-3f2a/frame/sample of over 8 KB was refused unread" in cooking.told()


def test_kit_never_runs_the_log_full(cooking, caplog):
    cooking.clock.advance(100.0)
    for age_s in range(10, 60):
        cooking.clock.advance(0.5)
        cooking.live(age_s=float(age_s))  # each time another sentence about another age
        cooking.hub.step(cooking.message("frame/sample", b"hello"))
    assert 1 <= len(caplog.records) <= 5


def test_trouble_that_comes_and_goes_is_logged_once_in_ten_minutes(cooking, caplog):
    for _ in range(12):
        cooking.hub.step(Link(False, "the broker closed the connection"))
        cooking.hub.step(Link(True, "signed in"))
        cooking.clock.advance(60.0)
    assert len([one for one in caplog.records if "link is down" in one.message]) == 2


def test_lost_link_is_told_until_it_is_back(cooking):
    cooking.hub.step(Link(False, "the broker at 127.0.0.1:1883 closed the connection; is it still running"))
    assert "The hub's link is down, so nothing is heated: the broker at 127.0.0.1:1883" in cooking.told()
    cooking.hub.step(Link(True, "signed in"))
    assert "link is down" not in cooking.told()


def test_taken_over_session_is_told(cooking):
    cooking.broker.taken_over = True
    assert "Another hub took this one's place" in cooking.told()


def test_silent_kit_with_meat_hanging_sends_a_person(cooking):
    cooking.run(1)
    cooking.clock.advance(15.5)
    assert "The kit is not heard" in cooking.told()
    cooking.run(1)
    assert "The kit is not heard" not in cooking.told()


def test_alert_of_the_kit_is_shown_until_it_is_empty(cooking):
    cooking.say("$alert/latched", "The chamber was too hot. " * 40)
    assert "The kit says: The chamber was too hot." in cooking.told()
    assert len(cooking.told()) < 400
    cooking.say("$alert/latched", "")
    assert "The kit says" not in cooking.told()


def wait_for(fits, limit_s=5.0):
    end_s = time.monotonic() + limit_s
    while not fits():
        assert time.monotonic() < end_s, "did not come"
        time.sleep(0.01)


def test_failing_decision_ends_neither_thread(cooking, monkeypatch):
    """The real threads, with a fault in the decision and one in the writing."""
    decide, commit, failed = hub_module.batch.decide, cooking.store.commit, []

    def broken(state, reading):
        if not failed:
            failed.append("decide")
            raise RuntimeError("a fault of our own")
        return decide(state, reading)

    def no_commit():
        if "commit" not in failed:
            failed.append("commit")
            raise OSError("a fault of the disk")
        return commit()

    monkeypatch.setattr(hub_module.batch, "decide", broken)
    monkeypatch.setattr(cooking.store, "commit", no_commit)
    monkeypatch.setattr(hub_module, "COMMIT_S", 0.05)
    cooking.hub.start()
    try:
        for payload in [*BROKEN.values(), cooking.sample()]:
            cooking.inbox.put(cooking.message("frame/sample", payload))
        wait_for(lambda: cooking.hub.faults == 2)
        assert cooking.broker.grants() == []
        cooking.clock.advance(1.0)
        cooking.inbox.put(cooking.message("frame/sample", cooking.sample()))
        wait_for(lambda: len(cooking.broker.grants()) == 1)
        wait_for(cooking.broker.acks)
        assert "2 faults of its own" in cooking.told()
    finally:
        cooking.hub.stop()
    assert not any(thread.is_alive() for thread in cooking.hub._threads)
