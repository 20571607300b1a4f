"""The people who may open the pages: codes, hashes, roles."""

import json
import stat

import pytest

from fiftyover.broker import people
from fiftyover.errors import BrokerError


def test_person_comes_in_with_the_code_and_with_no_other(tmp_path):
    file = tmp_path / "people.json"
    code = people.add(file, "Ada", "cook")
    check = people.checker(file)
    assert check("Ada", code) == "cook"
    assert check("Ada", f" {code.upper()} ") == "cook"  # typed on a phone
    assert (check("Ada", code[:-1]), check("Bob", code), check("Ada", "")) == (None, None, None)


def test_watcher_is_told_apart_and_a_new_person_counts_at_once(tmp_path):
    file = tmp_path / "people.json"
    people.add(file, "Ada", "cook")
    check = people.checker(file)
    code = people.add(file, "Bob", "watcher")
    assert check("Bob", code) == "watcher"


def test_file_holds_no_code_and_is_its_owners_only(tmp_path):
    file = tmp_path / "people.json"
    code = people.add(file, "Ada", "cook")
    assert code not in file.read_text()
    assert code.replace("-", "") not in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_codes_differ_and_are_long_enough():
    codes = {people.new_code() for _ in range(50)}
    assert len(codes) == 50
    assert {len(code) for code in codes} == {19}


def test_hash_agrees_with_the_published_scrypt_vector():
    # RFC 7914 section 12: scrypt("pleaseletmein", "SodiumChloride", N=16384, r=8, p=1), first 32 of 64 bytes
    right = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    assert people._digest("pleaseletmein", b"SodiumChloride", 16384, 8, 1).hex() == right


@pytest.mark.parametrize(
    "stored", ["", "scrypt$1$2", "plain$16384$8$1$AA==$AA==", "scrypt$x$8$1$AA==$AA==", "scrypt$3$8$1$AA==$AA=="]
)
def test_damaged_hash_fits_nothing(stored):
    assert not people.fits("", stored)


@pytest.mark.parametrize(
    "text", ["", "[]", '{"Ada": {"role": "king", "code": "x"}}', '{"Ada": 1}', '{"Ada": {"role": "cook"}}']
)
def test_damaged_file_is_a_sentence(tmp_path, text):
    file = tmp_path / "people.json"
    file.write_text(text)
    if text == "[]":
        file.write_text(json.dumps([1]))
    with pytest.raises(BrokerError, match="is damaged; remove it"):
        people.load(file)


def test_missing_file_bad_role_bad_name_and_second_account_are_sentences(tmp_path):
    file = tmp_path / "people.json"
    with pytest.raises(BrokerError, match="cannot be read"):
        people.load(file)
    with pytest.raises(BrokerError, match="no role here"):
        people.add(file, "Ada", "admin")
    with pytest.raises(BrokerError, match="cannot be a person's name"):
        people.add(file, " ", "cook")
    people.add(file, "Ada", "cook")
    with pytest.raises(BrokerError, match="has an account already"):
        people.add(file, "Ada", "watcher")
