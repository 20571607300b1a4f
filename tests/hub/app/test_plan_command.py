"""`fiftyover plan` as a person types it: sheet, page, data, batch file, refusals."""

import json
import re
from pathlib import Path

import pytest

from fiftyover.app import plan as command
from fiftyover.app import serve
from fiftyover.batch.written import plan_from_data
from fiftyover.cli import main

SHIPPED = ("garlic_mustard", "two_lines")


def test_every_shipped_recipe_makes_a_sheet_in_both_units(capsys: pytest.CaptureFixture[str]) -> None:
    assert tuple(command.shipped()) == SHIPPED
    for name in SHIPPED:
        for units, word in (("F-lb", "152 °F"), ("C-kg", "66.7 °C")):
            assert main(["plan", name, "--no-times", "--units", units]) == 0
            assert word in capsys.readouterr().out


def test_the_sheet_says_what_matters(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["plan", "two_lines", "--cook-h", "stout=5-8", "--cook-h", "slim=3-6", "--start", "2026-11-27 10:00"]) == 0
    )
    told = capsys.readouterr().out
    for word in (
        "150.0 ppm nitrite of the meat (ceiling 156.25)", "last, folded in by hand", "3 chubs", "probe 2", "ice",
        "Fri 27 Nov 10:00", "as given: stout 5.0 to 8.0 h, slim 3.0 to 6.0 h", "160 °F", "licensed processor",
        "manual reset", "about 20 minutes (common practice)",
    ):  # fmt: skip
        assert word in told, word


def test_the_data_is_json_with_units_and_a_plan_the_hub_takes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "two_lines", "--cook-h", "4-7", "--json", "--start", "2026-11-27 10:00"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["cure"]["nitrite_ppm"] == pytest.approx(150.0)
    assert found["times"][0]["begin"] == "2026-11-27T10:00:00"
    plan = plan_from_data("b1", found["plan"])
    assert len(plan.chubs) == sum(line["count"] for line in found["lines"])


def test_the_batch_file_is_what_serve_takes(tmp_path: Path) -> None:
    file = tmp_path / "batch.toml"
    assert main(["plan", "two_lines", "--no-times", "--batch", str(file)]) == 0
    plan, made_of = serve._plan(file)
    assert made_of["nitrite_ppm"] == pytest.approx(150.0)
    assert made_of["kinds"] == ["pork", "beef", "lamb"]
    assert {chub.line for chub in plan.chubs} == {"stout", "slim"}
    assert dict(plan.line_caps).keys() == {"slim"}


def test_the_page_stands_alone(tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    assert main(["plan", "garlic_mustard", "--cook-h", "3-7", "--html", str(file)]) == 0
    page = file.read_text("utf-8")
    assert "<script" not in page
    assert re.findall(r"(?:src|href)=", page) == []
    assert "Pork and beef with garlic and mustard seed" in page


def test_names_in_a_recipe_cannot_put_markup_into_the_page(tmp_path: Path) -> None:
    recipe = tmp_path / "r.toml"
    assert main(["plan", "garlic_mustard", "--write", str(recipe)]) == 0
    recipe.write_text(recipe.read_text("utf-8").replace("mustard seed", "<b>mustard</b>"), "utf-8")
    file = tmp_path / "sheet.html"
    assert main(["plan", str(recipe), "--no-times", "--html", str(file)]) == 0
    assert "<b>mustard" not in file.read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["plan"], "Name a recipe"),
        (["plan", "nothing"], "There is no recipe nothing; shipped ones are garlic_mustard"),
        (["plan", "two_lines", "--start", "soon"], "write it as"),
        (["plan", "two_lines", "--cook-h", "9-4"], "the shorter first"),
        (["plan", "two_lines", "--cook-h", "thin=4-9"], "no line 'thin'"),
        (["plan", "two_lines", "--cook-h", "slim=4-9"], "each casing line"),
        (["plan", "two_lines", "--cook-h", "4-9", "--done-by", "2020-01-01 12:00"], "cannot be met"),
        (["plan", "two_lines", "--no-times", "--html", "/nowhere/sheet.html"], "cannot be written"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    heard = capsys.readouterr().err
    assert told in heard
    assert heard.count("\n") == 1


def test_a_recipe_that_is_no_toml_names_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "r.toml"
    file.write_text('name = "a"\nunits = \n', "utf-8")
    assert main(["plan", str(file)]) == 2
    assert "line 2" in capsys.readouterr().err


def test_the_cook_is_rehearsed_by_line_with_its_spread(monkeypatch: pytest.MonkeyPatch) -> None:
    from fiftyover.app import cook_time
    from fiftyover.batch.sheet import make_sheet

    monkeypatch.setattr(cook_time, "TRIALS", ((1, 0.02),))
    spans, told = cook_time.rehearsed(make_sheet(command.read_recipe("garlic_mustard")))
    assert [span.line for span in spans] == ["slim"]
    # Own study (control.md): 45 mm chubs to 152 °F take a few hours; far less or more is a fault of the plan.
    assert 1.5 * 3600 < spans[0].low_s < spans[0].likely_s < spans[0].high_s < 8 * 3600
    assert told == []
