"""A table of stages that cannot be run is refused when the plan is made, with the stage and the reason."""

import pytest

from fiftyover.batch.stages import STAGES, Stage
from fiftyover.batch.written import data_of_plan, plan_from_data
from fiftyover.errors import PlanError
from hub.batch.simple_smoker import plan

END = Stage("cook")


def dry(**changes: object) -> Stage:
    figures = {"name": "dry", "does": "hold", "hold_degC": 54.4, "after_s": 3600.0, **changes}
    return Stage(**figures)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stages", "words"),
    [
        ((), "no stages"),
        ((Stage("", after_s=60.0), END), "no name"),
        ((dry(does="wait"), END), "'dry': 'wait' is not known"),
        ((dry(hold_degC=None), END), "no temperature"),
        ((dry(hold_degC=130.0), END), "130"),  # °F typed as °C
        ((dry(hold_degC=float("nan")), END), "nan"),
        ((dry(hold_degC=90.0), END), "over the smoker limit"),
        ((dry(lift_kelvin=20.0), END), "say nothing"),
        ((Stage("a", hold_degC=60.0, after_s=60.0), END), "follows the meat"),
        ((Stage("a", lift_kelvin=50.0, after_s=60.0), END), "lift is 50"),  # °F typed as kelvin
        ((Stage("a", limit_degC=95.0, after_s=60.0), END), "over the smoker limit"),
        ((Stage("a", floor_degC=70.0, limit_degC=65.0, after_s=600.0), END), "below the floor"),
        ((dry(hold_degC=75.0), Stage("cook", limit_degC=72.0)), "that it starts at"),
        ((dry(after_s=None), END), "nothing ends it"),
        ((dry(after_s=1.0), END), "its time"),
        ((dry(after_s=float("inf")), END), "its time"),
        ((dry(core_degC=54.0), END), "cannot come in a chamber"),
        ((Stage("a", core_degC=70.0), END), "pulled from"),
        ((dry(core_degC=130.0), END), "core that ends it"),
        ((dry(), dry(name="b", empty=True), END), "first"),
        ((Stage("a", empty=True, after_s=600.0), END), "no meat to follow"),
        ((dry(empty=True, core_degC=40.0), END), "no meat"),
        ((dry(empty=True, after_s=5 * 3600.0), END), "its time"),
        ((dry(empty=True, after_s=None),), "must be a stage with meat"),
        ((dry(),), "leave its end out"),
        ((dry(after_s=None),), "the end cannot come"),
        ((Stage("a", limit_degC=68.5),), "the end cannot come"),
    ],
)
def test_tables_that_cannot_be_are_refused_with_the_reason(stages: tuple[Stage, ...], words: str) -> None:
    with pytest.raises(PlanError, match=words) as refused:
        plan(stages=stages, cap_degC=82.2, relay="solid-state")
    assert str(refused.value).endswith(".")
    assert str(refused.value).count(". ") == 0  # one sentence


def test_a_table_with_every_kind_of_end_is_taken_and_kept_as_plain_data() -> None:
    stages = (
        dry(name="preheat", empty=True, hold_degC=60.0, after_s=1800.0),
        dry(after_s=None, mark="dry to the touch"),
        dry(name="smoke", hold_degC=60.0, smoke=True, core_degC=40.0),
        Stage("climb", lift_kelvin=20.0, floor_degC=60.0, limit_degC=76.0, core_degC=60.0),
        Stage("cook", floor_degC=60.0),
    )
    made = plan(stages=stages, cap_degC=82.2, wood="element", autotune=True)
    data = data_of_plan(made)
    assert plan_from_data(made.batch_id, data) == made
    assert data["stages"][1] == {"name": "dry", "does": "hold", "hold_degC": 54.4, "mark": "dry to the touch"}


def test_plain_follow_is_one_row_that_needs_no_writing() -> None:
    made = plan()
    assert made.stages == STAGES
    assert data_of_plan(made)["stages"] == []
    older = {key: value for key, value in data_of_plan(made).items() if key not in ("stages", "wood", "autotune")}
    assert plan_from_data(made.batch_id, older) == made  # a plan of an older record


def test_a_stage_with_a_typo_in_a_stored_plan_is_refused_by_name() -> None:
    data = data_of_plan(plan()) | {"stages": [{"name": "a", "hold_degF": 130.0}]}
    with pytest.raises(PlanError, match=r"stages\.0\.hold_degF"):
        plan_from_data("b", data)
