"""The thresholds of the hold on a few of the bench's own smokers, so that a controller that got worse fails here.

Fewer and shorter than `python tests/bench/hold`: four random smokers for 50 min, one door at the limit, one cook with a
late person. The least ratios are those asked of the worst of 24 smokers, the medians those of all.
"""

import statistics
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "hold"))

import endings  # noqa: E402
from smokers import DOOR_S, cook, limits, overshoot_kelvin, smoker  # noqa: E402

from fiftyover.rehearse.scenario import Scenario  # noqa: E402

SMOKERS = (0, 5, 6, 11)
HOLD_S = 3000
RELAYS = ("mechanical", "solid-state")
#          median and least against dial, against thermostat, switchings/h, median rms, worst rms [K]
ASKED = {
    "mechanical": (10.0, 7.5, 3.0, 2.3, 60.0, None, None),
    "solid-state": (16.0, 7.5, 5.0, 2.3, 120.0, 0.5, 0.75),
}


@pytest.fixture(scope="module")
def held() -> dict[str, list[dict[str, float]]]:
    """What `--json` says of each smoker, by who holds it."""
    found: dict[str, list[dict[str, float]]] = {}
    for who in (*RELAYS, "dial", "thermostat"):
        how = {"relay": who} if who in RELAYS else {"relay": "solid-state", "controller": who}
        found[who] = [cook(smoker(number, 1, **how), HOLD_S).outcome for number in SMOKERS]
    return found


@pytest.mark.parametrize("relay", RELAYS)
def test_the_chamber_is_held_many_times_better_than_by_dial_and_thermostat(
    relay: str, held: dict[str, list[dict[str, float]]]
) -> None:
    dial, dial_least, thermostat, thermostat_least, switchings, median, worst = ASKED[relay]
    rms = [one["rms_kelvin"] for one in held[relay]]
    for baseline, of_all, of_worst in (("dial", dial, dial_least), ("thermostat", thermostat, thermostat_least)):
        ratios = [base["rms_kelvin"] / mine for base, mine in zip(held[baseline], rms, strict=True)]
        assert statistics.median(ratios) >= of_all, (baseline, ratios)
        assert min(ratios) >= of_worst, (baseline, ratios)
    assert max(one["switchings_per_h"] for one in held[relay]) <= switchings
    assert sum(one["above_cap_min"] for one in held[relay]) == 0.0
    if median is not None and worst is not None:
        assert statistics.median(rms) <= median
        assert max(rms) <= worst


@pytest.mark.parametrize("watts", [800.0, 1500.0])
def test_a_door_at_the_limit_overshoots_by_two_kelvin_at_most(watts: float) -> None:
    door_s = 5400.0
    strong = watts > 1000.0
    told = Scenario(
        seed=1, chubs=3, probes=3, diameters_mm=(38.0,), element_watts=watts, relay="mechanical", doors_s=(door_s,),
        forecast=False, **limits(200.0 if strong else 180.0),
    )  # fmt: skip
    one = cook(told, int(door_s + DOOR_S) + 1200)
    assert overshoot_kelvin(one, door_s) <= 2.0
    assert one.outcome["worst_above_cap_kelvin"] <= 1.5


def test_every_chub_ends_in_its_band_though_the_person_comes_late() -> None:
    found = endings.ending(endings.Case(3, 10.0, (152.0, 155.0), 190.0, (38.0,), 5 * 3600))
    assert (found.below, found.above, found.uncalled) == (0, 0, 0), found
    assert found.unreached == 0
