"""settings.json of the kit: each wrong key is named, in one sentence that says what to do."""

import json

import pytest

from fiftyover_kit import settings
from fiftyover_kit.contract.limits import KIT_CAP_DEFAULT_DEGC
from fiftyover_kit.settings import KitError
from firmware.kit_rig import channel, settings_text


def without(key):
    given = json.loads(settings_text())
    del given[key]
    return json.dumps(given)


def refusal(text):
    with pytest.raises(KitError) as caught:
        settings.load(text)
    message = str(caught.value)
    assert "\n" not in message
    assert message.endswith((".", "?"))
    return message


def test_only_cap_hub_and_second_chamber_probe_have_defaults():
    given = settings.load(settings_text())
    assert (given.cap_degC, given.hub, given.chamber_2) == (KIT_CAP_DEFAULT_DEGC, "", None)
    for key in ("kit", "relay", "wifi", "broker", "pins", "channels"):
        assert f"{key!r} is missing" in refusal(without(key))


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"chanels": []}, "'chanels' is not a key, did you mean 'channels'?"),
        ({"cap_degF": 200}, "did you mean 'cap_degC'?"),
        ({"kit": "Kit 1"}, "kit is 'Kit 1'"),
        ({"kit": ""}, "kit is ''"),
        ({"hub": "UPPER"}, "hub is 'UPPER'"),
        ({"hub": None}, "hub is None"),
        ({"relay": "ssr"}, "relay is 'ssr', it must be one of mechanical, solid-state"),
        ({"wifi": {"ssid": "yard"}}, "wifi: 'password' is missing"),
        ({"wifi": {"ssid": "yard", "pasword": "x"}}, "did you mean 'password'?"),
        ({"wifi": {"ssid": 5, "password": "x"}}, "wifi.ssid is 5"),
        ({"broker": {"host": "x"}}, "broker: 'port' is missing"),
        ({"pins": []}, "pins must be an object"),
        ({"chamber_2": 0}, "chamber_2 is 0"),
        ({"chamber_2": 9}, "chamber_2 is 9, it must be a whole number 1 to 8"),
        ({"chamber_2": True}, "chamber_2 is True"),
        ({"channels": [channel(0)]}, "must list 2 to 31 probes"),
        ({"channels": [channel(n) for n in range(32)]}, "must list 2 to 31 probes"),
        ({"channels": {"0": channel(0)}}, "must list 2 to 31 probes"),
        ({"channels": [channel(0), channel(0)]}, "input 0 is used twice"),
        ({"channels": [channel(0), 5]}, "channels[1] must be an object"),
    ],
)
def test_wrong_key_is_named(changed, named):
    assert named in refusal(settings_text(**changed))


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"series_ohm": 0}, "channels[1].series_ohm is 0"),
        ({"series_ohm": "22k"}, "channels[1].series_ohm is '22k'"),
        ({"input": -1}, "channels[1].input is -1"),
        ({"input": 1.0}, "channels[1].input is 1.0"),
        ({"calibrated": 1}, "channels[1].calibrated is 1"),
        ({"offset": 1}, "channels[1]: 'offset' is not a key"),
        ({"thermistor": {"point": []}}, "'point' is no kind, did you mean 'points'?"),
        ({"thermistor": {}}, "must be an object with one of: points, coefficients, maker, beta"),
        ({"thermistor": {"beta": [1, 2], "points": []}}, "must be an object with one of"),
        ({"thermistor": "NTC100K"}, "must be an object with one of"),
        ({"thermistor": {"beta": 3950}}, "channels[1].thermistor.beta is 3950"),
        ({"thermistor": {"beta": [100000]}}, "thermistor.beta is [100000]"),
        ({"thermistor": {"beta": [100000, "x"]}}, "channels[1].thermistor: "),
        ({"thermistor": {"points": [[0, 1], [50, 2], [100, 3]]}}, "do not fall"),
        ({"thermistor": {"points": 7}}, "thermistor.points is 7"),
        ({"thermistor": {"points": [1, 2, 3]}}, "thermistor.points is [1, 2, 3]"),
    ],
)
def test_wrong_channel_is_named_with_its_place(changed, named):
    assert named in refusal(settings_text(channels=[channel(0), channel(1) | changed]))


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"port": 0}, "broker.port is 0"),
        ({"port": "1883"}, "broker.port is '1883'"),
        ({"tls": "no"}, "broker.tls is 'no'"),
        ({"host": None}, "broker.host is None"),
    ],
)
def test_wrong_broker_is_named(changed, named):
    broker = json.loads(settings_text())["broker"] | changed
    assert named in refusal(settings_text(broker=broker))


@pytest.mark.parametrize("cap", [107.3, 225, 1e9, float("inf"), float("nan"), True, "107", None])
def test_nothing_raises_the_cap_over_225_degF(cap):
    assert "nothing raises it" in refusal(settings_text(cap_degC=cap))


def test_cap_may_be_lower_but_not_absurd():
    assert settings.load(settings_text(cap_degC=93.3)).cap_degC == 93.3
    assert "cap_degC is 5" in refusal(settings_text(cap_degC=5))


@pytest.mark.parametrize("text", ["", "{", "[1,2]", "null", settings_text()[:-3], "\x00", "[" * 100_000])
def test_text_that_is_not_an_object_is_refused(text):
    assert "settings.json" in refusal(text)


@pytest.mark.parametrize(
    "curve",
    [
        {"points": [[0, 326600], [50, 35830], [100, 6710]]},
        {"coefficients": [8.122682e-04, 2.112614e-04, 7.173679e-08]},  # Semitec 104GT-2, from our thermistor study
        {"maker": [10000, 3.354016e-03, 2.569850e-04, 2.620131e-06, 6.383091e-08]},  # Vishay doc 29049, 3977 K
        {"beta": [100000, 4267]},
    ],
)
def test_every_kind_of_thermistor_gives_a_curve(curve):
    given = settings.load(settings_text(channels=[channel(0, thermistor=curve), channel(1)]))
    assert given.channels[0].thermistor.degC(given.channels[0].thermistor.ohms(60.0)) == pytest.approx(60.0, abs=1e-6)


def test_nearest_name_is_the_one_with_the_fewest_changed_letters():
    assert settings.nearest("brokr", ("kit", "broker", "relay")) == "broker"
    assert settings.nearest("RELAYS", ("kit", "broker", "relay")) == "relay"
