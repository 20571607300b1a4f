"""The pages to build by: every part and tool they name is in the list and the other way round, links lead somewhere."""

import csv
import re

import pytest
from iapws import IAPWS97

from fiftyover.bench import calibration as cal
from fiftyover.cli import parser_for
from fiftyover_kit.settings import load
from hardware import spice_runs
from hardware.test_drawings import HARDWARE, tables

PAGES = sorted(HARDWARE.glob("*.md"))
ORDER = [
    "will_it_work",
    "mains_safety",
    "hub_box",
    "assembly",
    "enclosure",
    "calibration",
    "bench_test",
    "placing_probes",
]
REF = re.compile(r"\b(?:[A-Z]{1,2}\d{1,2}(?:[–-][A-Z]{1,2}\d{1,2})?)\b")
NOT_PARTS = re.compile(r"RP2\d*|SEL\d|IAPWS-IF97|IP\d\d|M\d\b|H\d\b")
ALL_REFS = {one for row in tables.parts() for one in tables.expand(row["ref"])}


def text(name):
    return (HARDWARE / f"{name}.md").read_text("utf-8")


def refs_in(page):
    return {one for ref in REF.findall(NOT_PARTS.sub(" ", page)) for one in tables.expand(ref)}


def test_every_page_of_the_issue_is_there_and_read_in_order_from_the_readme():
    assert {path.stem for path in PAGES} == {*ORDER, "README", "error_budget"}
    rows = re.findall(r"^\| \d \| \[(\w+)\.(?:md|csv)\]", text("README"), re.MULTILINE)
    assert [name for name in rows if name != "parts"] == ORDER


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_links_of_a_page_lead_somewhere(path):
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text("utf-8")):
        assert (HARDWARE / target).exists(), target


@pytest.mark.parametrize("name", ORDER)
def test_a_page_names_only_parts_and_tools_of_the_list(name):
    assert refs_in(text(name)) <= ALL_REFS


def test_every_tool_and_loose_part_is_used_by_a_page():
    used = set().union(*(refs_in(path.read_text("utf-8")) for path in PAGES))
    wanted = {
        one
        for row in tables.parts()
        if {"tool", "loose"} & set(row["place"].split())
        for one in tables.expand(row["ref"])
    }
    assert wanted <= used, wanted - used


def test_every_part_of_the_mux_kit_is_built_in_by_a_step_of_the_assembly():
    told = refs_in(text("assembly").split("| step | do |")[1])
    assert tables.refs("mux", "schematic") | {"PB1", "BP1"} <= told


@pytest.mark.parametrize("name", ["assembly", "calibration", "bench_test", "enclosure", "hub_box", "placing_probes"])
def test_a_page_says_what_is_needed_before_its_first_step(name):
    page = text(name)
    first = min(
        at for at in (page.find("\n1."), page.find("\n| step"), page.find("\n**1 "), page.find("\n| 1 |")) if at > 0
    )
    assert re.search(r"You need|Tools, all of them", page[:first])


def test_a_tool_is_named_before_the_first_step_that_takes_it():
    page = text("assembly")
    head, steps = page.split("| step | do |")
    assert {ref for ref in refs_in(steps) if ref.startswith("TL")} <= refs_in(head)


def test_every_assembly_step_has_its_check():
    steps = re.findall(r"^\| \d+ [^|]+\|([^|]+)\|([^|]+)\|$", text("assembly"), re.MULTILINE)
    assert len(steps) == 14
    assert all(len(check.strip()) > 20 for _, check in steps)
    numbered = re.split(r"\n\d+\. ", text("hub_box"))[1:]
    assert len(numbered) == 10
    assert sum("Check:" in body or "says synchronized" in body or "Where." in body for body in numbered) == 10


def test_the_record_of_the_bench_test_is_blank():
    rows = re.findall(r"^\| \d+ \|.*\|$", text("bench_test"), re.MULTILINE)
    assert len(rows) == 22
    assert all(row.endswith("| | |") for row in rows)


@pytest.mark.parametrize("name", ["README", "mains_safety", "will_it_work"])
def test_pages_about_mains_defer_to_the_local_code_and_a_licensed_person(name):
    page = " ".join(text(name).split())
    assert "local" in page
    assert "code" in page
    assert "licensed" in page
    assert "bypassed" in page or "certified" in page


def test_boiling_points_on_the_calibration_page_are_those_of_iapws():
    heads, values = [
        [float(cell) for cell in row.split("|")[2:-1]]
        for row in re.findall(r"^\| (?:hPa|°C) \|.*$", text("calibration"), re.MULTILINE)
    ]
    assert len(heads) == 9
    for hPa, degC in zip(heads, values, strict=True):
        pressure = 1013.25 if hPa == 1013 else hPa
        assert degC == pytest.approx(IAPWS97(P=pressure / 1e4, x=0).T - 273.15, abs=0.008)
    for metres, degC in re.findall(r"(\d+) m (\d+\.\d+)", text("calibration")):
        assert cal.boiling_at_altitude_degC(float(metres)) == pytest.approx(float(degC), abs=0.01)


def test_calibration_plugs_read_on_the_assembly_page_what_the_kits_settings_make_of_them():
    found = re.findall(r"(\d+) ± 2 °C", text("assembly"))
    wanted = []
    for ref in ("X1", "X2"):
        for variant in ("mux", "esp32"):
            part = next(row["part"] for row in tables.parts(variant) if row["ref"] == ref)
            curve = load((HARDWARE / "settings" / f"{variant}.json").read_text("utf-8")).channels[0].thermistor
            wanted.append(curve.degC(1000 * float(part.split()[2])))
    assert [float(one) for one in found] == pytest.approx(wanted, abs=0.6)


def test_each_command_on_the_pages_is_one_that_exists():
    found = 0
    for path in [*PAGES, HARDWARE.parent / "README.md"]:
        for words in re.findall(
            r"`(?:[\w.-]+/bin/)?fiftyover ((?:kit|setup|serve|demo|plan|report)\b[^`]*)`", path.read_text("utf-8")
        ):
            argv = words.split()
            if argv == ["kit"] or argv[0] == "report" or "--help" in argv:
                continue
            if argv == ["kit", "calibrate"]:
                argv += ["--altitude-m", "0"]
            parser_for(argv).parse_args(argv)
            found += 1
    assert found >= 15


VALUES = {"k": 1e3, "meg": 1e6, "u": 1e-6, "n": 1e-9, "": 1.0}
UNITS = {"kilohm": 1e3, "ohm": 1.0, "uF": 1e-6, "nF": 1e-9}


def listed_value(ref, variant):
    for row in tables.parts(variant):
        if ref in tables.expand(row["ref"]):
            match = re.search(r"([\d.]+) (kilohm|ohm|uF|nF)", row["part"])
            return float(match.group(1)) * UNITS[match.group(2)]
    return None


@pytest.mark.parametrize(
    ("deck", "variant"),
    [(n, "direct") for n in ("direct_sweep", "direct_burst", "relay_driver", "limit_driver")]
    + [("mux_sweep", "mux"), ("mux_switching", "mux"), ("rail_sweep", "esp32")],
)
def test_a_simulated_part_has_the_value_of_the_parts_list(deck, variant):
    checked = 0
    for line in (spice_runs.CIRCUITS / f"{deck}.cir").read_text("utf-8").splitlines():
        match = re.fullmatch(r"([RC]\d\d) \w+ \w+ ([\d.]+)(k|meg|u|n|)", line)
        # Calibration plugs and their dividers in a deck, and the seven other probes as one resistor, are no own parts.
        if not match or (variant != "mux" and match.group(1) in ("R14", "R15", "R30", "R31")) or line.endswith(" 3143"):
            continue
        if listed := listed_value(match.group(1), variant):
            assert float(match.group(2)) * VALUES[match.group(3)] == pytest.approx(listed), line
            checked += 1
    assert checked >= 2


def test_the_error_budget_names_the_tolerances_of_the_parts_list():
    rows = {row["ref"]: row["property"] for row in tables.parts("mux")}
    assert "R25 1 % and B25/85 1 %" in rows["P1-P8"]
    assert all("0.1 % and 25 ppm/K" in rows[ref] for ref in ("R11-R18", "R30", "R31", "R32-R33"))
    assert "50 nA" in rows["U2"]
    assert "50 uV" in rows["U3"]
    with (HARDWARE / "parts.csv").open(encoding="utf-8") as file:
        assert len(list(csv.reader(file))) > 70
