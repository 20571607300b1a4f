"""Who may say and hear what, judged at the receiver behind a real mosquitto."""

import itertools
import time

import pytest

from fiftyover.broker import accounts
from fiftyover.broker.accounts import Account
from fiftyover.broker.child import ChildBroker
from fiftyover.broker.notes import Message
from fiftyover.errors import BrokerError

USERS = ("hub", "kit-1", "kit-2")
# Written down from the contract's list of topics, by hand: below the kit's name, who writes, and who else hears it.
KIT_SAYS = ("$state", "$description", "$alert/door", "probe-1/temperature", "heater/state", "sys/cap", "frame/sample")
HUB_SAYS = ("frame/ack/set", "heater/grant/set", "heater/stop/set")
NOBODY_SAYS = ("homie/5/kit-9/$state", "homie/4/kit-1/$state", "homeassistant/kit-1", "frame/sample", "homie/5/x")


def topics_of_the_matrix():
    told = [f"homie/5/{kit}/{rest}" for kit in ("kit-1", "kit-2") for rest in (*KIT_SAYS, *HUB_SAYS)]
    return [*told, *NOBODY_SAYS]


def may_write(user, topic):
    if user == "hub":
        return topic.startswith("homie/5/kit-") and topic.endswith("/set")
    return topic.startswith(f"homie/5/{user}/") and topic.split("/", 3)[3] in KIT_SAYS


def may_read(user, topic):
    if user == "hub":
        return topic.startswith("homie/")
    return topic in {f"homie/5/{user}/{rest}" for rest in HUB_SAYS}


def test_matrix_of_accounts_topics_and_retain_has_no_wrong_delivery(mosquitto, opened):
    held = {user: opened(mosquitto.address_for(user), user, filters=["#"]) for user in USERS}
    expected = {user: set() for user in USERS}
    for writer, topic, retain in itertools.product(USERS, topics_of_the_matrix(), (False, True)):
        payload = f"{writer} {topic} {retain}".encode()
        held[writer].client.publish(topic, payload, qos=1, retain=retain)
        for reader in USERS:
            if may_write(writer, topic) and may_read(reader, topic):
                expected[reader].add(payload)
    assert {len(one) for one in expected.values()} == {6, 40}  # 2 × (3 to a kit; 2 × 7 from kits and 2 × 3 echoed)
    assert delivered(held, expected) == expected


def delivered(held, expected):
    """What each one got, a quarter of a second after the last that had to come."""
    until_s = time.monotonic() + 10
    for user, one in held.items():
        while len(one.messages()) < len(expected[user]) and time.monotonic() < until_s:
            one.take(0.05)
    return {
        user: {message.payload for message in one.take(0.25) if isinstance(message, Message)}
        for user, one in held.items()
    }


def test_sounder_hears_the_house_alarm_and_nothing_else_and_says_nothing(tmp_path, needed, opened):
    needed("mosquitto")
    told = accounts.kept(tmp_path / "accounts", "kit-1", sounder=True)
    assert [one.user for one in told] == ["hub", "kit-1", "sounder"]
    child = ChildBroker("mosquitto", tmp_path / "broker", told)
    child.start()
    try:
        sounder = opened(child.address_for("sounder"), "sounder", filters=["#"])
        hub = opened(child.address_for("hub"), "hub", filters=["#"])
        kit = opened(child.address_for("kit-1"), "kit-1", filters=["#"])
        for one in (sounder, hub, kit):
            one.wait_link(True)
        for topic in ("homie/5/kit-1/heater/stop/set", "fiftyover/sounder/state", "homie/5/kit-1/heater/grant/set"):
            sounder.client.publish(topic, b"from the sounder")
        kit.client.publish("fiftyover/sounder/state", b"from the kit")
        hub.client.publish("homie/5/kit-1/heater/stop/set", b"{}")
        hub.client.publish("fiftyover/sounder/state", b"on", 1, True)
        sounder.wait_for(lambda one: isinstance(one, Message))
        sounder.take(0.25)
        assert [(one.topic, one.payload) for one in sounder.messages()] == [("fiftyover/sounder/state", b"on")]
        kit.take(0.1)
        assert [one.payload for one in kit.messages()] == [b"{}"]
    finally:
        child.stop()


def test_what_one_kit_keeps_retained_is_not_given_to_another(mosquitto, opened):
    first = opened(mosquitto.address_for("kit-1"), "kit-1", filters=["#"])
    first.client.publish("homie/5/kit-1/$state", b"ready", qos=1, retain=True)
    first.client.publish("homie/5/kit-2/heater/grant/set", b"heat", qos=1, retain=True)
    time.sleep(0.1)
    second = opened(mosquitto.address_for("kit-2"), "kit-2", filters=["#", "homie/5/kit-1/$state"])
    second.take(0.25)
    assert second.messages() == []


def test_kit_that_takes_the_hubs_client_id_does_not_throw_it_off(mosquitto, opened):
    hub = opened(mosquitto.address, "c01d")
    kit = opened(mosquitto.address_for("kit-1"), "c01d", filters=["homie/5/kit-1/frame/ack/set"])
    hub.take(0.2)
    assert (hub.client.up, kit.client.up, hub.client.counters.sessions) == (True, True, 1)


def test_hash_is_the_one_mosquitto_checks_for_any_secret(tmp_path, needed, opened):
    needed("mosquitto")
    from fiftyover.broker.child import ChildBroker

    odd = [Account("hub", "naïve: $7$ päss wörd"), Account("kit-1", "x")]
    broker = ChildBroker("mosquitto", tmp_path, odd)
    broker.start()
    try:
        assert opened(broker.address).client.up
    finally:
        broker.stop()


def test_no_two_installs_and_no_two_accounts_share_a_secret(tmp_path):
    made = [*accounts.kept(tmp_path / "a", "kit-1"), *accounts.kept(tmp_path / "b", "kit-1"), *accounts.fresh("kit-1")]
    assert len({one.secret for one in made}) == 6
    assert min(len(one.secret) for one in made) >= 32  # 24 random bytes in base64


def test_same_secret_hashed_twice_looks_different():
    one = Account("hub", "same")
    assert accounts.password_lines([one]) != accounts.password_lines([one])
    assert "same" not in accounts.password_lines([one])


def test_kept_accounts_stay_and_another_kit_joins(tmp_path):
    first = accounts.kept(tmp_path, "kit-1")
    again = accounts.kept(tmp_path, "kit-2")
    assert [one.user for one in again] == ["hub", "kit-1", "kit-2"]
    assert again[:2] == first


@pytest.mark.parametrize("name", ["hub", "Kit", "kit/1", "+", "#", "", "a b", "kit\ntopic readwrite #", "x" * 65])
def test_name_that_would_widen_rights_is_no_kit(tmp_path, name):
    with pytest.raises(BrokerError, match="cannot be a kit's name"):
        accounts.kept(tmp_path, name)


def test_secret_of_an_unknown_kit_names_the_remedy():
    with pytest.raises(BrokerError, match="fiftyover setup --kit kit-7"):
        accounts.secret_of(accounts.fresh(), "kit-7")


def test_secrets_do_not_show_when_an_account_is_printed():
    one = accounts.fresh()[0]
    assert one.secret not in repr(one)
