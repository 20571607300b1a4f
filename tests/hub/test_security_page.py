"""`hub/SECURITY.md` is true: complete, its tests exist, its ports are opened; some more controls."""

import ast
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from fiftyover import settings
from fiftyover.broker import service, setup

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "hub" / "SECURITY.md"
# How many provisions each clause of EN 303 645 V2.1.1 has, from memory and from public lists of their numbers.
CLAUSES = {"4": 1, "5.1": 5, "5.2": 3, "5.3": 16, "5.4": 4, "5.5": 8, "5.6": 9, "5.7": 2, "5.8": 3, "5.9": 3, "5.10": 1}
CLAUSES |= {"5.11": 4, "5.12": 3, "5.13": 1, "6": 5}
NAMED = re.compile(r"`(test_\w+\.py)::(test_\w+)`")


def part(name):
    """Path of a program; where it is missing the test fails in CI and is skipped elsewhere."""
    found = shutil.which(name)
    if found is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"{name} is not installed here")
    return found


def rows(page, width):
    """Cells of every row of the tables with so many columns, but for heads and rules."""
    lines = [line.strip("|").split("|") for line in page.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line] for line in lines if len(line) == width]


def found_tests():
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef):
                found.add((path.name, node.name))
    return found


def wrong_rows(page):
    """What is wrong with the table of provisions, as sentences."""
    told = {row[0]: row[2] for row in rows(page, 3) if re.fullmatch(r"[\d.]+-\d+", row[0])}
    asked = {f"{clause}-{number}" for clause, count in CLAUSES.items() for number in range(1, count + 1)}
    wrong = [f"{one} is missing" for one in asked - set(told)] + [f"{one} is none" for one in set(told) - asked]
    numbers = [row[0] for row in rows(page, 3) if row[0] in asked]
    wrong += [f"{one} stands twice" for one in set(numbers) if numbers.count(one) > 1]
    for provision, how in told.items():
        if how.startswith("tested: "):
            wrong += [] if NAMED.search(how) else [f"{provision}: no test is named"]
        elif not (how.startswith("not met because ") and len(how) > 30):
            wrong.append(f"{provision}: neither tested nor a reason")
    there = found_tests()
    return wrong + [f"{file}::{name} is not there" for file, name in NAMED.findall(page) if (file, name) not in there]


def test_every_provision_has_its_row_and_every_row_its_test_or_reason():
    page = PAGE.read_text("utf-8")
    assert wrong_rows(page) == []
    assert sum(CLAUSES.values()) == 68  # 33 mandatory, 35 recommended (V2.1.1)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("| 5.4-3 |", "| 5.4-9 |", "5.4-3 is missing"),
        ("::test_no_secret_stands_in_the_source`", "::test_nothing`", "is not there"),
        ("not met because no time of support is promised by anybody", "yes", "5.3-13: neither"),
        ("| 6-5 |", "| 6-4 |", "6-4 stands twice"),
    ],
)
def test_page_that_is_not_true_is_seen(old, new, says):
    page = PAGE.read_text("utf-8")
    assert page.count(old) == 1
    assert any(says in one for one in wrong_rows(page.replace(old, new)))


def test_every_control_names_a_test():
    controls = [row for row in rows(PAGE.read_text("utf-8"), 2) if row[0] not in ("control", "---")]
    assert len(controls) >= 12
    assert [row[0] for row in controls if not NAMED.search(row[1])] == []


def test_ports_of_this_page_are_those_that_setup_opens(tmp_path):
    part("openssl")
    setup.set_up(setup.Wish(tmp_path / "home", kits=("kit-1",), names=("localhost",)))
    text = (tmp_path / "home/broker/mosquitto.conf").read_text()
    opened = {(int(port), host) for port, host in re.findall(r"^listener (\d+) (\S+)$", text, re.M)}
    web = settings.load(tmp_path / "home/hub.toml").web
    opened.add((web.port, web.host))
    told = {(int(row[0]), row[1]) for row in rows(PAGE.read_text("utf-8"), 4) if row[0].isdecimal()}
    places = {(port, "127.0.0.1" if where == "loopback" else "0.0.0.0") for port, where in told}
    assert opened == places
    assert "allow_anonymous false" in text


def test_unit_without_its_guards_is_seen(tmp_path, monkeypatch):
    """The check of the service unit can fail: with three of its guards gone it is over the limit."""
    program = part("systemd-analyze")

    def exposure():
        unit = tmp_path / service.NAME
        unit.write_text(service.unit(Path("/var/lib/fiftyover"), "/opt/fiftyover/bin/python", "fiftyover"))
        words = [program, "security", "--offline=true", "--no-pager", str(unit)]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        return float(re.search(r"Overall exposure level for .*: ([0-9.]+)", done.stdout)[1])

    assert exposure() <= 1.5
    weak = re.sub(r"^(CapabilityBoundingSet|PrivateUsers|SystemCallFilter)=.*\n", "", service.HARDENED, flags=re.M)
    monkeypatch.setattr(service, "HARDENED", weak)
    assert exposure() > 1.5


def sources():
    return [*(ROOT / "hub/fiftyover").rglob("*.py"), *(ROOT / "firmware").rglob("*.py")]


def secrets_in(text):
    """Names that sound like a secret and are given a text of more than a few letters."""
    found = []
    for node in ast.walk(ast.parse(text)):
        pairs = []
        if isinstance(node, ast.Assign):
            pairs = [(ast.unparse(target), node.value) for target in node.targets]
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            pairs = [(ast.unparse(node.target), node.value)]
        elif isinstance(node, ast.keyword) and node.arg:
            pairs = [(node.arg, node.value)]
        elif isinstance(node, ast.Dict):
            pairs = [
                (ast.unparse(key).strip("'\""), value) for key, value in zip(node.keys, node.values, strict=True) if key
            ]
        for name, value in pairs:
            sounds = re.search(r"(password|passwd|secret|token|api_?key|private_?key)$", name, re.I)
            if sounds and isinstance(value, ast.Constant) and isinstance(value.value, str) and len(value.value) >= 4:
                found.append(name)
    return found


def test_no_secret_stands_in_the_source():
    assert secrets_in('broker_password = "hunter22"\nfoo(secret="abcdef")\nx = {"token": "abcd"}\n') != []
    assert {path.name: found for path in sources() if (found := secrets_in(path.read_text("utf-8")))} == {}


def listens(text):
    """Calls by which a program would wait for others to come in."""
    names = {"listen", "bind", "start_server", "create_server", "accept"}
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in names:
            found.append(node.func.attr)
        if isinstance(node, ast.Import | ast.ImportFrom):
            found += [alias.name for alias in node.names if alias.name in ("webrepl", "uftpd", "bluetooth", "espnow")]
    return found


def test_the_kit_listens_on_nothing():
    assert listens("import webrepl\ns.bind(('', 23))\n") == ["webrepl", "bind"]
    kit = [*(ROOT / "firmware/fiftyover_kit").rglob("*.py"), ROOT / "firmware/main.py"]
    assert {path.name: found for path in kit if (found := listens(path.read_text("utf-8")))} == {}
