"""A batch sheet against figures worked by hand, against the traps of the trade, and against mass balance."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.batch.mix import make_mix
from fiftyover.batch.sheet import Sheet, make_sheet, plan_of
from fiftyover.errors import HubError, PlanError, ProcessError
from fiftyover_kit.contract.units import degC_from_degF
from hub.batch.recipes import data, meats, recipe
from references.batch.reading import by_hand

LB_G = 453.59237


def added_salt_g(sheet: Sheet) -> float:
    return next(part.weight_g for part in sheet.mix.parts if part.name == "salt")


def test_the_sheet_equals_the_one_worked_by_hand() -> None:
    sheet = make_sheet(recipe())
    line = sheet.lines[0]
    found = {
        "fat": sheet.mix.fat,
        "cure_g": sheet.mix.cure_g,
        "nitrite_ppm": sheet.mix.nitrite_ppm,
        "salt_in_all_g": sheet.mix.salt_in_all_g,
        "salt_added_g": added_salt_g(sheet),
        "batch_g": sheet.mix.batch_g,
        "chubs": line.count,
        "each_g": line.each_g,
        "fill_fraction": line.fill_fraction,
        "fills": len(sheet.fills),
    }
    expected = by_hand("sheet_by_hand.csv")
    for figure, value in found.items():
        wanted, tolerance = expected[figure]
        assert value == pytest.approx(wanted, abs=tolerance), figure


def test_chilling_in_ice_is_reckoned_as_by_hand() -> None:
    sheet = make_sheet(recipe(casing=[{"line": "stout", "diameter": "64 mm", "length": "50 cm"}]))
    minutes, tolerance = by_hand("sheet_by_hand.csv")["chill_ice_64mm_min"]
    assert sheet.chill_s / 60.0 == pytest.approx(minutes, abs=tolerance)


# -- the traps


def test_0_4_oz_of_no_1_cure_in_10_lb_is_allowed_and_rounded_down() -> None:
    mix = make_mix(recipe(meat=meats(("pork", "25 %", "10 lb")), cure={"weight": "0.4 oz", "scale_step": "0.01 g"}))
    # 0.4 oz = 11.3398 g -> 11.33 g; 11.33 x 0.0625 / 4535.9237 = 156.11 ppm; unrounded 156.25, the ceiling itself
    assert mix.cure_g == pytest.approx(11.33)
    assert mix.nitrite_ppm == pytest.approx(156.11, abs=0.01)


def test_cure_is_of_the_meat_not_of_the_batch() -> None:
    # 1.3 lb of other things: dividing by 11.3 lb would show 138 ppm, and would let 12.8 g through
    changes: dict[str, Any] = {
        "meat": meats(("pork", "25 %", "10 lb")),
        "water": "1 lb",
        "extra": [{"name": "apple", "amount": "0.3 lb"}],
    }
    mix = make_mix(recipe(cure={"weight": "11.3 g"}, **changes))
    assert mix.nitrite_ppm == pytest.approx(155.7, abs=0.05)
    with pytest.raises(PlanError, match=r"12\.80 g .* 176 ppm .* 11\.34 g at most"):
        make_mix(recipe(cure={"weight": "12.8 g"}, **changes))


def test_three_pounds_into_ten_are_not_thirty_percent() -> None:
    mix = make_mix(recipe(meat=[*meats(("beef", "0 %", "10 lb"), ("pork", "100 %", None))], target={"fat": "30 %"}))
    assert mix.meats[1].weight_g / LB_G == pytest.approx(4.286, abs=0.0005)  # 10 x 0.3 / 0.7
    assert mix.fat == pytest.approx(0.30)


def test_one_pound_does_not_go_into_a_casing_of_1_5_by_12_inch() -> None:
    with pytest.raises(ProcessError, match="does not go into"):
        make_sheet(recipe(casing=[{"line": "slim", "diameter": "1.5 in", "length": "12 in", "weight": "1 lb"}]))
    # geometry: pi/4 x (0.0381 m)^2 x 0.3048 m x 1040 kg/m3 = 0.3614 kg = 0.797 lb
    fits = make_sheet(recipe(casing=[{"line": "slim", "diameter": "1.5 in", "length": "12 in", "weight": "0.79 lb"}]))
    assert 0.9 < fits.lines[0].fill_fraction <= 1.0


def test_a_percent_typed_for_a_fraction_is_refused() -> None:
    with pytest.raises(HubError, match="100 %"):
        make_mix(recipe(cure={"nitrite": "625 %"}))
    with pytest.raises(ProcessError, match="percent"):
        make_mix(recipe(cure={"nitrite": "62.5 %"}))


def test_a_coarse_scale_is_warned_about_with_its_step_in_ppm() -> None:
    mix = make_mix(recipe(meat=meats(("pork", "25 %", "10 lb")), cure={"scale_step": "1 g"}))
    assert mix.cure_g == 11.0
    assert any("14 ppm" in notice.text for notice in mix.notices)  # 62 500 / 4536 = 13.8


@pytest.mark.parametrize(("wanted", "code"), [("110 ppm", "below-120"), ("35 ppm", "below-40")])
def test_little_cure_is_warned_about(wanted: str, code: str) -> None:
    assert code in {notice.code for notice in make_mix(recipe(cure={"wanted": wanted})).notices}


# -- blends and casings that cannot be


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"target": {"fat": "5 %"}}, "nearest possible is 10.0%"),
        ({"cure": {"wanted": "170 ppm"}}, "156.25"),
        ({"cure": {"wanted": "150 ppm", "weight": "20 g"}}, "Both"),
        ({"cure": {"erythorbate": "600 ppm"}}, "546.875"),
        ({"meat": meats(("pork", "30 %", "6 kg"), ("beef", "10 %", None))}, "weight of meat 2 is missing"),
        ({"meat": meats(("pork", "30 %", "900 t"))}, "900 t"),
        ({"meat": meats(("pork", "30 %", "900000 kg"))}, "weighs 900000 kg .* from 0.1 to 500 kg"),
        (
            {"casing": [{"line": "slim", "diameter": "45 mm", "length": "300 mm", "count": 10}]},
            "take 29 of line 'slim'",
        ),
        ({"casing": [{"line": "slim", "diameter": "45 mm"}]}, "neither a length nor a weight"),
        ({"casing": [{"line": "slim", "diameter": "2 mm", "length": "300 mm"}]}, "Inches typed"),
        ({"rig": {"hooks": 12}}, "29 chubs do not hang on 12 hooks: 12 at most"),
        ({"salt": {"in_all": "0.1 %"}}, "least possible is 0.22%"),
        ({"water": "20 kg"}, "more than the meat itself"),
        ({"cook": {"band_from": "152 F"}}, "band_to"),
        ({"cook": {"band_from": "130 F", "band_to": "135 F"}}, "too low"),
        ({"cook": {"limit": "140 F"}}, "raise the limit"),
    ],
)
def test_what_cannot_be_is_refused_with_the_nearest_possible(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(HubError, match=words):
        make_sheet(recipe(**changes))


# -- bands, probes, lines


@pytest.mark.parametrize(
    ("kind", "foot_degF", "advice"), [("pork", 152, 160), ("game", 160, 160), ("chicken", 165, 165), ("lamb", 152, 160)]
)
def test_the_band_is_proposed_from_the_kinds_of_meat(kind: str, foot_degF: float, advice: int) -> None:
    band = make_sheet(recipe(meat=meats(("pork", "30 %", "6 kg"), (kind, "10 %", "4 kg")))).band
    assert band.foot_degC == pytest.approx(degC_from_degF(foot_degF))
    assert band.advice_degF == advice
    assert bool(band.warning) == (foot_degF < advice)


def test_stout_and_slim_share_a_batch_and_each_line_gets_a_probe() -> None:
    lines = [
        {"line": "slim", "diameter": "45 mm", "length": "30 cm"},
        {"line": "stout", "diameter": "64 mm", "length": "50 cm", "count": 3},
    ]
    sheet = make_sheet(recipe(casing=lines, rig={"probes": 2}))
    probed = [(chub.line, chub.probe) for chub in sheet.chubs if chub.probe]
    assert probed == [("stout", 1), ("slim", 2)]
    assert sum(line.count * line.each_g for line in sheet.lines) == pytest.approx(sheet.mix.batch_g)
    assert dict(sheet.limits_degC) == {
        "slim": pytest.approx(degC_from_degF(180)),
        "stout": pytest.approx(degC_from_degF(200)),
    }
    plan = plan_of(sheet, "b1")
    assert dict(plan.line_caps) == {"slim": pytest.approx(degC_from_degF(180))}
    assert plan.cap_degC == pytest.approx(degC_from_degF(200))


def test_ice_is_at_least_as_heavy_as_the_chubs() -> None:
    sheet = make_sheet(recipe())
    ice = next(need for need in sheet.shopping if need.what == "ice")
    assert ice.number >= sheet.mix.batch_g


def test_a_stout_chub_in_the_refrigerator_alone_is_told_to_be_too_slow() -> None:
    stout = [{"line": "stout", "diameter": "64 mm", "length": "50 cm"}]
    told = make_sheet(recipe(casing=stout, times={"chill": "refrigerator"})).notices
    assert any("from 130 to 80 °F" in notice and "use ice" in notice for notice in told)
    assert not any("use ice" in notice for notice in make_sheet(recipe(casing=stout)).notices)


# -- properties


@settings(max_examples=40, deadline=None)
@given(scale=st.floats(0.3, 20.0))
def test_a_batch_of_another_size_keeps_every_proportion(scale: float) -> None:
    fine = {"wanted": "150 ppm", "scale_step": "0.0001 g"}
    one = make_mix(recipe(cure=fine))
    other = make_mix(
        recipe(cure=fine, meat=meats(("pork", "30 %", f"{6 * scale!r} kg"), ("beef", "10 %", f"{4 * scale!r} kg")))
    )
    assert other.batch_g == pytest.approx(one.batch_g * scale, rel=1e-6)
    assert other.fat == pytest.approx(one.fat)
    assert other.nitrite_ppm == pytest.approx(one.nitrite_ppm, rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(
    pork=st.floats(0.5, 50.0),
    beef=st.floats(0.5, 50.0),
    water=st.floats(0.1, 15.0),
    salt=st.floats(0.5, 3.0),
    ppm=st.floats(20.0, 156.25),
)
def test_mass_is_kept_from_meat_to_chubs(pork: float, beef: float, water: float, salt: float, ppm: float) -> None:
    changes = {
        "water": f"{water} %",
        "salt": {"in_all": f"{salt} %"},
        "cure": {"wanted": f"{ppm} ppm", "scale_step": "0.01 g"},
    }
    mix = make_mix(recipe(meat=meats(("pork", "30 %", f"{pork} kg"), ("beef", "10 %", f"{beef} kg")), **changes))
    assert mix.batch_g == pytest.approx(mix.meat_g + sum(part.weight_g for part in mix.parts))
    assert mix.nitrite_ppm <= ppm * (1 + 1e-9)
    assert mix.cure_g * mix.nitrite_fraction == pytest.approx(mix.nitrite_ppm * 1e-6 * mix.meat_g)


def test_pounds_and_kilograms_give_the_same_sheet() -> None:
    in_kg = make_mix(
        recipe(meat=meats(("pork", "30 %", f"{6 * LB_G / 1000!r} kg"), ("beef", "10 %", f"{4 * LB_G / 1000!r} kg")))
    )
    in_lb = make_mix(recipe(meat=meats(("pork", "30 %", "6 lb"), ("beef", "10 %", "4 lb"))))
    assert in_lb.batch_g == pytest.approx(in_kg.batch_g, rel=1e-12)
    assert in_lb.cure_g == in_kg.cure_g


def test_the_data_of_the_tests_is_itself_sound() -> None:
    assert data()["name"] == "by hand"
    assert "cure" not in data(cure=None)
