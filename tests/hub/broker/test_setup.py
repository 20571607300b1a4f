"""`fiftyover setup`: what it makes, that it keeps what is there, and what it never shows."""

import os
import re
import stat
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from fiftyover import settings
from fiftyover.broker import accounts, child, people, service, setup
from fiftyover.broker.address import Address, address_of
from fiftyover.broker.probe import free_port
from fiftyover.broker.setup import Wish, set_up
from fiftyover.cli import main
from fiftyover.errors import BrokerError

NAMES = ("smoker.local", "localhost", "127.0.0.1")


@pytest.fixture
def wish(tmp_path, needed):
    needed("openssl")
    return Wish(tmp_path / "home", kits=("kit-1",), names=NAMES)


def contents(folder):
    return {str(one.relative_to(folder)): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def code_in(lines):
    return next(line.strip() for line in lines if re.fullmatch(r" +(\w{4}-){3}\w{4}", line))


def secrets_in(folder):
    broker = folder / "broker"
    return {one.read_text().strip() for one in [*(broker / "accounts").iterdir(), *broker.glob("*.key")]}


def test_several_kits_are_several_smokers_in_the_settings_that_setup_writes(tmp_path):
    wish = Wish(tmp_path / "home", kits=("kit-a", "kit-b", "kit-a"), names=NAMES)
    set_up(wish)
    found = settings.load(wish.folder / "hub.toml")
    assert found.kit.smokers == ("kit-a", "kit-b")
    assert found.kit.id == ""


def test_setup_makes_settings_that_the_hub_reads(wish):
    set_up(wish)
    known = settings.load(wish.folder / "hub.toml")
    assert (known.broker.child, known.broker.user, known.kit.id) == (True, "hub", "kit-1")
    assert (known.web.host, known.web.names) == ("0.0.0.0", ("smoker.local",))
    assert address_of(known.broker).secret == (wish.folder / "broker/accounts/hub").read_text().strip()


def test_first_account_comes_in_with_the_printed_code(wish):
    code = code_in(set_up(wish))
    known = settings.load(wish.folder / "hub.toml")
    assert people.checker(known.web.accounts_file)("cook", code) == "cook"


def test_second_run_changes_nothing_but_adds_a_kit_when_asked(wish):
    set_up(wish)
    before = contents(wish.folder)
    lines = set_up(Wish(wish.folder, names=("elsewhere.local",)))
    changed = {name for name, data in contents(wish.folder).items() if before.get(name) != data}
    assert changed == {"broker/passwords"}  # the same secrets under fresh salts
    assert not any(re.search(r"(\w{4}-){3}\w{4}", line) for line in lines)
    set_up(Wish(wish.folder, kits=("kit-2",), names=NAMES))
    assert set(contents(wish.folder)) - set(before) == {"broker/accounts/kit-2"}
    assert "user kit-2" in (wish.folder / "broker/access").read_text()


def test_two_installs_share_no_secret(wish, tmp_path):
    other = Wish(tmp_path / "other", kits=("kit-1",), names=NAMES)
    codes = {code_in(set_up(wish)), code_in(set_up(other))}
    assert len(codes) == 2
    assert len(secrets_in(wish.folder) | secrets_in(other.folder)) == 8  # two accounts and two keys each


def test_nothing_secret_is_printed_but_the_first_code(wish, capsys):
    assert main(["setup", "--folder", str(wish.folder), "--kit", "kit-1", "--host", "smoker.local"]) == 0
    shown = capsys.readouterr()
    assert [secret for secret in secrets_in(wish.folder) if secret in shown.out + shown.err] == []
    code = code_in(shown.out.splitlines())
    assert [name for name, data in contents(wish.folder).items() if code.encode() in data] == []


def test_all_is_its_owners_only(wish):
    old = os.umask(0)
    try:
        set_up(wish)
    finally:
        os.umask(old)
    every = [wish.folder, *wish.folder.rglob("*")]
    assert [one.name for one in every if stat.S_IMODE(one.stat().st_mode) & 0o077] == []


def test_settings_of_another_hand_are_not_overwritten(wish):
    wish.folder.mkdir()
    for text, why in (("[web]\nport = 9000\n", "was not made by setup"), ("nonsense", "overwrites nothing")):
        (wish.folder / "hub.toml").write_text(text)
        with pytest.raises(BrokerError, match=why):
            set_up(wish)
        assert contents(wish.folder) == {"hub.toml": text.encode()}


def test_folder_that_cannot_be_made_and_bad_names_are_sentences(wish, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["setup", "--folder", str(tmp_path / "file" / "below")]) == 2
    assert main(["setup", "--folder", str(wish.folder), "--kit", "Kit 1"]) == 2
    assert main(["setup", "--folder", str(wish.folder), "--host", "a b"]) == 2
    said = capsys.readouterr().err.splitlines()
    assert [
        re.search(word, line) is not None
        for word, line in zip(("choose --folder", "kit's name", "host name"), said, strict=True)
    ] == [True] * 3


def test_loopback_setup_opens_nothing_to_the_house(tmp_path):
    set_up(Wish(tmp_path / "home", names=NAMES, open_to_house=False))
    assert settings.load(tmp_path / "home/hub.toml").web.host == "127.0.0.1"
    assert not (tmp_path / "home/broker/server.crt").exists()
    listeners = re.findall(r"^listener .*$", (tmp_path / "home/broker/mosquitto.conf").read_text(), re.M)
    assert listeners == [f"listener {setup.HUB_PORT} 127.0.0.1"]


def test_home_automation_is_off_unless_wanted_and_then_has_two_accounts_that_permit_no_heat(wish):
    said = "\n".join(set_up(wish))
    assert not settings.load(wish.folder / "hub.toml").announce.on
    assert "home" not in (wish.folder / "broker/access").read_text() + said.replace(str(wish.folder), "")

    before = (wish.folder / "hub.toml").read_text()
    later = "\n".join(set_up(replace(wish, house=True)))
    assert (wish.folder / "hub.toml").read_text() == before + "\n[announce]\non = true\n"
    assert settings.load(wish.folder / "hub.toml").announce.on
    assert str(wish.folder / "broker/accounts/home_automation") in later
    assert "not told" not in later
    (wish.folder / "hub.toml").write_text(switched := before + "\n[announce]\non = false\n")
    later = "\n".join(set_up(replace(wish, house=True)))  # what a person wrote stays, and is said
    assert "not told of the kits yet: write `on = true` under [announce]" in later
    assert (wish.folder / "hub.toml").read_text() == switched

    new = replace(wish, folder=wish.folder / "new", house=True)
    set_up(new)
    assert (new.folder / "hub.toml").read_text() == before + "\n[announce]\non = true\n"
    access = (new.folder / "broker/access").read_text()
    rights = {lines.split("\n")[0]: lines.split("\n")[1:] for lines in access.strip().split("user ")[1:]}
    assert set(rights) == {"hub", "kit-1", "home_automation", "hub_announcer"}
    for user in ("home_automation", "hub_announcer"):
        assert [line for line in rights[user] if line.startswith("topic write homie") or "/set" in line] == []


def test_hub_and_kit_sign_in_to_the_broker_that_setup_made(wish, opened, monkeypatch, needed):
    needed("mosquitto")
    set_up(wish)
    monkeypatch.setattr(child, "TLS_PORT", free_port("127.0.0.1"))
    monkeypatch.setattr(child, "EVERYWHERE", "127.0.0.1")
    broker = child.kept_in(wish.folder / "broker")
    try:
        hub = opened(broker.start())
        secret = accounts.secret_of(broker.accounts, "kit-1")
        outer = Address("localhost", child.TLS_PORT, "kit-1", secret, tls=True, ca=str(wish.folder / "broker/ca.crt"))
        kit = opened(outer, filters=["homie/5/kit-1/heater/grant/set"])
        assert (hub.client.up, kit.client.up) == (True, True)
    finally:
        broker.stop()


@pytest.mark.parametrize("user", ["fiftyover", "root"])
def test_service_unit_is_hardened(tmp_path, needed, user):
    unit = tmp_path / service.NAME
    unit.write_text(service.unit(Path("/var/lib/fiftyover"), "/opt/fiftyover/bin/python", user))
    words = [needed("systemd-analyze"), "security", "--offline=true", "--no-pager", "--threshold=15", str(unit)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    score = re.search(r"Overall exposure level for .*: ([0-9.]+)", done.stdout)
    assert score is not None, done.stderr
    assert float(score[1]) <= 1.5
    assert done.returncode == 0


def test_service_unit_is_one_that_systemd_can_read(tmp_path, needed):
    unit = tmp_path / service.NAME
    unit.write_text(service.unit(tmp_path, "/bin/sh", "root"))
    done = subprocess.run([needed("systemd-analyze"), "verify", str(unit)], capture_output=True, text=True, check=False)
    assert [line for line in done.stderr.splitlines() if service.NAME in line] == []


def test_service_may_read_its_folder_when_that_is_a_home():
    folder = Path("/", "home", "ada", "smoker")
    at_home = service.unit(folder, "/usr/bin/python3", "ada").splitlines()
    assert "ProtectHome=read-only" in at_home
    assert f"ReadWritePaths={folder}" in at_home
    assert "ProtectHome=yes" in service.unit(Path("/var/lib/fiftyover"), "/usr/bin/python3", "ada")
