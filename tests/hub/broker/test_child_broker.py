"""The hub's own broker as a child process: started, watched, ended; encrypted for the house."""

import dataclasses
import os
import re
import signal
import socket
import stat
import subprocess
import time

import psutil
import pytest

from fiftyover.broker import accounts, certificates, child, iotcore
from fiftyover.broker.accounts import Account
from fiftyover.broker.address import Address
from fiftyover.broker.child import ChildBroker
from fiftyover.broker.mosquitto import Listener
from fiftyover.broker.notes import Message
from fiftyover.broker.probe import accepts, free_port
from fiftyover.errors import BrokerError


@pytest.fixture(params=["mosquitto", "iotcore"])
def any_broker(request, tmp_path, needed):
    if request.param == "mosquitto":
        needed("mosquitto")
    one = ChildBroker(request.param, tmp_path / "broker", accounts.fresh("kit-1"))
    one.start()
    yield one
    one.stop()


def poll_until(broker, wait_s=5.0):
    until_s = time.monotonic() + wait_s
    while time.monotonic() < until_s:
        told = broker.poll()
        if told:
            return told
        time.sleep(0.01)
    raise AssertionError("the broker's death was not noticed")


def test_killed_child_is_started_again_on_its_port_and_serves(any_broker, opened):
    hub = opened(any_broker.address, backoff_s=(0.05, 0.2))
    hub.wait_link(True)
    before = any_broker.pid
    assert any_broker.poll() is None
    os.kill(before, signal.SIGKILL)
    assert "was started again" in poll_until(any_broker)
    assert any_broker.pid not in (None, before)
    hub.wait_link(False)
    hub.seen.clear()
    hub.wait_link(True)
    assert any_broker.restarts == 1


def test_child_that_dies_again_at_once_is_given_time(any_broker):
    os.kill(any_broker.pid, signal.SIGKILL)
    poll_until(any_broker)
    os.kill(any_broker.pid, signal.SIGKILL)
    time.sleep(0.05)
    assert any_broker.poll() is None  # the second start waits a second
    assert any_broker.pid is None


def test_stopped_child_frees_its_port_and_stays_stopped(any_broker):
    port = any_broker.address.port
    any_broker.stop()
    assert not accepts("127.0.0.1", port)
    assert any_broker.poll() is None
    assert free_port("127.0.0.1", port) == port


def test_child_lets_nobody_in_without_an_account(any_broker, opened):
    for user, secret in (("", ""), ("hub", "guess"), ("stranger", "guess")):
        with pytest.raises(BrokerError, match="name or password"):
            opened(dataclasses.replace(any_broker.address, user=user, secret=secret))


def test_ctrl_c_at_the_terminal_does_not_reach_the_broker(any_broker):
    assert os.getpgid(any_broker.pid) != os.getpgid(0)


def test_hub_taken_over_stays_away_whichever_broker_it_is(any_broker, opened):
    first = opened(any_broker.address, backoff_s=(0.05, 0.1))
    second = opened(any_broker.address, backoff_s=(0.05, 0.1))
    first.wait_link(False)
    second.take(0.3)
    assert (first.client.taken_over, first.client.counters.sessions, second.client.up) == (True, 1, True)


def test_child_opens_its_own_port_on_loopback_and_no_other(any_broker):
    listening = {
        (one.laddr.ip, one.laddr.port)
        for one in psutil.Process(any_broker.pid).net_connections("inet")
        if one.status == psutil.CONN_LISTEN
    }
    assert listening == {("127.0.0.1", any_broker.address.port)}


def test_files_of_the_child_are_its_owners_only(any_broker):
    modes = {one.name: stat.S_IMODE(one.stat().st_mode) for one in any_broker.folder.iterdir()}
    assert {"broker.log"} < set(modes)
    assert [name for name, mode in modes.items() if mode & 0o077 and name != "mosquitto.pid"] == []


@pytest.mark.parametrize("kind", ["mosquitto", "iotcore"])
def test_port_in_use_is_a_sentence(tmp_path, kind):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(BrokerError, match=f"port {port} on 127.0.0.1 is in use by another program"):
            ChildBroker(kind, tmp_path, accounts.fresh(), port=port).start()


def test_broker_left_behind_by_a_killed_hub_is_ended_at_the_next_start(tmp_path, needed):
    needed("mosquitto")
    code = (
        "import sys, os; from pathlib import Path; from fiftyover.broker import accounts; "
        "from fiftyover.broker.child import ChildBroker; "
        "print(ChildBroker('mosquitto', Path(sys.argv[1]), accounts.fresh()).start().port, flush=True); "
        "os.kill(os.getpid(), 9)"
    )
    done = subprocess.run([os.sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=False)
    port = int(done.stdout)
    assert accepts("127.0.0.1", port)
    successor = ChildBroker("mosquitto", tmp_path, accounts.fresh(), port=port)
    try:
        assert successor.start().port == port
    finally:
        successor.stop()


def test_iotcore_ends_with_its_hub(tmp_path):
    broker = ChildBroker("iotcore", tmp_path, accounts.fresh())
    port = broker.start().port
    broker._process.stdin.close()  # what the kernel does when the hub is gone
    assert broker._process.wait(5) == 0
    assert not accepts("127.0.0.1", port)
    broker.stop()


def test_broker_is_mosquitto_where_it_is_installed_else_iotcore_else_a_sentence(monkeypatch):
    monkeypatch.setattr(child.mosquitto, "program", lambda: "/usr/sbin/mosquitto")
    assert child.chosen() == "mosquitto"
    monkeypatch.setattr(child.mosquitto, "program", lambda: None)
    assert child.chosen() == "iotcore"
    monkeypatch.setattr(child.iotcore, "installed", lambda: False)
    with pytest.raises(BrokerError, match="install mosquitto"):
        child.chosen()


def test_iotcore_is_never_opened_to_the_house(tmp_path):
    with pytest.raises(BrokerError, match="no access list"):
        ChildBroker("iotcore", tmp_path, accounts.fresh(), outside=Listener("0.0.0.0", 8883))
    assert 'listen = "127.0.0.1:1"' in iotcore.configuration([Account("hub", 'a"b')], 1)
    assert '"hub" = "a\\"b"' in iotcore.configuration([Account("hub", 'a"b')], 1)


def test_configuration_that_mosquitto_refuses_is_told_with_its_own_words(tmp_path, monkeypatch, needed):
    needed("mosquitto")
    monkeypatch.setattr(child.mosquitto, "PACKET_MAX_BYTES", "many")
    with pytest.raises(BrokerError, match="mosquitto ended at its start: .*"):
        ChildBroker("mosquitto", tmp_path, accounts.fresh()).start()


@pytest.fixture
def encrypted(tmp_path, needed):
    needed("mosquitto")
    needed("openssl")
    folder = tmp_path / "broker"
    certificates.make(folder, ["localhost", "127.0.0.1"])
    outside = Listener(
        "127.0.0.1", free_port("127.0.0.1"), folder / certificates.SERVER, folder / certificates.SERVER_KEY
    )
    one = ChildBroker("mosquitto", folder, accounts.fresh("kit-1"), outside=outside)
    one.start()
    yield one, outside.port
    one.stop()


def test_kit_reaches_the_encrypted_listener_and_the_hub_hears_it(encrypted, opened):
    broker, port = encrypted
    hub = opened(broker.address)
    secret = accounts.secret_of(broker.accounts, "kit-1")
    outer = Address("localhost", port, "kit-1", secret, tls=True, ca=str(broker.folder / certificates.CA))
    for protocol in ("5", "3.1.1"):
        kit = opened(dataclasses.replace(outer, protocol=protocol), filters=["homie/5/kit-1/frame/ack/set"])
        kit.client.publish("homie/5/kit-1/frame/sample", protocol.encode())
        hub.wait_for(lambda one, protocol=protocol: isinstance(one, Message) and one.payload == protocol.encode())
        kit.client.stop()


# paho 2.2.0 leaves the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_broker_with_another_authority_or_name_is_not_trusted(encrypted, opened, tmp_path):
    broker, port = encrypted
    certificates.make(tmp_path / "other", ["localhost"])
    ours, other = str(broker.folder / certificates.CA), str(tmp_path / "other" / certificates.CA)
    secret = accounts.secret_of(broker.accounts, "kit-1")
    cases = (
        ("localhost", other, "certificate that is not to be trusted"),
        ("127.0.0.2", ours, "certificate that is not to be trusted|cannot be reached"),
        ("localhost", str(tmp_path / "none.crt"), "certificate file named by ca does not exist"),
    )
    for host, ca, sentence in cases:
        held = opened(Address(host, port, "kit-1", secret, tls=True, ca=ca))
        held.wait_link(False)
        assert re.search(sentence, held.client.why), held.client.why
        assert not held.client.up
        held.client.stop()


# paho 2.2.0 leaves the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_plain_talk_to_the_encrypted_listener_and_the_other_way_round_are_refused(encrypted, opened):
    broker, port = encrypted
    with pytest.raises(BrokerError, match="hung up"):
        opened(dataclasses.replace(broker.address, port=port))
    held = opened(dataclasses.replace(broker.address, tls=True, ca=str(broker.folder / certificates.CA)))
    assert "check port and tls" in held.wait_link(False).why
