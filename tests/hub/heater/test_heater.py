"""The sole publisher of heat. Expected numbers are worked by hand from the contract's text."""

import pytest

from fiftyover.errors import HubError
from fiftyover.heater import Heater
from fiftyover.store.frames import DatedFrame
from fiftyover_kit.contract import messages
from fiftyover_kit.contract.errors import ContractError

BOOT = "9f3c1a02b7e4"
GRANT = "homie/5/kit-1/heater/grant/set"
STOP = "homie/5/kit-1/heater/stop/set"


class Wire:
    """What was handed to the broker; `taken` False: there is no session."""

    def __init__(self):
        self.sent = []
        self.taken = True

    def publish(self, topic, payload, qos, retain):
        if self.taken:
            self.sent.append((topic, payload, qos, retain))
        return self.taken

    def grants(self):
        return [messages.decode_grant(payload) for topic, payload, *_ in self.sent if topic == GRANT]

    def stops(self):
        return [messages.decode_stop(payload) for topic, payload, *_ in self.sent if topic == STOP]


def frame(seq=1204, at_s=100.0, **other):
    values = {"kit": "kit-1", "boot": BOOT, "seq": seq, "up_ms": 123300, "utc_ms": 0, "at_s": at_s, "t": [60.0]}
    return DatedFrame(**{**values, "s": ["ok"], "on": 0, "duty": 0.0, "why": "off", "live": True, **other})


@pytest.fixture
def wire():
    return Wire()


@pytest.fixture
def heater(wire):
    made = Heater("c01d", 1, wire.publish)
    made.set_caps("kit-1", kit_cap_degC=107.2, process_cap_degC=82.2)
    return made


def test_grant_is_the_contracts_message_not_retained(heater, wire):
    assert heater.grant("kit-1", frame(), 0.42, 101.0) is None
    # seq: run 1 × 65536 + 1
    want = {"v": 1, "hub": "c01d", "boot": BOOT, "seq": 65537, "up": 123300, "ttl": 15, "duty": 0.42}
    assert wire.grants() == [want]
    assert wire.sent[0][2:] == (0, False)


def test_output_of_nought_is_a_grant_like_any_other(heater, wire):
    assert heater.grant("kit-1", frame(), 0.0, 101.0) is None
    assert wire.grants()[0]["duty"] == 0


def test_each_grant_is_newer_and_a_restarted_hub_is_newer_still(heater, wire):
    for seq in range(3):
        heater.grant("kit-1", frame(seq=seq), 0.1, 101.0)
    later = Heater("c01d", 2, wire.publish)
    later.set_caps("kit-1", 107.2, 82.2)
    later.grant("kit-1", frame(seq=3), 0.1, 101.0)
    assert [one["seq"] for one in wire.grants()] == [65537, 65538, 65539, 131073]


def test_decision_is_never_granted_twice(heater, wire):
    heater.grant("kit-1", frame(seq=7), 0.5, 101.0)
    assert "decided on before" in heater.grant("kit-1", frame(seq=7), 0.5, 102.0)
    assert "decided on before" in heater.grant("kit-1", frame(seq=6), 0.5, 102.0)
    assert heater.grant("kit-1", frame(seq=8), 0.5, 102.0) is None
    assert len(wire.grants()) == 2


def test_decision_whose_grant_was_lost_is_not_granted_later(heater, wire):
    wire.taken = False
    assert "not delivered" in heater.grant("kit-1", frame(seq=7), 0.5, 101.0)
    wire.taken = True
    assert "decided on before" in heater.grant("kit-1", frame(seq=7), 0.5, 102.0)
    assert wire.sent == []
    assert heater.counters.undelivered == 1


@pytest.mark.parametrize(
    ("now_s", "sent"), [(100.0, True), (105.0, True), (105.01, False), (99.5, True), (98.9, False)]
)
def test_reading_older_than_5_s_or_from_the_future_is_no_ground_for_heat(heater, wire, now_s, sent):
    told = heater.grant("kit-1", frame(at_s=100.0), 0.5, now_s)
    assert (told is None, len(wire.grants())) == (sent, int(sent))


def test_backlog_and_another_kits_frames_are_no_ground_for_heat(heater, wire):
    assert "needs a live frame" in heater.grant("kit-1", frame(live=False), 0.5, 101.0)
    assert "needs a live frame" in heater.grant("kit-1", frame(kit="kit-2"), 0.5, 101.0)
    assert wire.sent == []
    assert heater.counters.refused == 2


def test_restarted_kit_counts_its_frames_anew(heater, wire):
    heater.grant("kit-1", frame(seq=5000), 0.5, 101.0)
    assert heater.grant("kit-1", frame(seq=0, boot="0123456789ab"), 0.5, 102.0) is None
    assert "decided on before" in heater.grant("kit-1", frame(seq=5000), 0.5, 102.0)


@pytest.mark.parametrize("duty", [-0.01, 1.01, float("nan"), float("inf"), None])
def test_output_outside_nought_to_one_never_gets_out(heater, wire, duty):
    with pytest.raises(ContractError):
        heater.grant("kit-1", frame(), duty, 101.0)
    assert wire.sent == []


# 225 °F is 107.22 °C; 5 °F is 2.78 K: a limit of 220 °F (104.44 °C) just passes, 221 °F (105.00 °C) does not.
@pytest.mark.parametrize(("process_degC", "passes"), [(82.2, True), (104.44, True), (105.0, False), (110.0, False)])
def test_smoker_limit_has_to_lie_5_degF_below_the_kits_own(wire, process_degC, passes):
    heater = Heater("c01d", 1, wire.publish)
    trouble = heater.set_caps("kit-1", kit_cap_degC=107.222, process_cap_degC=process_degC)
    told = heater.grant("kit-1", frame(), 0.5, 101.0)
    assert (trouble is None, told is None, len(wire.sent)) == (passes, passes, int(passes))
    if not passes:
        assert "must lie 5 °F or more below the cut-off of kit kit-1, 225 °F (107.2 °C)" in told


def test_unknown_limit_is_no_heat(wire):
    heater = Heater("c01d", 1, wire.publish)
    assert "has not said its own limit" in heater.grant("kit-1", frame(), 0.5, 101.0)
    heater.set_caps("kit-1", kit_cap_degC=107.2)
    assert "no smoker limit is set" in heater.grant("kit-1", frame(), 0.5, 101.0)
    assert wire.sent == []


@pytest.mark.parametrize("cap_degC", [float("nan")])
def test_limit_that_is_no_number_is_no_heat(wire, cap_degC):
    heater = Heater("c01d", 1, wire.publish)
    heater.set_caps("kit-1", kit_cap_degC=cap_degC, process_cap_degC=82.2)
    assert heater.grant("kit-1", frame(), 0.5, 101.0) is not None
    heater.set_caps("kit-1", kit_cap_degC=107.2, process_cap_degC=cap_degC)
    assert heater.grant("kit-1", frame(), 0.5, 101.0) is not None
    assert wire.sent == []


def test_decision_is_due_at_once_and_then_every_5_s(heater):
    assert heater.due("kit-1", 101.0)
    heater.grant("kit-1", frame(), 0.5, 101.0)
    assert [heater.due("kit-1", now_s) for now_s in (101.0, 105.9, 106.0)] == [False, False, True]


def test_stop_is_the_contracts_message_and_newer_than_any_grant(heater, wire):
    heater.hear(frame(), 100.5)
    heater.grant("kit-1", frame(), 0.5, 101.0)
    assert heater.stop("kit-1", BOOT, 101.5) is None
    assert wire.stops() == [{"v": 1, "hub": "c01d", "boot": BOOT, "seq": 65538}]
    assert wire.sent[-1][2:] == (1, False)


def test_decision_on_its_way_when_the_stop_came_is_not_granted(heater, wire):
    heater.stop("kit-1", BOOT, 101.0)
    assert "a cook has to resume it" in heater.grant("kit-1", frame(seq=9, at_s=101.5), 0.5, 102.0)
    assert wire.grants() == []
    heater.resume("kit-1")
    assert heater.grant("kit-1", frame(seq=10, at_s=102.0), 0.5, 102.5) is None


def test_stop_of_a_kit_out_of_reach_sends_the_person_to_the_smoker(heater, wire):
    assert heater.stop("kit-1", BOOT, 101.0) == "not delivered: go to the smoker"  # never heard
    heater.hear(frame(at_s=101.0), 101.0)
    assert heater.stop("kit-1", BOOT, 106.1) == "not delivered: go to the smoker"  # silent for longer than 5 s
    wire.taken = False
    heater.hear(frame(seq=1300, at_s=107.0), 107.0)
    assert heater.stop("kit-1", BOOT, 107.5) == "not delivered: go to the smoker"  # no session
    assert heater.stopped("kit-1")


def test_stop_of_a_kit_whose_boot_is_unknown_is_sent_once_it_is_heard(heater, wire):
    assert heater.stop("kit-1", "", 101.0) == "not delivered: go to the smoker"
    assert wire.stops() == []
    heater.hear(frame(at_s=102.0), 102.0)
    assert heater.stop_again("kit-1", 102.1) is None
    assert [one["boot"] for one in wire.stops()] == [BOOT]


def test_stop_goes_again_every_5_s_until_the_kit_shows_the_element_off(heater, wire):
    heater.hear(frame(at_s=100.0), 100.0)
    heater.stop("kit-1", BOOT, 101.0)
    heater.hear(frame(seq=1300, at_s=100.9), 101.1)  # read before the stop, though it shows the element off
    assert not heater.stop_seen("kit-1")
    heater.hear(frame(seq=1305, at_s=105.0, on=1, duty=0.5, why="on"), 105.0)
    heater.hear(frame(seq=1306, at_s=105.2, on=0, duty=0.5, why="on"), 105.2)  # off only between two pulses
    assert heater.stop_again("kit-1", 105.9) is None
    assert len(wire.stops()) == 1
    assert heater.stop_again("kit-1", 106.0) is None
    heater.hear(frame(seq=1307, at_s=106.5), 106.5)
    assert heater.stop_seen("kit-1")
    heater.stop_again("kit-1", 120.0)
    assert [one["seq"] for one in wire.stops()] == [65537, 65538]
    assert heater.stopped("kit-1")


def test_unconfirmed_stop_of_a_kit_that_went_silent_keeps_saying_so(heater):
    heater.hear(frame(at_s=100.0), 100.0)
    assert heater.stop("kit-1", BOOT, 101.0) is None
    assert heater.stop_again("kit-1", 105.5) == "not delivered: go to the smoker"


def test_used_up_counter_stops_heat_until_a_new_run(wire):
    heater = Heater("c01d", 1, wire.publish)
    heater.set_caps("kit-1", 107.2, 82.2)
    heater._numbers._count = 65534
    assert heater.grant("kit-1", frame(seq=1), 0.5, 101.0) is None
    assert heater.needs_run
    assert "new run number" in heater.grant("kit-1", frame(seq=2), 0.5, 101.0)
    heater.new_run(2)
    assert heater.grant("kit-1", frame(seq=3), 0.5, 101.0) is None
    assert [one["seq"] for one in wire.grants()] == [131071, 131073]


def test_run_that_is_not_newer_or_does_not_fit_is_refused(wire):
    heater = Heater("c01d", 16383, wire.publish)  # 16383 × 65536 + 65535 is 2^30 - 1
    heater.set_caps("kit-1", 107.2, 82.2)
    heater._numbers._count = 65534
    heater.grant("kit-1", frame(), 0.5, 101.0)
    assert wire.grants()[0]["seq"] == 2**30 - 1
    with pytest.raises(HubError, match="not newer"):
        heater.new_run(16383)
    with pytest.raises(HubError, match="more than a permit's number can hold"):
        heater.new_run(16384)


def test_standby_rides_on_a_grant_when_asked_for(heater, wire):
    wish = {"batch": "7f2c", "degC": 66.0, "s": 14400}
    assert heater.grant("kit-1", frame(), 0.5, 101.0, standby=wish) is None
    assert wire.grants()[0]["standby"] == wish
