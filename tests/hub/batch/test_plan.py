"""A plan is checked when it is made: each refusal names the thing and the remedy."""

import pytest

from fiftyover.batch.plan import Chub, Plan
from fiftyover.errors import PlanError
from hub.batch.simple_smoker import plan


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lift_kelvin": 50.0}, "lift"),  # 50 °F typed as kelvin
        ({"lift_kelvin": float("nan")}, "lift"),
        ({"cap_degC": 120.0}, "limit"),
        ({"cap_degC": 68.0}, "raise the limit"),
        ({"floor_degC": 95.0}, "lower the floor"),
        ({"band_degC": (68.33, 66.67)}, "band"),
        ({"band_degC": (152.0, 155.0)}, "band"),
        ({"response_s": -1.0}, "response"),
        ({"relay": "mercury"}, "mercury"),
        ({"element_watts": 0.0}, "power"),
        ({"line_caps": (("stout", 90.0),)}, "stout"),
        ({"line_caps": (("slim", 60.0),)}, "limit"),
        ({"place_pace": (("hook 1", 0.0),)}, "hook 1"),
        ({"wood": "roof"}, "roof"),
        ({"standby_degC": 95.0}, "stand-by"),
        ({"standby_degC": 20.0}, "stand-by"),
        ({"standby_degC": 66.0, "standby_s": 14401}, "time of the stand-by"),
    ],
)
def test_impossible_figures_are_refused_by_name(changes: dict[str, object], words: str) -> None:
    with pytest.raises(PlanError, match=words):
        plan(**changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("chubs", "words"),
    [
        ((), "no chubs"),
        ((Chub(1, "slim", 45.0, "a", 1), Chub(1, "slim", 45.0, "b", 2)), "Chub 1"),
        ((Chub(1, "slim", 45.0, "a", 1), Chub(2, "slim", 45.0, "b", 1)), "Probe 1"),
        ((Chub(1, "slim", 45.0, "a", 0),), "count from 1"),
        ((Chub(1, "slim", 4.5, "a"),), "diameter"),
    ],
)
def test_chubs_that_cannot_hang_so_are_refused(chubs: tuple[Chub, ...], words: str) -> None:
    with pytest.raises(PlanError, match=words):
        Plan("b", "n", chubs, 82.0)


def test_a_plan_knows_its_channels_margin_and_places() -> None:
    made = plan(12, 2, element_watts=1500.0, place_pace=(("hook 3", 0.9),))
    assert made.channels == 3
    assert made.margin_kelvin == pytest.approx(4.0 / 1.8)
    assert (made.pace("hook 3"), made.pace("hook 4")) == (0.9, 1.0)
    assert made.chub(12).probe is None
