"""hub.toml: what is understood, and the one sentence for what is not."""

from dataclasses import FrozenInstanceError, fields
from pathlib import Path

import pytest

from fiftyover import settings as settings_module
from fiftyover.errors import HubError, SettingsError
from fiftyover.settings import BrokerSettings, Settings, load, parse, password

FOLDER = Path("/somewhere")
FULL = """
[hub]
name = "yard"
units = "C-kg"
[broker]
host = "broker.lan"
port = 8883
user = "hub"
password_file = "secret/broker"
tls = true
ca = "/etc/ca.pem"
child = false
shared = true
cluster = true
[web]
host = "0.0.0.0"
port = 80
names = ["smoker.lan", "192.0.2.7"]
accounts_file = "accounts.json"
[store]
path = "data/record.sqlite"
reserve_mib = 2
[kit]
id = "kit-3f2a"
refrigerator = "kit-cold"
[cook]
lift_kelvin = 25
floor_degC = 54.5
cap_degC = 93.3
band_degC = [71.1, 72.8]
response_s = 600
relay = "solid-state"
element_watts = 800

[influx]
url = "http://127.0.0.1:8086"
org = "house"
bucket = "smoker"
token_file = "secret/influx"
ca = "/etc/ca.pem"
timeout_s = 5

[announce]
on = true
user = "hub_announcer"
password_file = "secret/announcer"
"""


def refusal(text: str) -> str:
    with pytest.raises(SettingsError) as caught:
        parse(text, FOLDER)
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.endswith((".", "?"))
    assert not sentence.endswith(("?.", ".."))
    return sentence


def test_every_key_is_read_with_its_type():
    got = parse(FULL, FOLDER)
    assert (got.hub.name, got.hub.units) == ("yard", "C-kg")
    assert (got.broker.host, got.broker.port, got.broker.user, got.broker.tls) == ("broker.lan", 8883, "hub", True)
    assert got.web.names == ("smoker.lan", "192.0.2.7")
    assert (got.store.reserve_mib, got.kit.id) == (2, "kit-3f2a")
    assert got.cook.lift_kelvin == 25.0
    assert isinstance(got.cook.lift_kelvin, float)
    assert (got.cook.band_degC, got.cook.element_watts, got.cook.relay) == ((71.1, 72.8), 800.0, "solid-state")


def test_full_example_names_every_setting_there_is():
    got = parse(FULL, FOLDER)
    for table in fields(Settings):
        written, default = getattr(got, table.name), getattr(Settings(), table.name)
        same = [one.name for one in fields(written) if getattr(written, one.name) == getattr(default, one.name)]
        assert same in ([], ["child"], ["smokers"]), f"[{table.name}] {same} keep their defaults in the example"


def test_relative_paths_lie_in_the_folder_of_the_file_and_absolute_ones_stay():
    got = parse(FULL, FOLDER)
    assert got.broker.password_file == FOLDER / "secret/broker"
    assert got.broker.ca == Path("/etc/ca.pem")
    assert got.store.path == FOLDER / "data/record.sqlite"
    assert parse("", FOLDER).store.path == FOLDER / "fiftyover.sqlite"


def test_empty_file_gives_loopback_only_and_no_child():
    got = parse("", FOLDER)
    assert (got.web.host, got.broker.host, got.broker.child) == ("127.0.0.1", "127.0.0.1", False)
    assert got.cook.lift_kelvin == pytest.approx(50 / 1.8, abs=0.01)  # 50 °F as a difference
    assert got.cook.band_degC == pytest.approx(((152 - 32) / 1.8, (155 - 32) / 1.8), abs=0.01)  # 152-155 °F


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[brokr]\nport = 1", ["[brokr]", "did you mean broker?"]),
        ("[broker]\nprot = 1", ["[broker] prot", "did you mean port?"]),
        ("[cook]\ncap_degF = 200", ["[cook] cap_degF", "did you mean cap_degC?"]),
        ("[kit]\nzzz = 1", ["[kit] zzz", "the settings here are id"]),
        ("broker = 3", ["[broker]", "must be a table"]),
        ("[broker]\nport = 70000", ["[broker] port = 70000", "between 0 and 65535"]),
        ("[broker]\nport = true", ["[broker] port", "a whole number"]),
        ("[broker]\nport = '1883'", ["[broker] port", "a whole number"]),
        ("[broker]\ntls = 1", ["[broker] tls", "true or false"]),
        ("[broker]\nport = 0", ["[broker] port = 0", "child = true"]),
        ("[broker]\nshared = true", ["[broker] shared", "[kit] id"]),
        ("[broker]\nhost = ' '", ["[broker] host", "empty"]),
        ("[broker]\nuser = 'hub'", ["[broker] user", "password_file"]),
        ("[broker]\npassword_file = 'x'", ["[broker] password_file", "user"]),
        ("[web]\nhost = '0.0.0.0'", ["[web] host", "without accounts", "fiftyover setup"]),
        ("[web]\nhost = 'smoker.lan'", ["[web] host", "without accounts"]),
        ("[store]\npath = ''", ["[store] path", "a path"]),
        ("[web]\nnames = 'a'", ["[web] names", "list"]),
        ("[web]\nnames = [1]", ["[web] names", "text in quotes"]),
        ("[hub]\nunits = 'K'", ["[hub] units", "F-lb, C-kg"]),
        ("[kit]\nid = 'a'\nrefrigerator = 'a'", ["[kit] refrigerator", "the small kit's name"]),
        ("[kit]\nid = 'Kit 1'", ["[kit] id", "a-z, 0-9"]),
        ("[cook]\ncap_degC = 225", ["[cook] cap_degC", "between 50 and 107.2 °C"]),  # °F typed as °C
        ("[cook]\ncap_degC = nan", ["[cook] cap_degC", "a number"]),
        ("[cook]\ncap_degC = inf", ["[cook] cap_degC", "a number"]),
        ("[cook]\nelement_watts = " + "9" * 400, ["[cook] element_watts", "a number"]),
        ("[cook]\nband_degC = [152.0, 155.0]", ["[cook] band_degC", "between 40 and 90 °C"]),
        ("[cook]\nband_degC = [68.0]", ["[cook] band_degC", "two rising"]),
        ("[cook]\nrelay = 'ssr'", ["[cook] relay", "mechanical, solid-state"]),
        ("x = ", ["hub.toml is not TOML"]),
        ("a = " + "[" * 5000, ["hub.toml is not TOML"]),
    ],
)
def test_what_cannot_be_used_is_named_in_one_sentence(text, named):
    sentence = refusal(text)
    for part in named:
        assert part in sentence


def test_settings_cannot_be_changed_afterwards():
    with pytest.raises(FrozenInstanceError):
        Settings().broker.port = 1


def test_missing_file_says_what_to_run(tmp_path):
    with pytest.raises(SettingsError, match=r"no settings file .*nowhere.toml: run `fiftyover setup`"):
        load(tmp_path / "nowhere.toml")


def test_file_that_cannot_be_read_is_a_sentence(tmp_path):
    (tmp_path / "hub.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(HubError, match="cannot be read .it is not UTF-8 text"):
        load(tmp_path / "hub.toml")
    with pytest.raises(SettingsError, match="cannot be read .Is a directory"):
        load(tmp_path)


def test_loaded_file_is_named_in_its_errors(tmp_path):
    path = tmp_path / "hub.toml"
    path.write_text("[web]\nprt = 1\n")
    with pytest.raises(SettingsError, match=str(path)):
        load(path)


def test_password_is_the_one_line_of_its_file(tmp_path):
    file = tmp_path / "pw"
    file.write_text("correct horse\n")
    assert password(BrokerSettings(user="hub", password_file=file)) == "correct horse"
    assert password(BrokerSettings()) == ""


@pytest.mark.parametrize("content", ["", "\n", "one\ntwo\n"])
def test_password_file_with_other_than_one_line_is_refused(tmp_path, content):
    file = tmp_path / "pw"
    file.write_text(content)
    with pytest.raises(SettingsError, match="in one line, and nothing else"):
        password(BrokerSettings(user="hub", password_file=file))


def test_password_file_that_cannot_be_read_is_named_without_its_content(tmp_path):
    with pytest.raises(SettingsError, match=r"pw \(\[broker\] password_file\) cannot be read \(No such file"):
        password(BrokerSettings(user="hub", password_file=tmp_path / "pw"))
    (tmp_path / "pw").write_bytes(b"secret\xff")
    with pytest.raises(SettingsError) as caught:
        password(BrokerSettings(user="hub", password_file=tmp_path / "pw"))
    assert "secret" not in str(caught.value)


def test_every_setting_is_explained_in_the_source():
    source = Path(settings_module.__file__).read_text(encoding="utf-8")
    for table in fields(Settings):
        for one in fields(getattr(Settings(), table.name)):
            line = next(row for row in source.splitlines() if row.strip().startswith(f"{one.name}:"))
            assert "  # " in line, f"[{table.name}] {one.name} has no word about it"


@pytest.mark.parametrize(
    ("lines", "says"),
    [('url = "influx:8086"', "must begin with http"), ('url = "http://a"\nbucket = "a b"', "letters")],
)
def test_database_that_cannot_be_is_refused(lines, says):
    with pytest.raises(SettingsError, match=says):
        parse(f"[influx]\n{lines}\n", FOLDER)


def test_what_announces_has_an_account_of_its_own_at_a_broker_of_another_hand():
    """One user is one session there: announcing as the hub would throw the hub off."""
    hub = '[broker]\nuser = "hub"\npassword_file = "hub"\n'
    own = '[announce]\non = true\nuser = "hub_announcer"\npassword_file = "announcer"\n'
    assert parse(hub + own, FOLDER).announce.password_file == FOLDER / "announcer"
    for lines in (own.replace("hub_announcer", "hub"), "[announce]\non = true\n", own[: own.index("password_file")]):
        assert "[announce] needs a user of its own" in refusal(hub + lines)
    for text in ("[announce]\non = true\n", hub + "child = true\n[announce]\non = true\n", hub + "[announce]\n"):
        assert parse(text, FOLDER).announce.user == ""
    assert not parse("", FOLDER).announce.on


def test_several_smokers_are_a_list_of_their_kits_names():
    assert parse('[kit]\nsmokers = ["kit-a", "kit-b"]\n', FOLDER).kit.smokers == ("kit-a", "kit-b")
    assert parse("", FOLDER).kit.smokers == ()
    for lines, told in (
        ('id = "kit-a"\nsmokers = ["kit-b"]', "exclude each other"),
        ('smokers = ["kit-a", "kit-a"]', "names kit-a twice"),
        ('smokers = ["Kit A"]', "each name must be"),
        ('smokers = "kit-a"', "smokers"),
        ("smokers = [7]", "smokers"),
        ('smokers = ["kit-a"]\nrefrigerator = "kit-a"', "refrigerator names the smoker's own kit"),
        (f"smokers = {[f'kit-{n}' for n in range(501)]}", "at most 500 smokers"),
    ):
        assert told in refusal(f"[kit]\n{lines}\n"), lines
