"""A recipe is refused by the key that is wrong, with the nearest right one."""

from typing import Any

import pytest

from fiftyover.errors import PlanError
from hub.batch.recipes import meats, recipe


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"cure": {"nitrit": "6.25 %"}}, r"\[cure\] nitrit is not known; did you mean nitrite\?$"),
        ({"meet": []}, "meet is not known; did you mean meat"),
        ({"casing": [{"line": "slim", "diametr": "45 mm"}]}, r"\[\[casing\]\] 1 diametr .* did you mean diameter"),
        ({"cure": None}, r"\[cure\] is missing"),
        ({"meat": meats(("pork", "30 %", "6"))}, r"\[\[meat\]\] 1 weight: '6' lacks its unit"),
        ({"cure": {"weight": "1 tsp"}}, r"\[cure\] weight: .* by volume: weigh it"),
        ({"cure": {"nitrite": 6.25}}, r"\[cure\] nitrite: 6.25 lacks its unit"),
        (
            {"meat": meats(("porc", "30 %", "6 kg"))},
            r"\[\[meat\]\] 1 kind: 'porc' must be 'pork'.*; did you mean pork\?",
        ),
        ({"meat": meats(("pork", "30 %", "-6 kg"))}, r"'-6 kg' is less than nothing; 6 kg may be meant"),
        ({"meat": []}, "meat"),
        ({"rig": {"probes": -1}}, r"\[rig\] probes: -1 must be greater than or equal to 0"),
        ({"times": {"chill": "snow"}}, r"\[times\] chill: 'snow' must be 'ice' or 'refrigerator'"),
    ],
)
def test_a_wrong_key_or_figure_is_named(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(PlanError, match=words):
        recipe(**changes)


def test_a_starter_culture_is_refused_since_ph_is_not_measured() -> None:
    with pytest.raises(PlanError, match="pH"):
        recipe(starter="any")


@pytest.mark.parametrize("cure", [{"number": 2}, {"number": 1, "nitrate": "4 %"}])
def test_nitrate_in_a_cooked_sausage_is_asked_about(cure: dict[str, Any]) -> None:
    with pytest.raises(
        PlanError, match=r"is that on the label of what you have\? A sausage that is cooked takes No. 1"
    ):
        recipe(cure=cure)


def test_encapsulated_acid_allows_no_overnight_hold() -> None:
    acid = {"name": "encapsulated citric acid", "amount": "0.7 %"}
    with pytest.raises(PlanError, match="cure_hold"):
        recipe(acid=acid)
    assert recipe(acid=acid, times={"cure_hold": "0 h"}).times.hold_s == 0.0
