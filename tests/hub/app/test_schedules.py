"""A schedule is chosen by name in a recipe, a batch file or on the page, and reaches the plan that the hub cooks by."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from fiftyover.app import desk_plan, plan, schedules
from fiftyover.batch.recipe import recipe_from_data
from fiftyover.batch.schedule import schedule_from_text
from fiftyover.batch.sheet import plan_of
from fiftyover.batch.written import plan_from_data
from fiftyover.errors import PlanError
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant
from fiftyover.reports.batch_file import batch_toml
from fiftyover_kit.contract.units import degC_from_degF, degF_from_degC

OWN = """\
name = "Ours"
wood = "element"
[[stage]]
name = "warm"
hold = "140 F"
empty = true
[[stage]]
name = "smoke"
hold = "150 F"
smoke = true
until = "brown enough"
[[stage]]
name = "cook"
"""


def recipe(**cook: object) -> dict[str, object]:
    data = desk_plan.recipe("garlic_mustard")
    data["cook"] = {**data.get("cook", {}), **cook}
    return data


def test_a_recipe_s_schedule_wood_lead_and_relay_test_reach_the_plan(tmp_path: Path) -> None:
    probed = next(c.number for c in schedules.sheet_of(recipe_from_data(recipe()), tmp_path).chubs if c.probe == 1)
    data = recipe(schedule="north_dakota", lead=str(probed), autotune="yes", limit="190 F")
    made = plan_of(schedules.sheet_of(recipe_from_data(data), tmp_path), "b")
    assert [stage.name for stage in made.stages] == ["smoke", "warm", "cook"]
    assert (made.wood, made.lead, made.autotune) == ("element", probed, True)
    told = recipe(schedule="north_dakota", wood="tray", limit="190 F")
    assert plan_of(schedules.sheet_of(recipe_from_data(told), tmp_path), "b").wood == "tray"
    plain = plan_of(schedules.sheet_of(recipe_from_data(recipe()), tmp_path), "b")
    assert (len(plain.stages), plain.wood, plain.lead, plain.autotune) == (1, "none", "lowest", False)


def test_a_sheet_s_batch_file_carries_all_of_it(tmp_path: Path) -> None:
    (tmp_path / "ours.toml").write_text(OWN, "utf-8")
    sheet = schedules.sheet_of(recipe_from_data(recipe(schedule="ours.toml", lead="median")), tmp_path)
    data = tomllib.loads(batch_toml(sheet))
    data.pop("made_of")
    made = plan_from_data("b", data)
    assert made.stages == plan_of(sheet, "b").stages
    assert (made.stages[0].empty, made.stages[1].mark, made.wood, made.lead) == (
        True,
        "brown enough",
        "element",
        "median",
    )


def test_the_page_takes_shipped_schedules_and_own_files_but_no_paths(tmp_path: Path) -> None:
    own = tmp_path / "schedules"
    own.mkdir()
    (own / "ours.toml").write_text(OWN, "utf-8")
    (tmp_path / "secret.toml").write_text(OWN, "utf-8")
    assert schedules.names(own) == [*schedules.shipped(), "ours.toml"]
    assert schedules.names(tmp_path / "none") == schedules.shipped()
    assert desk_plan.sheet(recipe(schedule="ours.toml"), own)["blocks"]
    for path in ("../secret.toml", "/etc/hostname"):
        with pytest.raises(PlanError, match="There is no schedule"):
            desk_plan.sheet(recipe(schedule=path), own)


@pytest.mark.parametrize(
    ("right", "wrong", "line", "words"),
    [
        ('hold = "150 F"', 'hold = "200 F"', 8, "over the smoker limit"),  # the line of the stage's name
        ('[[stage]]\nname = "smoke"', '[[stages]]\nname = "smoke"', 7, "stages is not known; did you mean stage"),
        ('hold = "150 F"', 'hodl = "150 F"', 9, "did you mean hold"),
    ],
)
def test_a_fault_of_the_schedule_is_told_with_its_file_and_line(
    right: str, wrong: str, line: int, words: str, tmp_path: Path
) -> None:
    (tmp_path / "ours.toml").write_text(OWN.replace(right, wrong), "utf-8")
    with pytest.raises(PlanError, match=words) as refused:
        schedules.sheet_of(recipe_from_data(recipe(schedule="ours.toml", limit="180 F")), tmp_path)
    assert "ours.toml" in str(refused.value)
    assert f"line {line}:" in str(refused.value)


def test_a_schedule_that_is_not_there_names_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="follow_130, michigan, north_dakota, ohio"):
        schedules.sheet_of(recipe_from_data(recipe(schedule="ohoi")), tmp_path)


def test_the_listing_names_each_source() -> None:
    text = schedules.listing()
    assert all(f"{name}: " in text for name in schedules.shipped())
    assert "FN-176" in text
    assert plan.schedules is schedules


def test_two_stages_of_one_name_are_refused(tmp_path: Path) -> None:
    (tmp_path / "ours.toml").write_text(OWN.replace('"warm"', '"smoke"'), "utf-8")
    with pytest.raises(PlanError, match="two of this name"):
        schedules.sheet_of(recipe_from_data(recipe(schedule="ours.toml")), tmp_path)


@pytest.mark.parametrize("name", ["north_dakota", "ohio"])
def test_a_shipped_schedule_is_rehearsed_to_the_end_and_every_chub_is_in_its_band(name: str) -> None:
    read = schedule_from_text((schedules.SCHEDULES / f"{name}.toml").read_text("utf-8"), name)
    scenario = Scenario(
        chubs=3, probes=3, diameters_mm=(38.0,), relay="solid-state", forecast=False, cap_degC=degC_from_degF(190.0),
        kit_cap_degC=degC_from_degF(200.0), options={"casing_factor": 0.02}, stages=read.stages,
    )  # fmt: skip
    result = Rehearsal(scenario, build_plant(scenario)).run()
    begun = {event.data["name"]: event.at_s for event in result.events if event.kind == "stage"}
    if name == "north_dakota":
        assert begun == pytest.approx({"warm": 3600.0, "cook": 7200.0}, abs=6.0)
    else:  # the mark an hour after each began
        assert "cook" in begun or [e.at_s for e in result.events if e.kind == "next-stage"] == [3600.0, 7200.0]
    cores = result.trace.cores()
    assert all(
        152.0 <= degF_from_degC(cores[int(out_s), i]) <= 155.0
        for i, out_s in enumerate(result.trace.pulled_s)
        if out_s is not None
    )
    assert None not in result.trace.pulled_s
    air = np.array(result.trace.air_degC)
    held = degF_from_degC(float(np.median(air[5400 if name == "ohio" else 1800 : 7000 if name == "ohio" else 3500])))
    assert held == pytest.approx(140.0, abs=1.5)  # the smoke stage, printed (North Dakota) or ours (Ohio)
