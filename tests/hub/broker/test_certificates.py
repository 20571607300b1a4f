"""The private authority and the broker's certificate, judged by openssl itself."""

import shutil
import stat
import subprocess

import pytest

from fiftyover.broker import certificates
from fiftyover.errors import BrokerError


@pytest.fixture
def made(tmp_path, needed):
    needed("openssl")
    certificates.make(tmp_path, ["smoker.local", "192.168.1.20"])
    return tmp_path


def openssl(*words):
    return subprocess.run(["openssl", *map(str, words)], capture_output=True, text=True, check=False)


def test_certificate_is_vouched_for_by_the_authority_under_its_names_only(made):
    verify = ["verify", "-CAfile", made / "ca.crt", "-purpose", "sslserver", "-x509_strict"]
    assert openssl(*verify, "-verify_hostname", "smoker.local", made / "server.crt").returncode == 0
    assert openssl(*verify, "-verify_ip", "192.168.1.20", made / "server.crt").returncode == 0
    assert openssl(*verify, "-verify_hostname", "other.local", made / "server.crt").returncode != 0


@pytest.mark.parametrize("attime", [946684801, 1609459200, 2500000000])  # 2000-01-01, 2021-01-01, 2049-03-22
def test_certificate_is_valid_for_a_kit_whose_clock_never_was_set(made, attime):
    verify = ["verify", "-attime", attime, "-CAfile", made / "ca.crt", made / "server.crt"]
    done = openssl(*verify)
    assert done.returncode == 0, done.stderr


def test_server_certificate_cannot_vouch_for_another(made):
    shown = openssl("x509", "-in", made / "server.crt", "-noout", "-text").stdout
    assert "CA:FALSE" in shown
    assert "Certificate Sign" not in shown


def test_files_are_their_owners_only(made):
    names = {one.name: stat.S_IMODE(one.stat().st_mode) for one in made.iterdir()}
    assert names == dict.fromkeys(("ca.crt", "ca.key", "server.crt", "server.key"), 0o600)


def test_what_exists_is_kept_and_a_removed_server_is_made_anew_by_the_same_authority(made):
    before = {one.name: one.read_bytes() for one in made.iterdir()}
    assert certificates.make(made, ["elsewhere.local"]) == []
    assert {one.name: one.read_bytes() for one in made.iterdir()} == before
    (made / "server.crt").unlink()
    (made / "server.key").unlink()
    assert certificates.make(made, ["elsewhere.local"]) == ["server.crt", "server.key"]
    assert (made / "ca.crt").read_bytes() == before["ca.crt"]
    verify = openssl("verify", "-CAfile", made / "ca.crt", "-verify_hostname", "elsewhere.local", made / "server.crt")
    assert verify.returncode == 0


def test_lone_half_is_named_and_not_overwritten(made):
    (made / "server.key").unlink()
    with pytest.raises(BrokerError, match="server.crt lies there without its other half"):
        certificates.make(made, ["smoker.local"])


def test_name_that_is_none_is_refused(made):
    (made / "server.crt").unlink()
    (made / "server.key").unlink()
    for name in ("a b", "x,DNS:evil", "", "naïve.local", "a..b"):
        with pytest.raises(BrokerError, match="is no host name or address"):
            certificates.make(made, [name])


def test_missing_openssl_is_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(BrokerError, match="install the package openssl"):
        certificates.make(tmp_path, ["smoker.local"])
