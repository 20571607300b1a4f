"""Pin map, settings, schematics, harness and parts list say the same, both ways; pictures are as their code draws."""

import html
import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from fiftyover_kit.settings import load

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE / "draw"))
try:
    import tables
finally:
    sys.path.remove(str(HARDWARE / "draw"))

REF = re.compile(r"\b[A-Z]{1,2}\d{1,2}\b(?:[–-][A-Z]{1,2}\d{1,2}\b)?")
VARIANTS = [*tables.KITS, *tables.BOXES]
BOARD_PIN = re.compile(r"(?:GPIO)?(\w+) \((\w+)\)")


def picture(variant):
    name = f"schematic_box_{variant}.svg" if variant in tables.BOXES else f"schematic_{variant}.svg"
    return (HARDWARE / "drawings" / name).read_text("utf-8")


def words(svg):
    """Texts of a picture, one for each line that is seen."""
    found = re.findall(r"<(?:text|tspan)\b[^>]*>([^<]+)", svg)
    return [html.unescape(one).replace("\xa0", " ").strip() for one in found if one.strip()]


def drawn(svg):
    """Refs in a picture's texts, without inputs' names and, on a kit's sheet, what its outputs drive in the box."""
    not_parts = re.compile(r"\b(?:IN|SEL|GPIO|A)\d\b|K[12] COIL|relay K1|second switch K2|RP2")
    text = "\n".join(words(svg))
    return {one for ref in REF.findall(not_parts.sub(" ", text)) for one in tables.expand(ref)}


def settings(variant):
    return load((HARDWARE / "settings" / f"{variant}.json").read_text("utf-8"))


@cache
def yaml(variant):
    name = f"box_{variant}.yml" if variant in tables.BOXES else f"{variant}.yml"
    return (HARDWARE / "harness" / name).read_text("utf-8")


@pytest.mark.parametrize("variant", tables.KITS)
def test_settings_have_exactly_the_pins_of_the_map(variant):
    given = settings(variant).pins
    from_map = {row["setting"]: int(row["pin"]) for row in tables.pins(variant) if row["setting"]}
    from_settings = {}
    for key, value in given.items():
        if key in ("mux_known", "adc16"):
            continue  # addresses, not pins
        if isinstance(value, list):
            from_settings |= {f"{key}.{at}": pin for at, pin in enumerate(value)}
        else:
            from_settings[key] = value
    assert from_settings == from_map


@pytest.mark.parametrize("variant", tables.KITS)
def test_settings_have_a_channel_for_each_socket_and_no_more(variant):
    sockets = [ref for ref in tables.refs(variant, "schematic") if re.fullmatch(r"J\d", ref)]
    assert len(settings(variant).channels) == len(sockets)
    series = next(row["part"] for row in tables.parts(variant) if row["ref"].startswith("R11-"))
    assert {channel.series_ohm for channel in settings(variant).channels} == {float(series.split()[1]) * 1000}


@pytest.mark.parametrize("variant", tables.KITS)
def test_no_pin_of_the_map_is_used_twice(variant):
    for column in ("pin", "place", "net"):
        given = [row[column] for row in tables.pins(variant)]
        assert len(given) == len(set(given)), column


@pytest.mark.parametrize("variant", tables.KITS)
def test_schematic_has_exactly_the_pins_of_the_map(variant):
    texts = words(picture(variant))
    on_board = {match.groups() for text in texts if (match := BOARD_PIN.fullmatch(text))}
    assert on_board == {(row["pin"], row["place"]) for row in tables.pins(variant)}
    for row in tables.pins(variant):
        assert row["net"] in texts, row


@pytest.mark.parametrize("variant", VARIANTS)
def test_schematic_has_exactly_the_parts_of_the_list(variant):
    assert drawn(picture(variant)) == tables.refs(variant, "schematic")


@pytest.mark.parametrize("variant", VARIANTS)
def test_harness_has_exactly_the_parts_of_the_list(variant):
    text = yaml(variant)
    names = set(re.findall(r"^  ([A-Z][A-Za-z0-9_]*):$", text, re.MULTILINE))
    wanted = tables.refs(variant, "harness")
    assert wanted <= names
    # What the list does not have is a wire's own name, the front end's board, or what is at the cable's other end.
    assert {one for one in names - wanted if not one.startswith("W")} <= {"BP1", "USB", "Q1_Q2", "J20"}


@pytest.mark.parametrize("variant", tables.KITS)
def test_harness_has_exactly_the_pins_of_the_map(variant):
    board = re.search(r"  U1:\n.*?pinlabels: \[(.*?)\]", yaml(variant), re.DOTALL).group(1).split(", ")
    assert board == [f"{row['net']}_{row['place']}" for row in tables.pins(variant)]
    for net, ref in (("BUTTON", "S1"), ("SOUNDER", "LS1"), ("LAMP", "D5")):
        place = next(row["place"] for row in tables.pins(variant) if row["net"] == net)
        assert f"- U1: [{net}_{place}, GND_" in yaml(variant)
        assert f"- {ref}: [SIG, GND]" in yaml(variant)


@pytest.mark.parametrize("variant", tables.KITS)
def test_every_pin_goes_to_a_part_of_that_kit(variant):
    there = tables.refs(variant, "schematic") | {"none"}
    assert [row for row in tables.pins(variant) if row["to"] not in there] == []


def test_parts_list_is_complete_in_every_column_and_counts_what_it_names():
    rows = tables.parts()
    assert len(rows) > 70
    for row in rows:
        assert all(str(value).strip() for value in row.values()), row
        assert set(row["variants"].split()) <= {*VARIANTS, "all"}, row
        assert set(row["place"].split()) <= {"schematic", "harness", "loose", "tool"}, row
        assert int(row["quantity"]) == len(tables.expand(row["ref"])), row
        assert 0 <= float(row["price_usd"]) < 200, row


@pytest.mark.parametrize("variant", VARIANTS)
def test_no_part_of_a_variant_is_listed_twice(variant):
    refs = [one for row in tables.parts(variant) for one in tables.expand(row["ref"])]
    assert len(refs) == len(set(refs))


def test_the_relay_box_has_what_no_software_can_reach():
    for variant in tables.BOXES:
        listed = {row["ref"]: row["property"] for row in tables.parts(variant)}
        assert {"TC1", "TF1", "F1", "GF1", "K1", "K2", "E1"} <= set(listed)
        assert "120 to 130 °C" in listed["TC1"]
        live = re.findall(r"- (\w+): \[", yaml(variant))
        order = list(dict.fromkeys(ref for ref in live[: live.index("W2") + 1] if ref in listed and ref[0] != "W"))
        assert order == ["GF1", "F1", "TC1", "K2", "K1", "TF1"]


def test_the_mux_settings_keep_probes_off_the_known_resistors_and_esp32_off_the_supply():
    mux = settings("mux")
    assert not {channel.input for channel in mux.channels} & {address for address, _ in mux.pins["mux_known"]}
    assert all(channel.input % 4 != 3 for channel in settings("esp32").channels)
    secrets = [json.loads((HARDWARE / "settings" / f"{v}.json").read_text("utf-8")) for v in tables.KITS]
    assert {given["wifi"]["password"] for given in secrets} == {"..."}


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rebuilt")
    subprocess.run([sys.executable, "-B", HARDWARE / "draw" / "build.py", folder], check=True, timeout=120)
    return folder


def numbers_apart(text):
    return re.split(r"-?\d+\.?\d*", text), [float(one) for one in re.findall(r"-?\d+\.?\d*", text)]


def test_schematics_are_as_their_code_draws_them(rebuilt):
    made = sorted(path.name for path in (rebuilt / "drawings").iterdir())
    assert made == sorted(path.name for path in (HARDWARE / "drawings").iterdir())
    for name in made:
        again = numbers_apart((rebuilt / "drawings" / name).read_text("utf-8"))
        stored = numbers_apart((HARDWARE / "drawings" / name).read_text("utf-8"))
        assert again[0] == stored[0], name
        assert again[1] == pytest.approx(stored[1], abs=0.01), name


def test_harness_is_as_the_pin_map_and_wireviz_make_it(rebuilt):
    """Pictures: texts and their order only, for Graphviz places them a little differently from version to version."""
    made = sorted(path.name for path in (rebuilt / "harness").iterdir())
    assert made == sorted(path.name for path in (HARDWARE / "harness").iterdir())
    for name in made:
        again, stored = [(folder / "harness" / name).read_text("utf-8") for folder in (rebuilt, HARDWARE)]
        if name.endswith(".svg"):
            again, stored = words(again), words(stored)
            assert len(again) > 20
        assert again == stored, name
