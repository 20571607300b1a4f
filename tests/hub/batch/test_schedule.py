"""Schedules: the shipped ones are the published figures, a person's own is read or refused with its line."""

from importlib import resources

import pytest

from fiftyover.batch.schedule import Schedule, at_line, schedule_from_text
from fiftyover.errors import PlanError
from fiftyover_kit.contract.units import degF_from_degC
from hub.batch.simple_smoker import plan

FOLDER = resources.files("fiftyover.batch") / "schedules"
OWN = """\
name = "Slow and smoky"
wood = "tray"

[[stage]]
name = "dry"
hold = "130 F"
until = "dry to the touch"

[[stage]]
name = "smoke"
hold = "60 C"
smoke = true
for = "1 h 30 min"
until_core = "110 F"

[[stage]]
name = "cook"
lift = "50 F"
floor = "150 F"
limit = "180 F"
"""


def shipped(name: str) -> Schedule:
    return schedule_from_text((FOLDER / f"{name}.toml").read_text("utf-8"), name)


def held(schedule: Schedule) -> list[int | None]:
    return [None if s.hold_degC is None else round(degF_from_degC(s.hold_degC)) for s in schedule.stages]


def test_shipped_schedules_have_the_published_figures_and_name_their_source() -> None:
    """NDSU FN-176, MSU 01600623, Ohio State slides: as read for `shared` reference `process/schedules.csv`."""
    north_dakota, michigan, ohio = shipped("north_dakota"), shipped("michigan"), shipped("ohio")
    assert held(north_dakota) == [140, 160, 180]
    assert [s.after_s for s in north_dakota.stages] == [3600.0, 3600.0, None]
    assert [s.smoke for s in north_dakota.stages] == [True, False, False]
    assert held(michigan) == [185]
    assert ohio.stages[0].mark == "dry to the touch"
    assert 110 <= (held(ohio)[0] or 0) <= 145
    assert "FN-176" in north_dakota.source
    assert "01600623" in michigan.source
    assert "Knipe" in ohio.source
    follow = shipped("follow_130").stages
    assert len(follow) == 1
    assert degF_from_degC(follow[0].floor_degC or 0.0) == pytest.approx(130.0)
    assert follow[0].lift_kelvin == pytest.approx(50.0 / 1.8)


@pytest.mark.parametrize(("name", "cap_degF"), [("north_dakota", 180), ("michigan", 190), ("ohio", 180)])
def test_shipped_schedules_can_be_cooked_under_a_usual_limit(name: str, cap_degF: float) -> None:
    schedule = shipped(name)
    made = plan(stages=schedule.stages, wood=schedule.wood, cap_degC=(cap_degF - 32.0) / 1.8, band_degC=(66.67, 68.33))
    assert made.stages == schedule.stages


def test_one_step_of_185_degF_is_refused_under_a_limit_of_180() -> None:
    with pytest.raises(PlanError, match="185 °F, over the smoker limit 180 °F"):
        plan(stages=shipped("michigan").stages, cap_degC=82.2)


def test_own_schedule_is_read_into_stages() -> None:
    schedule = schedule_from_text(OWN)
    dry, smoke, cook = schedule.stages
    assert (schedule.name, schedule.wood) == ("Slow and smoky", "tray")
    assert (dry.does, dry.mark, dry.after_s) == ("hold", "dry to the touch", None)
    assert (smoke.hold_degC, smoke.smoke, smoke.after_s) == (60.0, True, 5400.0)
    assert smoke.core_degC == pytest.approx(43.33, abs=0.01)
    assert (cook.does, cook.hold_degC) == ("follow", None)
    assert cook.lift_kelvin == pytest.approx(27.78, abs=0.01)


@pytest.mark.parametrize(
    ("right", "wrong", "line", "words"),
    [
        ('hold = "60 C"', 'holt = "60 C"', 11, "holt is not known; did you mean hold"),
        ('for = "1 h 30 min"', 'for = "90"', 13, "for: '90' lacks its unit"),
        ('for = "1 h 30 min"', "for = 90", 13, "lacks its unit"),
        ('limit = "180 F"', 'limit = "hot"', 20, "limit: 'hot' must be"),
        ('limit = "180 F"', "limit = ", 20, "not TOML"),
        ('wood = "tray"', 'wood = "roof"', 2, "wood: This must be"),
        ('wood = "tray"', 'would = "tray"', 2, "would is not known; did you mean wood"),
        ('name = "smoke"\n', "", 9, "name is missing"),
        ('name = "Slow and smoky"\n', "", 1, "name is missing"),
        ("smoke = true", 'smoke = "perhaps"', 12, "smoke"),
    ],
)
def test_a_typo_is_refused_with_its_line_and_the_reason(right: str, wrong: str, line: int, words: str) -> None:
    assert right in OWN
    with pytest.raises(PlanError, match=words) as refused:
        schedule_from_text(OWN.replace(right, wrong, 1), "own.toml")
    assert f"line {line}" in str(refused.value)
    assert "own.toml" in str(refused.value)


def test_a_stage_that_cannot_be_is_told_with_its_line() -> None:
    text = OWN.replace('limit = "180 F"', 'limit = "150 F"')
    with pytest.raises(PlanError) as refused:
        plan(stages=schedule_from_text(text).stages, cap_degC=82.2)
    assert str(at_line(text, refused.value, "own.toml")).startswith("own.toml, line 17: Stage 'cook'")
    other = PlanError("The lift is wrong.")
    assert at_line(text, other) is other
