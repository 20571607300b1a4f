"""The hub's client of the broker, against a real mosquitto, and a scripted broker for what a real one never does."""

import dataclasses
import os
import queue
import signal
import time

import paho.mqtt.client as paho
import pytest

from faults.proxy import Proxy
from fiftyover.broker.address import Address
from fiftyover.broker.child import ChildBroker
from fiftyover.broker.client import OUT_MAX
from fiftyover.broker.notes import Link, Message
from fiftyover.broker.probe import free_port
from fiftyover.errors import BrokerError

FRAME = "homie/5/kit-1/frame/sample"


def test_message_arrives_with_its_payload_unread_and_its_arrival_dated(mosquitto, opened):
    clock = iter([12.5, 13.5, 14.5])
    hub = opened(mosquitto.address, now_s=lambda: next(clock))
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/frame/ack/set"])
    assert kit.client.publish(FRAME, b"\xff not json", qos=1)
    found = hub.wait_for(lambda one: isinstance(one, Message))
    assert found == Message(FRAME, b"\xff not json", False, 12.5)


def test_retained_message_is_told_as_retained_to_a_hub_that_comes_later(mosquitto, opened):
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/frame/ack/set"])
    kit.client.publish("homie/5/kit-1/$state", b"ready", qos=1, retain=True)
    time.sleep(0.1)
    found = opened(mosquitto.address).wait_for(lambda one: isinstance(one, Message))
    assert (found.topic, found.payload, found.retained) == ("homie/5/kit-1/$state", b"ready", True)


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_wrong_password_is_one_sentence_without_the_secret(mosquitto, opened, protocol):
    wrong = dataclasses.replace(mosquitto.address, secret="open-sesame", protocol=protocol)
    with pytest.raises(BrokerError, match="refuses user 'hub': name or password is wrong") as caught:
        opened(wrong)
    assert "open-sesame" not in str(caught.value)
    assert "open-sesame" not in repr(wrong)


def test_unreachable_broker_is_told_and_found_when_it_comes(tmp_path, mosquitto, opened):
    port = free_port("127.0.0.1")
    late = ChildBroker("mosquitto", tmp_path / "late", mosquitto.accounts, port=port)
    hub = opened(dataclasses.replace(mosquitto.address, port=port), backoff_s=(0.05, 0.1))
    try:
        down = hub.wait_link(False)
        assert f"127.0.0.1:{port} cannot be reached (Connection refused)" in down.why
        assert not hub.client.up
        assert hub.client.alive()
        late.start()
        hub.wait_link(True)
    finally:
        late.stop()


def test_broker_that_stays_away_is_told_once_and_not_at_each_try(opened):
    hub = opened(Address("127.0.0.1", free_port("127.0.0.1")), backoff_s=(0.01, 0.02))
    assert len(hub.take(0.3)) == 1


def test_killed_broker_is_noticed_and_the_session_comes_back(mosquitto, opened):
    hub = opened(mosquitto.address, backoff_s=(0.05, 0.2))
    hub.wait_link(True)
    os.kill(mosquitto.pid, signal.SIGKILL)
    hub.wait_link(False)
    mosquitto.restart()
    hub.seen.clear()
    hub.wait_link(True)
    assert not hub.client.taken_over
    assert hub.client.counters.sessions == 2


class HostileInbox(queue.Queue):
    """An inbox that fails on one topic, as a fault of ours might."""

    def put_nowait(self, item):
        if isinstance(item, Message) and item.payload == b"bad":
            raise RuntimeError("inbox broke")
        super().put_nowait(item)


def test_exception_in_a_callback_is_counted_and_the_thread_lives(mosquitto, opened):
    hub = opened(mosquitto.address, inbox=HostileInbox())
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/frame/ack/set"])
    for payload in (b"bad", b"bad", b"good"):
        kit.client.publish(FRAME, payload)
    assert hub.wait_for(lambda one: isinstance(one, Message)).payload == b"good"
    assert (hub.client.counters.faults, hub.client.counters.last_fault) == (2, "RuntimeError: inbox broke")
    assert hub.client.up


def test_exception_in_the_network_loop_is_told_and_the_session_made_anew(mosquitto, opened, monkeypatch):
    hub = opened(mosquitto.address, backoff_s=(0.05, 0.2))
    hub.wait_link(True)
    real = paho.Client.loop

    def broken(self, timeout=1.0):
        monkeypatch.setattr(paho.Client, "loop", real)
        raise ValueError("paho broke")

    monkeypatch.setattr(paho.Client, "loop", broken)
    hub.client.publish("homie/5/kit-1/frame/ack/set", b"{}")  # wakes the loop
    assert "paho broke" in hub.wait_link(False).why
    hub.seen.clear()
    hub.wait_link(True)
    assert hub.client.counters.faults == 1
    assert not hub.client.taken_over


def test_death_of_the_network_thread_is_noticed_and_told(mosquitto, opened, monkeypatch):
    hub = opened(mosquitto.address)
    hub.wait_link(True)

    def end(self, timeout=1.0):
        raise SystemExit

    monkeypatch.setattr(paho.Client, "loop", end)
    hub.client.publish("homie/5/kit-1/frame/ack/set", b"{}")
    assert "ended for good" in hub.wait_link(False).why
    assert not hub.client.alive()
    assert not hub.client.up
    assert not hub.client.publish("homie/5/kit-1/heater/stop/set", b"{}")


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_hub_whose_session_is_taken_over_stays_away(mosquitto, opened, protocol):
    address = dataclasses.replace(mosquitto.address, protocol=protocol)
    first = opened(address, backoff_s=(0.05, 0.1))
    second = opened(address, backoff_s=(0.05, 0.1))
    assert "another hub signed in" in first.wait_link(False).why
    second.take(0.6)
    assert (first.client.taken_over, first.client.alive(), first.client.counters.sessions) == (True, False, 1)
    assert (second.client.up, second.client.counters.sessions) == (True, 1)


@pytest.mark.parametrize("cluster", [False, True])
def test_only_of_a_cluster_a_connection_that_just_ends_is_a_node_that_went(mosquitto, opened, cluster):
    front = Proxy(mosquitto.address.port)  # takes new connections at once, as what stands before a cluster does
    try:
        address = dataclasses.replace(mosquitto.address, port=front.port)
        hub = opened(address, backoff_s=(0.05, 0.1), cluster=cluster)
        front.reset()
        assert ("another hub signed in" in hub.wait_link(False).why) is not cluster
        hub.take(0.6)
        assert (hub.client.taken_over, hub.client.up) == (not cluster, cluster)
    finally:
        front.close()


def test_a_cluster_that_tells_a_take_over_is_believed(scripted, opened):
    broker = scripted(connack=b"\x20\x03\x00\x00\x00")
    lines = []

    def answer(line, kind, body):
        if kind == 8:  # SUBACK with no properties, then nothing granted but QoS 1 (MQTT 5.0, section 3.9)
            filters = body.count(b"homie/")
            line.sendall(bytes([0x90, 3 + filters]) + body[:2] + b"\0" + b"\1" * filters)
            lines.append(line)
        else:
            plain(line, kind, body)

    plain, broker._answer = broker._answer, answer
    hub = opened(dataclasses.replace(broker.address, protocol="5"), backoff_s=(0.05, 0.1), cluster=True)
    hub.wait_link(True)
    lines[0].sendall(b"\xe0\x02\x8e\x00")  # DISCONNECT, 0x8E "Session taken over" (section 3.14.2.1)
    assert "another hub signed in" in hub.wait_link(False).why
    hub.take(0.6)
    assert (hub.client.taken_over, hub.client.counters.sessions) == (True, 1)


def test_session_ended_by_a_broker_after_a_long_silence_is_no_take_over(scripted, opened):
    broker = scripted(pings=False)
    hub = opened(broker.address, keepalive_s=1, backoff_s=(0.05, 0.1))
    assert "stopped answering" in hub.wait_link(False, 6.0).why
    assert not hub.client.taken_over


def test_oversized_message_is_dropped_unread_and_counted(mosquitto, opened):
    hub = opened(mosquitto.address)
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/frame/ack/set"])
    kit.client.publish(FRAME, b"x" * 8193)
    kit.client.publish(FRAME, b"y" * 8192)
    assert hub.wait_for(lambda one: isinstance(one, Message)).payload == b"y" * 8192
    assert (hub.client.counters.oversized, hub.client.counters.oversized_topic) == (1, FRAME)


def test_full_inbox_loses_messages_by_count_and_nothing_else(mosquitto, opened):
    hub = opened(mosquitto.address, inbox=queue.Queue(2))
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/frame/ack/set"])
    for number in range(5):
        kit.client.publish(FRAME, b"%d" % number)
    until_s = time.monotonic() + 5
    while hub.client.counters.lost_in < 4 and time.monotonic() < until_s:
        time.sleep(0.01)
    assert hub.client.counters.lost_in == 4  # one place was the link note's
    assert hub.client.up


def test_message_without_a_session_is_refused_and_not_kept_for_later(mosquitto, opened):
    hub = opened(mosquitto.address, start=False)
    kit = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["homie/5/kit-1/heater/grant/set"])
    assert not hub.client.publish("homie/5/kit-1/heater/grant/set", b"stale")
    hub.client.start()
    assert hub.client.publish("homie/5/kit-1/heater/grant/set", b"fresh")
    kit.wait_for(lambda one: isinstance(one, Message))
    assert [one.payload for one in kit.messages()] == [b"fresh"]
    assert hub.client.counters.refused_out == 1


def test_message_before_the_subscription_stands_is_refused(scripted, opened):
    broker = scripted(suback=None)
    hub = opened(broker.address, start=False)
    hub.client.start(wait_s=0.2)
    assert not hub.client.up
    assert not hub.client.publish("homie/5/kit-1/heater/grant/set", b"early")
    time.sleep(0.05)
    assert broker.published == []


def test_messages_waiting_for_a_slow_broker_are_bounded(scripted, opened):
    hub = opened(scripted().address)
    taken = [hub.client.publish("homie/5/kit-1/frame/ack/set", b"{}") for _ in range(OUT_MAX + 5)]
    assert taken == [True] * OUT_MAX + [False] * 5
    assert hub.client.up


def test_account_that_may_not_read_is_told_so(scripted, opened):
    with pytest.raises(BrokerError, match="does not let user"):
        opened(scripted(suback=0x80).address)


def test_something_that_is_no_broker_is_told_as_such(scripted, opened):
    with pytest.raises(BrokerError, match="hung up without an answer"):
        opened(scripted(connack=b"\x00\x00").address)


def test_broker_that_knows_only_the_older_protocol_is_served_in_it(scripted, opened):
    # 0x84: "Unsupported Protocol Version" (MQTT 5.0, table 3-1); then the scripted broker answers as 3.1.1
    newer = scripted(connack=b"\x20\x03\x00\x84\x00")
    hub = opened(dataclasses.replace(newer.address, protocol="5"), start=False, backoff_s=(0.05, 0.1))
    real = newer._answer

    def answer(line, kind, body):
        if kind == 1 and body[6] == 4:  # protocol level 4 is MQTT 3.1.1 (its section 3.1.2.2)
            newer._connack = b"\x20\x02\x00\x00"
        real(line, kind, body)

    newer._answer = answer
    hub.client.start()
    assert hub.client.up


def test_stop_signs_off_and_says_so(mosquitto, opened):
    hub = opened(mosquitto.address)
    hub.client.stop()
    assert hub.take()[-1] == Link(False, "the hub signed off from the broker")
    assert not hub.client.alive()
