"""With which account the hub announces, and that without one it goes on as if nothing were."""

import pytest

from fiftyover.announce import announcer_address, announcing
from fiftyover.broker import accounts, iotcore
from fiftyover.broker.address import Address
from fiftyover.broker.child import ChildBroker
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

    with announcing(True, none, tmp_path, told.append):
        pass
    assert told == ["Home-automation software is not told of the kits: the broker has no account for it."]
    with announcing(
        False, none, tmp_path, told.append
    ):  # off, and nothing ever announced: not even an account is asked
        pass
    assert len(told) == 1
