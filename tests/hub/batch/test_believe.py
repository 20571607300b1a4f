"""Believe slowly: what slips, hangs free, breaks or freezes is not believed, and an ordinary cook is."""

import copy

import pytest

from fiftyover.batch.believe import Row, Track, fault, usable, watch
from hub.batch.simple_smoker import Smoker, plan

CORES_DEGF = (100.0, 125.0, 140.0, 150.0)


@pytest.fixture(scope="module")
def cook() -> dict[float, Smoker]:
    """One cook of three chubs, a copy of it kept at each core of the slowest."""
    smoker = Smoker(plan(3, cap_degC=82.2), pull=0.0008)
    smoker.hang()
    kept = {}
    for degF in CORES_DEGF:
        smoker.to_core((degF - 32.0) / 1.8)
        smoker.answers = False
        kept[degF] = copy.deepcopy(smoker)
    return kept


@pytest.mark.parametrize("lag_s", [8.0, 20.0, 60.0])
@pytest.mark.parametrize("degF", CORES_DEGF)
def test_a_probe_that_falls_out_calls_nothing_and_does_not_raise_the_target(
    cook: dict[float, Smoker], degF: float, lag_s: float
) -> None:
    smoker = copy.deepcopy(cook[degF])
    called = {e.data["chub"] for e in smoker.of_kind("called")}
    dropped_s = smoker.at_s
    smoker.fallen[1] = (smoker.core[0], lag_s)  # that of the lowest core: the one that leads
    limit = smoker.plan.cap_degC - smoker.plan.margin_kelvin
    for _ in range(900):
        smoker.step()
        if smoker.at_s < dropped_s + 600.0:
            assert smoker.decision is not None
            assert smoker.decision.target_degC is not None
            assert smoker.decision.target_degC <= min(smoker.core[0] + 27.78, limit) + 0.5
    assert {e.data["chub"] for e in smoker.of_kind("called")} - called <= {2, 3}
    out = smoker.of_kind("probe-out")
    assert [e.data["probe"] for e in out] == [1]
    assert out[0].at_s - dropped_s < 60.0
    assert smoker.of_kind("probe-back") == []


@pytest.mark.parametrize("lag_s", [8.0, 60.0])
def test_the_only_probe_falling_out_holds_the_chamber(lag_s: float) -> None:
    smoker = Smoker(plan(1))
    smoker.hang()
    smoker.to_core(50.0)
    smoker.fallen[1] = (smoker.core[0], lag_s)
    before = smoker.decision.target_degC  # type: ignore[union-attr]
    smoker.run(30.0)
    assert smoker.decision.target_degC < before + 0.5  # type: ignore[union-attr, operator]
    smoker.run(3600.0)
    assert smoker.decision.why == "holding"  # type: ignore[union-attr]
    assert "called" not in smoker.kinds()


def test_a_probe_put_back_is_believed_again_after_three_minutes() -> None:
    smoker = Smoker(plan(2))
    smoker.hang()
    smoker.to_core(50.0)
    smoker.fallen[1] = (smoker.core[0], 10.0)
    smoker.run(300.0)
    del smoker.fallen[1]
    smoker.run(170.0)
    assert smoker.of_kind("probe-back") == []
    smoker.run(120.0)
    assert [e.data["probe"] for e in smoker.of_kind("probe-back")] == [1]


def test_a_probe_that_was_never_in_the_meat_is_found_while_the_chamber_warms() -> None:
    smoker = Smoker(plan(2))
    smoker.hang()
    smoker.fallen[2] = (18.0, 20.0)
    smoker.run(600.0)
    assert [e.data["probe"] for e in smoker.of_kind("probe-out")] == [2]


def test_an_ordinary_cook_with_doors_and_turning_excludes_nothing() -> None:
    smoker = Smoker(plan(4, probes=4))
    smoker.pace = [1.6e-4, 2.2e-4, 3.0e-4, 4.0e-4]  # from stout to slimmest, in the middle of 45 mm of the plan
    smoker.hang()
    for degC in (30.0, 45.0, 58.0):
        smoker.to_core(degC)
        smoker.door_s = smoker.at_s + 300.0  # five minutes of turning
        smoker.run(600.0)
    smoker.finish()
    assert "probe-out" not in smoker.kinds()
    assert "swapped" not in smoker.kinds()


@pytest.mark.parametrize("status", ["open", "short", "range", "jump", "stuck"])
def test_a_status_at_fault_excludes_the_channel_only(status: str) -> None:
    smoker = Smoker(plan(3))
    smoker.hang()
    smoker.run(1200.0)
    smoker.status[2] = status
    smoker.run(60.0)
    out = smoker.of_kind("probe-out")
    assert [(e.data["probe"], e.data["chub"]) for e in out] == [(2, 2)]
    assert out[0].data["from_s"] == out[0].at_s - 300.0  # the five minutes before are struck out
    assert smoker.decision.heat  # type: ignore[union-attr]


def rows_of(values: list[float], chamber: float) -> list[Row]:
    return [Row(5.0 * i, chamber, (None, v)) for i, v in enumerate(values)]


def test_a_core_that_falls_in_hot_air_is_not_in_its_chub_unless_a_door_was_open() -> None:
    rows = rows_of([55.0 - 0.05 * i for i in range(15)], 80.0)  # 0.6 K/min
    track = Track(0.0, used_degC=55.0, over_kelvin=25.0)
    assert fault(track, rows, 1, 45.0, masked=False) == "falls in hot air"
    assert fault(track, rows, 1, 45.0, masked=True) is None


def test_a_reading_without_any_noise_for_twenty_minutes_is_stuck() -> None:
    track = Track(0.0, used_degC=40.0, over_kelvin=40.0)
    for n in range(300):
        row = Row(5.0 * n, 80.0, (None, 40.0))
        track = watch(track, [row], 1, 45.0, masked=False)
        if track.out:
            break
    assert track.out == "does not move at all"
    assert 1200.0 <= row.at_s <= 1210.0


def test_usable_leaves_out_the_last_three_minutes_and_what_is_struck() -> None:
    times = [0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0]
    strikes = ((1, 150.0, 310.0), (2, 0.0, 1000.0))
    assert usable(times, strikes, 1, 600.0) == [True, True, False, False, True, False, False]
