"""What stands at the broker over births, lost sessions, changed kits and switching off."""

import json

import pytest

from fiftyover.announce.announcer import AGAIN_S, AT_ONCE, DOWN_S, KITS_MAX, Announcer
from fiftyover.broker.notes import Link, Message
from fiftyover_kit import link
from fiftyover_kit.contract import topics

UP, DOWN = Link(True, "up"), Link(False, "down")
BIRTH = Message("homeassistant/status", b"online", False, 0.0)


def said(kit, channels=1, version=1):
    return Message(topics.description(kit), b"".join(link.description(kit, channels, version)), True, 0.0)


class Broker:
    """Retained messages as a broker keeps them, and every topic that was published."""

    def __init__(self):
        self.kept, self.log, self.up = {}, [], True

    def publish(self, topic, payload, qos, retain):
        if not self.up:
            return False
        assert (qos, retain) == (1, True)
        self.log.append(topic)
        if payload:
            self.kept[topic] = payload
        else:
            self.kept.pop(topic, None)
        return True


def run(announcer, broker, *items, at_s=0.0):
    """Take items, send all that is due, and let the broker acknowledge it."""
    for item in items:
        announcer.heed(item, at_s)
    for _ in range(50):
        announcer.step(broker.publish, 0, at_s)


@pytest.fixture
def file(tmp_path):
    return tmp_path / "announced.json"


def test_a_birth_brings_everything_again_but_a_flood_of_births_does_not(file):
    broker, announcer = Broker(), Announcer(file, True)
    run(announcer, broker, UP, said("kit-1"), at_s=100.0)
    once = len(broker.log)
    assert once == len(broker.kept) == 18
    run(announcer, broker, Message("homeassistant/status", b"offline", False, 0.0), at_s=200.0)
    assert len(broker.log) == once
    broker.kept.clear()
    run(announcer, broker, *[BIRTH] * 50, at_s=300.0)
    assert len(broker.log) == 2 * once
    assert len(broker.kept) == once
    run(announcer, broker, BIRTH, at_s=300.0 + AGAIN_S / 2)
    assert len(broker.log) == 2 * once
    run(announcer, broker, BIRTH, at_s=301.0 + AGAIN_S)
    assert len(broker.log) == 3 * once
    assert json.loads(file.read_text()) == sorted(broker.kept)


def test_a_lost_session_begins_again_and_nothing_is_hurried(file):
    broker, announcer = Broker(), Announcer(file, True)
    announcer.heed(UP, 0.0)
    announcer.heed(said("kit-1", 31), 0.0)
    announcer.step(broker.publish, 0, 0.0)
    assert len(broker.log) == AT_ONCE
    broker.up = False
    run(announcer, broker, DOWN)
    broker.up = True
    run(announcer, broker, UP)
    assert len(broker.kept) == 78


def test_a_kit_that_lost_probes_or_is_gone_is_cleared(file):
    broker, announcer = Broker(), Announcer(file, True, {"kit-1", "kit-2"})
    run(announcer, broker, UP, said("kit-1", 9), said("kit-2", 1), said("kit-3", 1))
    assert {topic.split("/")[2] for topic in broker.kept} == {"kit-1", "kit-2"}
    run(announcer, broker, said("kit-1", 2, 2))
    assert len([topic for topic in broker.kept if "/kit-1/" in topic]) == 20
    run(announcer, broker, Message(topics.description("kit-1"), b"", True, 0.0))
    assert {topic.split("/")[2] for topic in broker.kept} == {"kit-2"}

    # A later run serves another kit: what an earlier one announced of kit-2 goes, also before kit-9 was heard.
    run(Announcer(file, True, {"kit-9"}), broker, UP)
    assert broker.kept == {}
    assert not file.exists()


def test_after_a_restart_a_changed_kit_leaves_nothing_old_and_an_unheard_one_stays(file):
    broker = Broker()
    run(Announcer(file, True, {"kit-1", "kit-2"}), broker, UP, said("kit-1", 9), said("kit-2", 1))
    announcer = Announcer(file, True, {"kit-1", "kit-2"})
    run(announcer, broker, UP, said("kit-1", 1, 2))
    assert {(topic.split("/")[2]) for topic in broker.kept} == {"kit-1", "kit-2"}
    assert len(broker.kept) == 36
    assert json.loads(file.read_text()) == sorted(broker.kept)


def test_switched_off_everything_is_cleared_once_also_over_a_lost_session(file):
    broker = Broker()
    run(Announcer(file, True), broker, UP, said("kit-1", 3), said("kit-2", 3))
    broker.kept["homeassistant/sensor/other/x/config"] = b"somebody else's"
    announcer = Announcer(file, False)
    announcer.heed(UP, 0.0)
    for _ in range(50):
        announcer.step(broker.publish, 2, 60.0)  # all was sent, and two of it never acknowledged
    announcer.heed(DOWN, 60.1)
    announcer.step(broker.publish, 0, 120.0)
    assert file.exists()
    run(announcer, broker, UP, said("kit-1", 3), BIRTH)
    assert set(broker.kept) == {"homeassistant/sensor/other/x/config"}
    assert not file.exists()

    # Who signs in only after that is told too, as long as this hub runs; the next one no longer knows.
    before = len(broker.log)
    run(announcer, broker, BIRTH, at_s=300.0)
    assert len(broker.log) - before == 22 + 22
    run(Announcer(file, False), broker, UP, BIRTH, at_s=400.0)
    assert len(broker.log) - before == 22 + 22


def test_a_garbled_list_makes_the_hub_publish_nothing_but_announcements(file):
    permit = "homie/5/kit-1/heater/grant/set"
    file.write_text(json.dumps([permit, "homeassistant/switch/kit-1/x/config", "homeassistant/sensor/k/../config", 7]))
    broker, announcer = Broker(), Announcer(file, False)
    announcer._to_send[permit] = b"{}"  # a fault of any other kind: the gate is the last to say no
    run(announcer, broker, UP)
    assert broker.log == []
    for text in ("{", "7", "[" * 9000):
        file.write_text(text)
        run(Announcer(file, False), broker, UP)
        assert broker.log == []


def test_what_could_not_be_cleared_later_is_not_announced_until_the_list_can_be_written(tmp_path):
    folder = tmp_path / "full"
    broker, announcer = Broker(), Announcer(folder / "announced.json", True)
    run(announcer, broker, UP, said("kit-1"), BIRTH)
    assert broker.log == []
    assert "announced.json cannot be written (No such file or directory), make room" in announcer.trouble(0.0)
    folder.mkdir()
    run(announcer, broker, at_s=AGAIN_S - 0.1)
    assert broker.log == []
    run(announcer, broker, at_s=AGAIN_S)
    assert len(broker.kept) == 18
    assert announcer.trouble(AGAIN_S) is None


def test_a_session_that_stays_away_is_told_once_it_lasts(file):
    announcer = Announcer(file, True)
    announcer.heed(DOWN, 100.0)
    announcer.heed(Link(False, "refused"), 130.0)
    assert announcer.trouble(100.0 + DOWN_S - 0.1) is None
    assert announcer.trouble(100.0 + DOWN_S) == "Home-automation software is not told of the kits: refused."
    announcer.heed(UP, 170.0)
    assert announcer.trouble(9999.0) is None


def test_so_many_kits_and_no_more(file):
    broker, announcer = Broker(), Announcer(file, True)
    run(announcer, broker, UP, *[said(f"kit-{number}") for number in range(KITS_MAX + 5)])
    assert len({topic.split("/")[2] for topic in broker.kept}) == KITS_MAX
    assert json.loads(file.read_text()) == sorted(broker.kept)
    run(announcer, broker, Message(topics.description("kit-0"), b"", True, 0.0), said("kit-99"))
    assert {topic.split("/")[2] for topic in broker.kept} == {f"kit-{n}" for n in (*range(1, KITS_MAX), 99)}
