"""Topics against the list printed in the contract, and the way back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fiftyover_kit.contract import topics
from fiftyover_kit.contract.errors import ContractError

KIT = "yard-3f2a"
# The contract's list, word for word, with <kit> filled in.
PRINTED = {
    "homie/5/yard-3f2a/$state": topics.state(KIT),
    "homie/5/yard-3f2a/$description": topics.description(KIT),
    "homie/5/yard-3f2a/$alert/probe-2-open": topics.alert(KIT, "probe-2-open"),
    "homie/5/yard-3f2a/probe-1/temperature": topics.probe_temperature(KIT, 1),
    "homie/5/yard-3f2a/probe-9/status": topics.probe_status(KIT, 9),
    "homie/5/yard-3f2a/heater/state": topics.heater_state(KIT),
    "homie/5/yard-3f2a/heater/lease": topics.heater_lease(KIT),
    "homie/5/yard-3f2a/heater/armed": topics.heater_armed(KIT),
    "homie/5/yard-3f2a/heater/door": topics.heater_door(KIT),
    "homie/5/yard-3f2a/sys/reset-cause": topics.sys(KIT, "reset-cause"),
    "homie/5/yard-3f2a/frame/sample": topics.frame_sample(KIT),
    "homie/5/yard-3f2a/frame/backlog": topics.frame_backlog(KIT),
    "homie/5/yard-3f2a/frame/ack/set": topics.ack_set(KIT),
    "homie/5/yard-3f2a/heater/grant/set": topics.grant_set(KIT),
    "homie/5/yard-3f2a/heater/stop/set": topics.stop_set(KIT),
}
FROM_HUB = [topics.ack_set(KIT), topics.grant_set(KIT), topics.stop_set(KIT)]


def matches(pattern: str, topic: str) -> bool:
    """MQTT 3.1.1, section 4.7.1.3: `+` stands for exactly one level. (`#` is not used here.)"""
    wanted, given_ = pattern.split("/"), topic.split("/")
    return len(wanted) == len(given_) and all(w in ("+", g) for w, g in zip(wanted, given_, strict=True))


@pytest.mark.parametrize("printed", PRINTED)
def test_topic_is_as_printed_in_the_contract(printed) -> None:
    assert PRINTED[printed] == printed


@pytest.mark.parametrize("printed", PRINTED)
def test_kit_and_the_rest_come_back_from_a_topic(printed) -> None:
    kit, rest = topics.parse(printed)
    assert (kit, f"homie/5/{kit}/{rest}") == (KIT, printed)


@pytest.mark.parametrize("kit", ["+", KIT])
@pytest.mark.parametrize("printed", PRINTED)
def test_hub_hears_each_topic_of_a_kit_once_and_never_its_own(kit, printed) -> None:
    heard = [pattern for pattern in topics.hub_hears(kit) if matches(pattern, printed)]
    assert len(heard) == (0 if printed in FROM_HUB else 1)


def test_kit_hears_just_what_the_hub_says() -> None:
    assert topics.kit_hears(KIT) == FROM_HUB


def test_frames_and_the_hubs_messages_are_not_retained_the_rest_is() -> None:
    not_retained = [printed for printed in PRINTED if not topics.is_retained(topics.parse(printed)[1])]
    assert not_retained == [topics.frame_sample(KIT), topics.frame_backlog(KIT), *FROM_HUB]


@pytest.mark.parametrize(
    "kit", ["", "Yard", "yard/3", "yard 3", "+", "#", "$state", "yärd", "a" * 65, None, 7, b"yard"]
)
def test_an_id_that_breaks_topics_is_refused(kit) -> None:
    assert not topics.is_id(kit)
    for make in (topics.state, topics.frame_sample, topics.grant_set, topics.kit_hears):
        with pytest.raises(ContractError, match="kit id"):
            make(kit)


@pytest.mark.parametrize("number", [0, -1, 1.0, True, "1", None])
def test_a_probe_that_does_not_exist_has_no_topic(number) -> None:
    with pytest.raises(ContractError, match="probe number"):
        topics.probe_status(KIT, number)


def test_unknown_figure_and_bad_alert_are_refused() -> None:
    with pytest.raises(ContractError, match="sys/battery"):
        topics.sys(KIT, "battery")
    with pytest.raises(ContractError, match="alert id"):
        topics.alert(KIT, "a/b")


@given(st.text(max_size=60) | st.sampled_from(["homie/5/", "homie/5/k", "homie/5/k/", "homie/4/k/x", "homie/5/K/x"]))
def test_a_foreign_topic_is_refused(topic) -> None:
    with pytest.raises(ContractError, match="topic"):
        topics.parse(topic)
