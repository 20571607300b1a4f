"""Several smokers in one hub: each hears its own kit alone, and what happens at one leaves the others as they are."""

import json
import queue

import pytest

from fiftyover.alerts.sounder import Shared
from fiftyover.app import smokers
from fiftyover.app.parts import Parts
from fiftyover.app.smokers import Smokers
from fiftyover.app.yard import Yard
from fiftyover.batch import events as ev
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker.notes import Counters, Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live
from fiftyover_kit.contract import messages

KITS = ("kit-a", "kit-b")


class Broker:
    taken_over = False

    def __init__(self):
        self.counters = Counters()
        self.sent = []

    def publish(self, topic, payload, qos=1, retain=False):
        self.sent.append((topic, payload))
        return True

    def permits(self, kit):
        """Duties permitted to a kit, in order."""
        return [json.loads(text)["duty"] for topic, text in self.sent if topic == f"homie/5/{kit}/heater/grant/set"]

    def stops(self, kit):
        return sum(topic == f"homie/5/{kit}/heater/stop/set" for topic, _ in self.sent)


class Club:
    """A yard with its record in `folder`; both kits say what they read, once a second."""

    def __init__(self, folder, clock):
        self.clock, self.broker, self.folder = clock, Broker(), folder
        self.store = Store(folder / "record.sqlite", clock, 0)
        heater = Heater(self.store.hub_id, self.store.run_number, self.broker.publish)
        parts = Parts(clock, self.store, Inbox(self.store, clock, set(KITS)), self.broker, heater, Live())
        self.yard = Yard(parts, KITS, queue.Queue())
        self.seq = 0

    def take_up(self):
        for kit in KITS:
            self.yard.take_up(kit)
            self.yard.step(Message(f"homie/5/{kit}/sys/cap", b"95.00", True, self.clock.monotonic_s()))

    def hang(self, kit):
        hung = (Chub(1, "slim", 45.0, "left", 1), Chub(2, "slim", 45.0, "right", 2))
        plan = Plan(f"7f2c000{KITS.index(kit)}", f"Pork with mace at {kit}", hung, 85.0)
        self.yard.smokers[kit].start_batch(plan)

    def run(self, seconds, kits=KITS):
        for _ in range(seconds):
            self.clock.advance(1.0)
            self.seq += 1
            for kit in kits:
                at = KITS.index(kit) if kit in KITS else 0
                frame = {"v": 1, "boot": f"9f3c1a02b7e{at}", "seq": self.seq, "up": self.seq * 1000, "left": 9}
                rise = min(25.0, self.seq / 10.0)  # the chamber answers its first heat
                frame |= {"t": [30.0 + rise + at, 30.0 + at, 31.0 + at], "s": ["ok"] * 3, "on": 1, "duty": 1.0}
                frame |= {"why": "on", "thinned": 0, "dropped": 0}
                raw = messages.encode_frame(frame)
                self.yard.step(Message(f"homie/5/{kit}/frame/sample", raw, False, self.clock.monotonic_s()))
            self.yard.step(None)
            self.yard.write()


@pytest.fixture
def club(tmp_path):
    made = Club(tmp_path, VirtualClock(at_s=5000.0))
    made.take_up()
    yield made
    made.store.close()


def test_each_kit_is_permitted_by_its_own_batch_alone(club):
    club.hang("kit-a")
    club.run(60)
    assert len(club.broker.permits("kit-a")) >= 10
    assert max(club.broker.permits("kit-a")) > 0.0
    assert club.broker.permits("kit-b") == []
    club.hang("kit-b")
    club.run(60)
    assert len(club.broker.permits("kit-b")) >= 10
    cores = {kit: hub.state.last.probe_degC[1] for kit, hub in club.yard.smokers.items()}
    assert cores == {"kit-a": 30.0, "kit-b": 31.0}
    assert {row[0] for row in club.store.reader.rows("SELECT DISTINCT kit FROM frames", ())} == set(KITS)


def test_a_stop_at_one_smoker_leaves_the_other_heating(club):
    for kit in KITS:
        club.hang(kit)
    club.run(60)
    assert club.yard.smokers["kit-a"].mark(ev.STOP_HEAT, {}, "cook")[0]
    before = {kit: len(club.broker.permits(kit)) for kit in KITS}
    club.run(30)
    assert club.broker.stops("kit-a") >= 1
    assert club.broker.stops("kit-b") == 0
    assert len(club.broker.permits("kit-a")) == before["kit-a"]
    assert len(club.broker.permits("kit-b")) >= before["kit-b"] + 5


def test_a_kit_that_is_silent_or_fails_takes_nothing_from_the_others(club, monkeypatch):
    for kit in KITS:
        club.hang(kit)
    club.run(60)

    def broken(*_):
        raise RuntimeError("planted")

    monkeypatch.setattr(club.yard.smokers["kit-a"], "take", broken)
    before = len(club.broker.permits("kit-b"))
    club.run(30)
    assert club.yard.smokers["kit-a"].faults == 30
    assert club.yard.smokers["kit-b"].faults == 0
    assert len(club.broker.permits("kit-b")) >= before + 5


def test_a_foreign_kit_is_refused_and_said_for_the_house(club):
    club.run(3, kits=("kit-x",))
    assert any("kit-x is not this hub's" in one for one in club.yard.troubles.told(club.clock.monotonic_s()))
    assert all(hub.last_frame is None for hub in club.yard.smokers.values())


def test_after_a_restart_each_smoker_goes_on_with_its_own_batch(club, tmp_path):
    for kit in KITS:
        club.hang(kit)
    club.run(90)
    club.store.commit()
    club.store.close()
    again = Club(tmp_path, club.clock)
    again.seq = club.seq
    assert not again.yard.smokers["kit-a"].mark(ev.DOOR, {"open": True}, "cook")[0]  # not taken up yet
    assert again.yard.smokers["kit-b"].mark(ev.STOP_HEAT, {}, "cook")[0]  # a stop is taken all the same
    again.take_up()
    names = {kit: hub.state.plan.name for kit, hub in again.yard.smokers.items()}
    assert names == {kit: f"Pork with mace at {kit}" for kit in KITS}
    again.run(30)
    assert len(again.broker.permits("kit-a")) >= 5
    assert again.broker.permits("kit-b") == []
    again.store.close()
    club.store = Store(tmp_path / "record.sqlite", club.clock, 0)  # for the fixture to close


def test_the_list_shows_each_smoker_and_what_is_urgent_at_which(club, tmp_path):
    club.hang("kit-a")
    club.run(60)
    several = Smokers(club.yard, tmp_path, None, "http://hub.test/", lambda *_: "")
    shown = json.loads(several.live.latest()[1])
    first, second = shown["smokers"]
    assert (first["smoker"], first["batch"], first["hanging"]) == ("kit-a", "Pork with mace at kit-a", 2)
    assert first["core_degC"] == 30.0
    assert (second["smoker"], second["batch"], second["hanging"]) == ("kit-b", "", 0)
    club.yard.smokers["kit-a"].mark(ev.STOP_HEAT, {}, "cook")
    stuck = {"priority": "act", "key": "k", "text": "Pull the plug."}
    told = smokers.alarms([], {"kit-a": {"alarms": [stuck]}, "kit-b": {"alarms": []}})
    assert [one["text"] for one in told] == ["kit-a: Pull the plug."]
    soon = {**stuck, "priority": "soon"}  # stands at its smoker, and in its line of the list
    assert smokers.alarms([], {"kit-a": {"alarms": [soon]}}) == []
    both = smokers.alarms([], {"kit-a": {"alarms": [stuck]}, "kit-b": {"alarms": [stuck]}})
    assert [one["text"] for one in both] == ["2 smokers, kit-a among them: Pull the plug."]
    club.yard.tell("influx", "The database is away.")
    several.show()
    shown = json.loads(several.live.latest()[1])
    assert [one["text"] for one in shown["alarms"] if "database" in one["text"]] == ["The database is away."]


def test_phones_are_told_which_smoker_calls_and_from_files_of_its_own(club, tmp_path):
    told = []
    several = Smokers(club.yard, tmp_path, None, "http://hub.test/", lambda urls, *text: told.append(text) or "")
    assert several.desks["kit-a"].choose({"add": "ntfy://hub.test/pork", "to": "first"})[0]
    club.hang("kit-a")
    club.run(5)
    for delivery in several.deliveries:
        delivery.step()
    assert [title for title, _ in told] == ["Smoker kit-a: alarm test"]
    assert "http://hub.test/smokers/kit-a/heard/" in told[0][1]
    assert several.desks["kit-b"].contacts().first == several.desks["kit-a"].contacts().first
    assert (tmp_path / "smokers" / "kit-b").stat().st_mode & 0o777 == 0o700


def test_one_sounder_is_on_while_any_smoker_wants_somebody():
    class House:
        said, over = None, False

        def step(self, sentence, now_s):
            self.said = sentence

        def silence(self):
            self.over = True

    house = House()
    shared = Shared(house)
    first, second = shared.of("kit-a"), shared.of("kit-b")
    first.step("Pull the plug.", 1.0)
    second.step(None, 1.0)
    assert house.said == "kit-a: Pull the plug."
    second.step("Chub 2 is done.", 2.0)
    first.step(None, 3.0)
    assert house.said == "kit-b: Chub 2 is done."
    second.step(None, 4.0)
    assert house.said is None
    first.silence()
    assert not house.over
    second.silence()
    assert house.over
