"""The link: what it announces and when, messages from the hub, Wi-Fi; frames are in test_link_frames.py."""

import asyncio
import json

import pytest

from fiftyover_kit import link
from fiftyover_kit.contract import limits, topics
from firmware.link_stage import KIT, ROOT, Board, Client, Kit, Settings, Stage, of


@pytest.fixture
def stage(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    return Stage(monkeypatch)


def test_announcement_goes_init_description_values_ready(stage):
    stage.connect()
    first = [topic.removeprefix(ROOT) for topic, _, _ in stage.client.said]
    said = stage.run(1)
    assert first == ["$state", "$description"]
    assert said[-1] == ("$state", b"ready")
    assert {topic for topic, _ in said[:-1]} == set(stage.kit.values)
    assert stage.kit.links == [(1, 4242)]


def test_announcement_is_retained_and_the_will_says_lost(stage):
    stage.connect()
    stage.link.step()
    assert all(retain for _, _, retain in stage.client.said)
    assert stage.client.will == (ROOT + "$state", "lost")
    assert stage.client.topics == topics.kit_hears(KIT)


def test_announcement_waits_for_room_in_the_queue_and_loses_nothing(stage):
    stage.client.is_stuck = True
    for number in range(4, 20):
        stage.kit.temperature(number, "20.00")
    stage.connect()
    said = stage.run(2)
    assert len(stage.client.stuck) == link.ROOM
    assert ("$state", b"ready") not in said
    told = {topic for topic, _ in said}
    stage.client.stuck.clear()
    stage.client.is_stuck = False
    told |= {topic for topic, _ in stage.run(1)}
    assert told >= set(stage.kit.values) | {"$state"}


def test_everything_is_announced_anew_in_the_next_session(stage):
    stage.connect()
    stage.run(1)
    stage.client.up = False
    stage.client.on_down("gone")
    stage.run(1)
    stage.connect()
    said = stage.run(1)
    assert of(said, "heater/state") == [b"off"]
    assert said[-1] == ("$state", b"ready")
    assert stage.kit.links == [(1, 4242), (0, 4242), (1, 4242)]


@pytest.mark.parametrize(("channels", "last"), [(2, "probe-2"), (9, "probe-9"), (31, "probe-31")])
def test_description_holds_every_node_and_property_of_the_contract_within_8_kb(channels, last):
    text = b"".join(link.description(KIT, channels, 7))
    assert len(text) < limits.MESSAGE_MAX_BYTES
    described = json.loads(text)
    nodes = described["nodes"]
    assert (described["homie"], described["version"]) == ("5.0", 7)
    assert set(nodes) == {f"probe-{n}" for n in range(1, channels + 1)} | {"frame", "heater", "sys"}
    probe = nodes[last]["properties"]
    assert probe["temperature"] == {"datatype": "float", "unit": "°C"}
    assert probe["status"]["format"] == "ok,open,short,range,jump,stuck,uncalibrated"
    assert set(nodes["sys"]["properties"]) == set(topics.SYS)
    assert set(nodes["heater"]["properties"]) == {"state", "lease", "armed", "door", "grant", "stop"}
    settable = [
        f"{node}/{name}"
        for node, found in nodes.items()
        for name, kind in found["properties"].items()
        if kind.get("settable")
    ]
    assert sorted(f"{name}/set" for name in settable) == sorted(
        topics.parse(topic)[1] for topic in topics.kit_hears(KIT)
    )


def test_version_of_the_description_grows_only_when_the_configuration_changes(tmp_path):
    path = str(tmp_path / "announced")
    three, nine = link.description(KIT, 3, 0), link.description(KIT, 9, 0)
    versions = [link.next_version(pieces, path) for pieces in (three, three, nine, nine, three)]
    assert versions == [1, 1, 2, 2, 3]


def test_torn_version_file_begins_again(tmp_path):
    path = tmp_path / "announced"
    path.write_text("12")
    assert link.next_version(link.description(KIT, 3, 0), str(path)) == 1


def test_temperature_is_published_on_a_tenth_or_after_ten_seconds(stage):
    stage.connect()
    stage.run(1)
    stage.kit.temperature(1, "20.09")
    assert of(stage.run(3), "probe-1/temperature") == []
    stage.kit.temperature(1, "20.10")
    assert of(stage.run(3), "probe-1/temperature") == [b"20.10"]
    assert of(stage.run(8), "probe-1/temperature") == [b"20.10"]
    assert of(stage.run(30), "probe-1/temperature") == [b"20.10"] * 3


@pytest.mark.parametrize("status", ["open", "short", "range", "jump", "stuck"])
def test_temperature_is_silent_during_a_fault_and_back_at_once_after_it(stage, status):
    stage.connect()
    stage.run(1)
    stage.kit.temperature(2, "99.00", status)
    during = stage.run(25)
    assert of(during, "probe-2/temperature") == []
    assert of(during, "probe-2/status") == [status.encode()]
    stage.kit.temperature(2, "20.00")
    assert of(stage.run(1.1), "probe-2/temperature") == [b"20.00"]
    stage.kit.temperature(2, "20.00", status)
    assert of(stage.run(2), "probe-2/temperature") == []
    stage.kit.temperature(2, "20.00")
    assert of(stage.run(1.1), "probe-2/temperature") == [b"20.00"]


def test_uncalibrated_temperature_is_published(stage):
    stage.kit.temperature(2, "21.00", "uncalibrated")
    stage.connect()
    assert of(stage.run(1), "probe-2/temperature") == [b"21.00"]


@pytest.mark.parametrize("text", ["nan", "-nan", "inf", "-inf", ""])
def test_what_is_no_number_never_goes_out_as_a_temperature(stage, text):
    stage.kit.temperature(1, text)
    stage.connect()
    assert of(stage.run(25), "probe-1/temperature") == []


def test_word_is_published_when_it_changes_and_only_then(stage):
    stage.connect()
    stage.run(1)
    stage.kit.values["heater/state"] = "on"
    assert of(stage.run(20), "heater/state") == [b"on"]


def test_figures_that_move_all_the_time_are_published_every_ten_seconds(stage):
    stage.kit.values["sys/uptime"] = "0"
    stage.connect()
    stage.run(1)
    count = 0
    for second in range(1, 41):
        stage.kit.values["sys/uptime"] = str(second)
        count += len(of(stage.run(1), "sys/uptime"))
    assert count == 4


def test_lease_is_published_at_its_ends_at_once(stage):
    stage.kit.values["heater/lease"] = "0"
    stage.connect()
    stage.run(1)
    stage.kit.values["heater/lease"] = "14"
    assert of(stage.run(1.1), "heater/lease") == [b"14"]
    stage.kit.values["heater/lease"] = "13"
    assert of(stage.run(1.1), "heater/lease") == []
    stage.kit.values["heater/lease"] = "0"
    assert of(stage.run(1.1), "heater/lease") == [b"0"]


def test_alert_is_published_changed_and_emptied(stage):
    stage.connect()
    stage.run(1)
    stage.kit.alerts["latched"] = "hot"
    assert of(stage.run(3), "$alert/latched") == [b"hot"]
    stage.kit.alerts["latched"] = "hotter"
    assert of(stage.run(3), "$alert/latched") == [b"hotter"]
    stage.kit.alerts.clear()
    assert of(stage.run(3), "$alert/latched") == [b""]


def test_message_is_handed_to_the_kit_below_its_root_with_the_retained_flag(stage):
    stage.client.on_message(ROOT + "heater/grant/set", b"x", 1)
    stage.client.on_message("homie/5/other/heater/grant/set", b"x", 0)
    assert stage.kit.heard == [("heater/grant/set", b"x", 1, 4242)]


def test_lost_wifi_is_joined_again_after_thirty_seconds(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    stage = Stage(monkeypatch, wifi={"ssid": "yard", "password": "secret"})
    stage.board.wifi = 0
    stage.run(29)
    assert stage.board.starts == []
    assert stage.client.ready() is False
    stage.run(5)
    assert stage.board.starts == [("yard", "secret")]
    stage.board.wifi = 1
    stage.run(60)
    assert len(stage.board.starts) == 1
    assert stage.client.ready()


def test_name_of_the_broker_is_looked_up_once_and_again_only_after_a_minute_without_it(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    asked = []
    monkeypatch.setattr(
        link.socket, "getaddrinfo", lambda *question: asked.append(question) or [(2, 1, 6, "", ("192.0.2.9", 1883))]
    )
    stage = Stage(monkeypatch, host="hub.example")
    assert stage.client.ready()
    assert stage.client.host == "192.0.2.9"
    assert stage.client.server_hostname == "hub.example"
    stage.run(59)
    stage.client.ready()
    assert asked == [("hub.example", 1883)]
    stage.run(3)
    stage.client.ready()
    assert len(asked) == 2


def test_step_that_fails_does_not_end_the_link(monkeypatch, tmp_path, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(link.mqtt, "Client", Client)
    steps = []

    def fails(self):
        steps.append(self)
        raise ValueError("step")

    monkeypatch.setattr(link.Link, "step", fails)
    board = Board()
    board.speed = 100.0

    async def scenario():
        task = asyncio.create_task(link.run(Kit(), board, Settings()))
        async with asyncio.timeout(2):
            while len(steps) < 3:
                await asyncio.sleep(0.01)
        assert not task.done()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(scenario())
    assert "a step failed" in capsys.readouterr().out
