"""With which account the hub announces, and that without one it goes on as if nothing were."""

import os
import queue
import time

import pytest

from fiftyover.announce import announcer, announcer_address, announcing
from fiftyover.broker import accounts, iotcore, mosquitto
from fiftyover.broker.address import Address
from fiftyover.broker.child import ChildBroker
from fiftyover.broker.client import BrokerClient
from fiftyover.errors import BrokerError
from fiftyover.settings import AnnounceSettings, BrokerSettings, Settings


@pytest.fixture
def folder(tmp_path):
    """Accounts as setup makes them for a house with home-automation software."""
    accounts.kept(tmp_path / "accounts", "kit-1", house=True)
    return tmp_path


def child(kind, folder, told):
    """A broker of the hub's own that runs already."""
    broker = ChildBroker(kind, folder, told)
    broker._address = Address("127.0.0.1", 1, "hub", accounts.secret_of(broker.accounts, "hub"))
    return broker


def test_a_broker_of_the_hubs_own_has_an_account_for_it_and_mosquitto_only(folder):
    told = accounts.kept(folder / "accounts")
    own = child("mosquitto", folder, told)
    address = announcer_address(Settings(), own, own.address)
    assert (address.user, address.secret) == ("hub_announcer", (folder / "accounts/hub_announcer").read_text().strip())
    without = child("mosquitto", folder, [one for one in told if one.user != "hub_announcer"])
    with pytest.raises(BrokerError, match="fiftyover setup --home-automation"):
        announcer_address(Settings(), without, without.address)
    open_to_all = child("iotcore", folder, told)
    with pytest.raises(BrokerError, match="no access list"):
        announcer_address(Settings(), open_to_all, open_to_all.address)


def test_a_broker_without_an_access_list_lets_nobody_in_who_is_to_look_only(folder):
    text = iotcore.configuration(accounts.kept(folder / "accounts"), 1883)
    users = [line.split('"')[1] for line in text.split("connections.auth]")[1].splitlines() if line]
    assert users == ["hub", "kit-1"]


def test_at_another_hands_broker_it_signs_in_as_the_settings_say(folder):
    announce = AnnounceSettings(True, "looker", folder / "accounts/hub_announcer")
    hub = Address("broker.lan", 8883, "hub", "secret of the hub", True, "ca.pem")
    address = announcer_address(Settings(broker=BrokerSettings(user="hub"), announce=announce), None, hub)
    assert address == hub.as_user("looker", (folder / "accounts/hub_announcer").read_text().strip())


def test_without_an_account_the_hub_goes_on_and_says_so(tmp_path):
    told = []

    def none():
        raise BrokerError("the broker has no account for it")

    with announcing(Settings(announce=AnnounceSettings(True)), none, "c01d", tmp_path, told.append):
        pass
    assert told == ["Home-automation software is not told of the kits: the broker has no account for it."]
    with announcing(Settings(), none, "c01d", tmp_path, told.append):  # off, nothing stands: no account is asked for
        pass
    assert len(told) == 1


def test_a_session_that_another_program_took_costs_the_announcement_only_and_is_said(folder, monkeypatch):
    if mosquitto.program() is None and os.environ.get("CI") != "true":
        pytest.skip("mosquitto is not installed here")
    monkeypatch.setattr(announcer, "DOWN_S", 0.0)
    broker, told = ChildBroker("mosquitto", folder, accounts.kept(folder / "accounts")), []
    address = broker.start()
    hub = BrokerClient(address, "c01d", queue.Queue())
    thief = BrokerClient(
        broker.address_for("hub_announcer"), "thief", queue.Queue(), filters=["homie/5/+/$description"]
    )
    try:
        hub.start()
        wanted = Settings(announce=AnnounceSettings(True))
        with announcing(wanted, lambda: broker.address_for("hub_announcer"), "c01d", folder, told.append):
            time.sleep(0.5)
            assert told == []
            thief.start()
            until_s = time.monotonic() + 5.0
            while not told and time.monotonic() < until_s:
                time.sleep(0.02)
            assert (hub.up, hub.counters.sessions) == (True, 1)
        assert len(told) == 1
        assert "another program signed in to the broker with its account" in told[0]
        assert "withdraws heat" not in told[0]
    finally:
        thief.stop()
        hub.stop()
        broker.stop()
