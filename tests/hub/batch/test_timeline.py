"""The timeline forwards, backwards, at night, and one that cannot be met."""

import pytest

from fiftyover.batch import timeline
from fiftyover.batch.sheet import make_sheet, with_times
from fiftyover.batch.timeline import CookSpan
from fiftyover.errors import PlanError
from hub.batch.recipes import recipe

H = 3600.0
COOK = [CookSpan("slim", 4 * H, 5 * H, 6 * H)]


def test_steps_forwards_add_up_as_by_hand() -> None:
    # 10:00 mix 1:30, stuff 1:00 -> 12:30, hold 20 h -> 08:30, hang and checks 0:45 -> 09:15,
    # cook 5 h (at most 6) -> 14:15 (15:15)
    sheet = with_times(make_sheet(recipe()), COOK, 10 * H, None, 0.0)
    ends = {step.name: step.end_s / H for step in sheet.steps}
    assert ends["stuff"] == pytest.approx(12.5)
    assert ends["cure hold in the refrigerator"] == pytest.approx(24 + 8.5)
    assert ends["smoke and cook"] == pytest.approx(24 + 14.25)
    cook = next(step for step in sheet.steps if step.name == "smoke and cook")
    assert cook.latest_s / H == pytest.approx(24 + 15.25)
    last = sheet.steps[-1]
    assert last.start_s == pytest.approx(cook.end_s + sheet.chill_s + H)
    assert last.latest_s - last.end_s == pytest.approx(H)


def test_backwards_from_done_by_even_a_long_cook_is_in_time() -> None:
    sheet = with_times(make_sheet(recipe()), COOK, None, 3 * 24 * H, 0.0)
    assert sheet.steps[-1].latest_s == pytest.approx(3 * 24 * H)
    again = with_times(make_sheet(recipe()), COOK, sheet.steps[0].start_s, None, 0.0)
    assert again.steps == sheet.steps


def test_a_done_by_that_cannot_be_met_names_the_nearest_that_can() -> None:
    sheet = make_sheet(recipe())
    # all steps: 1.5 + 1 + 20 + 0.75 + 6 + chill + 1 h; from 10:00
    whole_s = 30.25 * H + sheet.chill_s
    with pytest.raises(PlanError, match="cannot be met") as told:
        with_times(sheet, COOK, None, 10 * H + whole_s - 2 * H, 10 * H)
    assert "2 h too short" in str(told.value)
    assert timeline.day_and_time(10 * H + whole_s) in str(told.value)
    assert "or take a cure hold of 18 h" in str(told.value)
    assert with_times(sheet, COOK, None, 10 * H + whole_s, 10 * H).steps


@pytest.mark.parametrize(
    ("start_h", "end_h", "night_h"),
    [(10, 22, 0), (22, 24, 1), (0, 6, 6), (5, 7, 1), (23, 54, 14), (29, 30, 1), (30, 47, 0)],
)
def test_hours_of_the_night_are_counted(start_h: float, end_h: float, night_h: float) -> None:
    assert timeline.nights_s(start_h * H, end_h * H) == pytest.approx(night_h * H)


def test_a_step_at_night_is_flagged_and_a_longer_hold_offered() -> None:
    sheet = with_times(make_sheet(recipe()), COOK, 18 * H, None, 0.0)  # hung at 16:30, cooked until 23:15 or later
    assert [step.name for step in sheet.steps if step.at_night][0] == "smoke and cook"
    assert any("night" in notice for notice in sheet.notices)
    assert any("14 h 30 min longer would hang the chubs at 7 in the morning" in notice for notice in sheet.notices)
    by_day = with_times(make_sheet(recipe()), COOK, 10 * H, None, 0.0)
    assert not any("night" in notice for notice in by_day.notices)


def test_every_line_needs_its_duration() -> None:
    with pytest.raises(PlanError, match="each casing line"):
        with_times(make_sheet(recipe()), [], 0.0, None, 0.0)
