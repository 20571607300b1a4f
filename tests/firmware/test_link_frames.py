"""The link: live frames and backlog."""

import pytest

from fiftyover_kit import link
from fiftyover_kit.contract import limits, messages
from firmware.link_stage import BOOT, ROOT, Stage, of


@pytest.fixture
def stage(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    return Stage(monkeypatch)


def test_each_frame_goes_out_live_once_and_never_retained(stage):
    stage.connect()
    said = of(stage.run(5, record=True), "frame/sample")
    assert [messages.decode_frame(payload)["seq"] for payload in said] == [0, 1, 2, 3, 4]
    assert [retain for topic, _, retain in stage.client.said if topic == ROOT + "frame/sample"] == [False] * 5


def test_acknowledged_newest_frame_does_not_bring_an_older_one_out_as_live(stage):
    stage.connect()
    stage.run(3, record=True)
    stage.kit.backlog.ack([[2, 2]])
    assert of(stage.run(2), "frame/sample") == []


def test_frames_made_while_a_live_one_waits_go_by_the_backlog(stage):
    stage.connect()
    stage.run(1, record=True)
    stage.client.stuck.append(ROOT + "frame/sample")
    said = stage.run(3, record=True)
    stage.client.stuck.clear()
    said += stage.run(1)
    live = [messages.decode_frame(payload)["seq"] for payload in of(said, "frame/sample")]
    late = [frame["seq"] for payload in of(said, "frame/backlog") for frame in decoded(payload)]
    assert (live, late) == ([3], [1, 2])


def decoded(payload):
    message = messages.decode_backlog(payload)
    assert message["boot"] == BOOT
    return message["frames"]


def test_outage_is_made_up_for_oldest_first_ten_at_a_time(stage):
    stage.run(25, record=True)
    stage.connect()
    said = stage.run(3)
    live = [messages.decode_frame(payload)["seq"] for payload in of(said, "frame/sample")]
    groups = [[frame["seq"] for frame in decoded(payload)] for payload in of(said, "frame/backlog")]
    assert live == [24]
    assert groups == [list(range(10)), list(range(10, 20)), list(range(20, 24))]


def test_outage_is_made_up_for_at_ten_messages_a_second_while_they_are_confirmed_and_acknowledged(stage):
    stage.run(25, record=True)
    stage.connect()
    stage.run(0.1)
    for second in range(3):
        for first in range(100 * second, 100 * second + 100):
            stage.kit.backlog.push(25 + first, 1000 * (25 + first), [2000] * 3, [0] * 3, 0, 0, 0)
        stage.kit.backlog.ack([[0, 24 + 100 * second]])
        assert 9 <= len(of(stage.run(1.0), "frame/backlog")) <= 10


def test_backlog_waits_until_a_live_frame_went_first(stage):
    stage.run(25, record=True)
    stage.client.stuck.append(ROOT + "frame/sample")
    stage.connect()
    assert of(stage.run(3), "frame/backlog") == []


def test_hub_that_commits_nothing_gets_one_backlog_message_a_second(stage):
    stage.run(25, record=True)
    stage.connect()
    stage.run(3)
    tenths = [len(of(stage.run(0.1), "frame/backlog")) for _ in range(300)]
    sent_at = [at for at, count in enumerate(tenths) if count]
    assert len(sent_at) >= 3
    assert min(later - at for at, later in zip(sent_at, sent_at[1:], strict=False)) >= 10


def test_frames_are_thinned_with_no_session_too(stage):
    stage.run(60, record=True)
    assert stage.kit.backlog.thinned > 15


def test_widest_kit_keeps_its_backlog_messages_below_8_kb(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    stage = Stage(monkeypatch, channels=31)
    kit = stage.kit
    for seq in range(30):
        kit.backlog.push(seq, (1 << 30) - 1, [-1999] * 31, [6] * 31, 1, 999, 10)
    kit.seq = 29
    stage.connect()
    said = of(stage.run(5), "frame/backlog")
    assert sum(len(decoded(payload)) for payload in said) == 29
    assert max(len(payload) for payload in said) <= limits.MESSAGE_MAX_BYTES


def test_full_heap_makes_backlog_messages_shorter(stage, monkeypatch):
    stage.run(25, record=True)

    def no_room(message):
        if len(message["frames"]) > 3:
            raise MemoryError
        return messages.encode_backlog(message)

    monkeypatch.setattr(link, "encode_backlog", no_room)
    stage.connect()
    groups = [len(decoded(payload)) for payload in of(stage.run(30), "frame/backlog")]
    assert max(groups) == 2
    assert sum(groups) >= 24
