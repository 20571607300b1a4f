"""The inbox: what each message becomes, when it is acknowledged, and the sentence for what is left out."""

import sqlite3
from contextlib import closing

import pytest

from fiftyover.clock import VirtualClock
from fiftyover.ingest import Inbox, KitNote, Refused
from fiftyover.ingest import inbox as inbox_module
from fiftyover.store import DatedFrame
from fiftyover_kit.contract import messages

KIT, BOOT, NEXT = "kit-3f2a", "9f3c1a02b7e4", "0a1b2c3d4e5f"
ZERO_MS = 1_764_028_800_000


def test_live_frame_is_there_for_the_control_before_any_commit(hub):
    (frame,) = hub.live(12, up_ms=12_000)
    assert isinstance(frame, DatedFrame)
    assert (frame.kit, frame.boot, frame.seq, frame.up_ms, frame.live) == (KIT, BOOT, 12, 12_000, True)
    assert (frame.at_s, frame.utc_ms) == (5000.0, ZERO_MS + 5_000_000)
    assert (frame.t, frame.s, frame.on, frame.duty, frame.why) == ([80.12, None], ["ok", "open"], 0, 0.25, "on")
    assert hub.inbox.freshness.newest(KIT) == frame
    assert hub.dates() == {}
    assert hub.inbox.acks_due() == []


def test_acknowledged_only_after_the_commit_and_once(hub):
    for seq in (0, 1, 3):
        hub.live(seq)
    assert hub.inbox.acks_due() == []
    hub.store.commit()
    assert hub.inbox.acks_due() == [(KIT, {"v": 1, "hub": hub.store.hub_id, "boot": BOOT, "got": [[0, 1], [3, 3]]})]
    assert hub.inbox.acks_due() == []


def test_nothing_is_acknowledged_while_the_disk_is_full_and_all_of_it_afterwards(hub):
    hub.live(0)
    hub.store.commit()
    hub.inbox.acks_due()
    pages = hub.store._connection.execute("PRAGMA page_count").fetchone()[0]
    hub.store._connection.execute(f"PRAGMA max_page_count = {pages}")
    seq = 0
    while hub.store.problem is None:
        seq += 1
        hub.clock.advance(1)
        assert len(hub.live(seq)) == 1, "control goes on"
        hub.store.commit()
    hub.inbox.acks_due()
    for _ in range(3):  # the kit sends again what is not acknowledged
        hub.backlog([seq])
        hub.live(seq + 1)
        assert hub.store.commit() == []
        assert hub.inbox.acks_due() == []
    hub.store._connection.execute("PRAGMA max_page_count = 100000")
    hub.store.commit()
    ((_, ack),) = hub.inbox.acks_due()
    assert ack["got"] == [[seq, seq + 1]]
    assert sorted(hub.dates()) == list(range(seq + 2))


def test_duplicate_is_acknowledged_again_and_stored_once(hub):
    hub.live(4)
    hub.store.commit()
    hub.inbox.acks_due()
    hub.backlog([4])
    hub.live(4)
    hub.store.commit()
    assert [ack["got"] for _, ack in hub.inbox.acks_due()] == [[[4, 4]]]
    assert list(hub.dates()) == [4]
    assert hub.store.take_notices() == []


@pytest.mark.parametrize("together", [True, False])
def test_same_number_with_other_content_is_told_and_does_not_overwrite(hub, together):
    hub.live(4)
    if not together:
        hub.store.commit()
    hub.live(4, duty=0.9)
    hub.store.commit()
    assert ["twice with different content" in sentence for sentence in hub.store.take_notices()] == [True]
    assert [frame.duty for frame in hub.store.frames(KIT, 0, 2**60)] == [0.25]
    assert hub.store.reader.conflicts() == 1


def test_burst_out_of_a_stalled_broker_is_stored_with_the_right_dates_even_if_it_is_the_first_thing_heard(hub):
    """The first frame of the burst alone cannot tell how late it is; what goes to the disk knows the last one too."""
    hub.clock.set(5030.0)
    dated = [hub.live(seq)[0].at_s for seq in range(31)]  # read at 5000 .. 5030, all of them arriving at 5030
    assert dated[0] == 5030.0
    hub.store.commit()
    assert hub.dates() == {seq: pytest.approx(5000.0 + seq, abs=0.001) for seq in range(31)}
    assert hub.inbox.freshness.age_s(KIT, 5030.0) == 0


def test_stalled_frame_is_no_fresh_one(hub):
    hub.live(0)
    hub.clock.advance(20)
    (frame,) = hub.live(1)
    assert frame.at_s == 5001.0
    assert hub.inbox.freshness.age_s(KIT, hub.clock.monotonic_s()) == pytest.approx(19.0)
    assert not hub.inbox.freshness.fresh(KIT, hub.clock.monotonic_s())


def test_backlog_waits_for_a_live_frame_of_its_start_and_comes_out_dated(hub):
    assert hub.backlog([10, 11]) == []
    hub.store.commit()
    assert hub.inbox.acks_due() == []
    hub.clock.set(5020.0)
    results = hub.live(20)
    assert [(frame.seq, frame.at_s, frame.live) for frame in results] == [
        (10, 5010.0, False),
        (11, 5011.0, False),
        (20, 5020.0, True),
    ]
    hub.store.commit()
    assert hub.dates() == {10: 5010.0, 11: 5011.0, 20: 5020.0}
    assert hub.inbox.acks_due()[0][1]["got"] == [[10, 11], [20, 20]]


def test_two_hours_of_outage_are_merged_in_order_and_dated_right(hub):
    hub.live(0)
    hub.clock.set(5000.0 + 7200)
    hub.live(7200)
    thinned = list(range(5, 7200, 5))
    for start in range(0, len(thinned), 10):
        hub.clock.advance(0.05)
        hub.backlog(thinned[start : start + 10])
    hub.store.commit()
    stored = hub.store.frames(KIT, 0, 2**60)
    assert [frame.seq for frame in stored] == [0, *thinned, 7200]
    assert all(frame.at_s == pytest.approx(5000.0 + frame.seq, abs=0.001) for frame in stored)
    assert hub.inbox.freshness.newest(KIT).seq == 7200, "older frames are no news"


def test_backlog_of_a_start_that_ended_is_dated_by_its_own_offset(hub):
    hub.live(0)
    hub.clock.set(5100.0)
    hub.live(0, boot=NEXT)
    results = hub.backlog([50])
    assert [(frame.boot, frame.at_s) for frame in results] == [(BOOT, 5050.0)]
    hub.store.commit()
    assert hub.dates() == {0: 5000.0, 50: 5050.0}


def test_backlog_of_a_start_that_nobody_heard_is_told_and_never_acknowledged(hub):
    hub.backlog([1, 2, 3], boot=NEXT)
    results = hub.live(0)
    assert "3 readings of its start 0a1b2c3d4e5f are left out" in results[0].sentence
    assert isinstance(results[1], DatedFrame)
    hub.store.commit()
    assert [ack["boot"] for _, ack in hub.inbox.acks_due()] == [BOOT]


def test_late_live_frame_of_a_start_that_ended_is_stored_but_is_no_news(hub):
    hub.live(7)
    hub.clock.advance(10)
    hub.live(0, boot=NEXT)
    (late,) = hub.live(8)
    assert (late.live, late.at_s) == (False, 5001.0)
    assert hub.inbox.freshness.newest(KIT).boot == NEXT


def test_hub_that_restarts_dates_what_waited_in_the_broker_right(hub):
    for seq in range(3):
        hub.live(seq)
        hub.clock.advance(1)
    hub.store.commit()
    hub.restart()
    hub.clock.set(5060.0)
    (frame,) = hub.live(20)  # read at 5020, it waited for 40 s; the hub has heard nothing else since it started
    assert frame.at_s == 5020.0
    assert [frame.at_s for frame in hub.backlog([4])] == [5004.0], "of a start that goes on, heard before the restart"


def test_hub_whose_machine_restarted_waits_and_then_dates_by_the_live_frame(hub):
    hub.live(0)
    hub.store.commit()
    # The machine starts again at what its wall clock calls 5100; its own clock is then at 10. True is 5101.5.
    hub.restart(VirtualClock(10.0, ZERO_MS + 5_090_000, "second"))
    assert hub.backlog([50]) == []
    results = hub.live(102, up_ms=101_500)
    assert [(frame.seq, frame.at_s) for frame in results] == [(50, pytest.approx(-41.5)), (102, 10.0)]
    hub.store.commit()
    assert hub.dates()[102] - hub.dates()[50] == pytest.approx(51.5)


def test_hub_whose_machine_restarted_dates_a_start_that_ended_by_utc(hub):
    hub.live(0)
    hub.store.commit()
    hub.restart(VirtualClock(10.0, ZERO_MS + 5_090_000, "second"))
    assert hub.backlog([50]) == []
    results = hub.live(0, boot=NEXT)
    assert [(frame.boot, frame.utc_ms) for frame in results] == [
        (BOOT, ZERO_MS + 5_050_000),
        (NEXT, ZERO_MS + 5_100_000),
    ]


def test_wall_clock_that_jumps_moves_no_row(hub):
    hub.live(0)
    hub.clock.wall_jump_s = 7200.0
    hub.clock.advance(1)
    hub.live(1)
    hub.store.commit()
    hub.clock.wall_jump_s = -7200.0
    hub.clock.advance(1)
    hub.live(2)
    hub.store.commit()
    assert [frame.utc_ms - ZERO_MS for frame in hub.store.frames(KIT, 0, 2**60)] == [5_000_000, 5_001_000, 5_002_000]
    assert len(hub.store.take_notices()) == 2


def test_frames_around_the_wrap_of_the_ticks_lie_a_second_apart(hub):
    for seq in range(6):
        hub.live(seq, up_ms=2**30 - 3000 + seq * 1000)
        hub.clock.advance(1)
    hub.store.commit()
    assert hub.dates() == {seq: 5000.0 + seq for seq in range(6)}


def test_other_properties_are_notes(hub):
    assert hub.message("sys/cap", b"107.2", retained=True) == [KitNote(KIT, "sys/cap", "107.2")]
    assert hub.message("$state", b"lost") == [KitNote(KIT, "$state", "lost")]
    assert hub.message("$alert/door", b"") == [KitNote(KIT, "$alert/door", "")]
    assert hub.message("heater/grant/set", b"{}") == [], "the hub's own"


def test_lost_frames_that_the_kit_counts_are_told_when_the_count_moves(hub):
    assert len(hub.live(0)) == 1
    told = hub.live(1, thinned=4, dropped=1)[:-1]
    assert told == [KitNote(KIT, "frame/thinned", "4"), KitNote(KIT, "frame/dropped", "1")]
    assert len(hub.live(2, thinned=4, dropped=1)) == 1
    hub.store.commit()
    assert [(line.thinned, line.dropped) for line in hub.store.boots()] == [(4, 1)]
    hub.restart()
    assert len(hub.live(3, thinned=4, dropped=1)) == 1


def good_frame() -> bytes:
    return messages.encode_frame(
        {
            "v": 1, "boot": BOOT, "seq": 1, "up": 1, "t": [1.0], "s": ["ok"], "on": 0, "duty": 0, "why": "off",
            "left": 0, "thinned": 0, "dropped": 0,
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rest", "payload", "said"),
    [
        ("frame/sample", b"", "not JSON"),
        ("frame/sample", good_frame()[:-5], "cut short"),
        ("frame/sample", good_frame().replace(b'"v":1', b'"v":2'), "this end speaks 1; update"),
        ("frame/sample", good_frame().replace(b"1.00", b"NaN").replace(b"1.0", b"NaN"), "not JSON"),
        ("frame/sample", b" " * 8193, "refused unread: 8193 bytes are over 8192"),
        ("frame/sample", b"[" * 8000, "nested too deep"),
        ("frame/backlog", good_frame(), "`frames` is missing"),
        ("frame/backlog", b"\xff\xfe", "UTF-8"),
        ("$description", b"x" * 8193, "refused unread: 8193 bytes are over 8192"),
        ("sys/cap", b"\xff", "not UTF-8 text"),
    ],
)
def test_bad_message_is_one_sentence_that_names_the_kit_and_the_rest_goes_on(hub, rest, payload, said):
    (refused,) = hub.message(rest, payload)
    assert isinstance(refused, Refused)
    assert refused.kit == KIT
    assert refused.sentence.startswith(f"Kit {KIT}: ")
    assert said in refused.sentence
    assert hub.inbox.refused == {KIT: 1}
    assert isinstance(hub.live(1)[0], DatedFrame)
    hub.store.commit()
    assert list(hub.dates()) == [1]


def test_retained_frame_is_refused_for_it_may_be_old(hub):
    (refused,) = hub.message("frame/sample", good_frame(), retained=True)
    assert "came retained" in refused.sentence
    assert hub.inbox.freshness.newest(KIT) is None


def test_kit_that_is_not_ours_is_named_with_the_remedy_and_stored_nowhere(hub):
    hub.inbox = Inbox(hub.store, hub.clock, kits=[KIT])
    (refused,) = hub.live(0, kit="kit-9")
    assert refused == Refused("kit-9", "Kit kit-9 is not this hub's (kit-3f2a): to add it, run `fiftyover kit setup`.")
    assert isinstance(hub.live(1)[0], DatedFrame)
    hub.store.commit()
    assert {frame.kit for frame in hub.store.frames("kit-9", 0, 2**60)} == set()
    assert list(hub.dates()) == [1]


@pytest.mark.parametrize("topic", ["", "other/thing", "homie/5/", "homie/5/KIT/frame/sample", "homie/4/kit-1/$state"])
def test_topic_that_is_no_kits_is_refused(hub, topic):
    (refused,) = hub.inbox.handle(topic, b"x", False, 0.0)
    assert (refused.kit, refused.sentence[:10]) == ("", "Left out: ")
    assert hub.inbox.refused == {"": 1}


def test_memory_stays_bounded_whatever_strangers_send(hub, monkeypatch):
    monkeypatch.setattr(inbox_module, "UNDATED_MAX", 50)
    monkeypatch.setattr(inbox_module, "NAMES_MAX", 20)
    for number in range(60):
        hub.backlog(list(range(10)), boot=f"{number:012x}")
        hub.message("frame/sample", b"junk", kit=f"kit-{number}")
        hub.live(0, boot=f"{number:012x}", kit="kit-other", thinned=1)
    assert sum(len(room) for room in hub.inbox._undated.values()) <= 50
    assert len(hub.inbox._undated) <= inbox_module.UNDATED_BOOTS_MAX
    assert len(hub.inbox.refused) <= 21
    assert len(hub.inbox._losses) <= 20
    assert hub.inbox.refused.total() >= 60


def test_rows_on_the_disk_carry_what_was_sent(hub):
    hub.live(5, duty=0.1234, why="expired")
    hub.store.commit()
    with closing(sqlite3.connect(hub.path)) as other:
        row = other.execute("SELECT kit, boot, seq, up_ms, element_on, duty, why, t, s FROM frames").fetchone()
    assert row == (KIT, BOOT, 5, 5000, 0, 0.1234, "expired", "[80.05,null]", '["ok","open"]')
