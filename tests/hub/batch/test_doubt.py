"""A probe that drifts hot is doubted beside the others, its chub asked for by hand; what hangs hotter is not."""

import math

import pytest

from fiftyover.batch.again import rebuild
from fiftyover.batch.believe import DOUBTED
from fiftyover.batch.doubt import LASTS_S, Doubt, Rise, doubted, hotter_kelvin, step
from fiftyover.errors import PlanError
from fiftyover.rehearse import faults
from fiftyover.rehearse.faults import Planned
from fiftyover.rehearse.rehearsal import Rehearsal, Result
from fiftyover.rehearse.scenario import Scenario, build_plant
from fiftyover_kit.contract.units import degF_from_degC
from hub.batch.simple_smoker import FOOT, TOP, Smoker, plan

RATE = 2.33e-4  # 1/s, of 45 mm at 12 W/m2K: our control notes, section 3 (23.30 K/h for 27.78 K)


class Drifting(Smoker):
    """A smoker whose first probe reads hotter by so much each hour from some second on."""

    per_h, from_s = 10.0, math.inf

    def reading(self):  # type: ignore[no-untyped-def]
        read = super().reading()
        extra = self.per_h * max(0.0, self.at_s - self.from_s) / 3600.0
        shown = tuple(v + round(extra, 2) if i == 1 and v is not None else v for i, v in enumerate(read.probe_degC))
        return type(read)(
            read.at_s, read.utc_ms, read.chamber_degC, shown, read.status, read.on, read.duty, read.why, read.seq,
            read.boot,
        )  # fmt: skip


def drifting(per_h: float) -> Drifting:
    smoker = Drifting(plan(4), pull=0.0008)
    smoker.hang()
    smoker.to_core(40.0)
    smoker.per_h, smoker.from_s = per_h, smoker.at_s
    return smoker


@pytest.mark.parametrize(("per_h", "within_min"), [(10.0, 20.0), (5.0, 75.0), (20.0, 14.0)])
def test_a_drifting_probe_is_doubted_said_so_and_its_chub_ends_in_its_band_by_hand(
    per_h: float, within_min: float
) -> None:
    smoker = drifting(per_h).finish()
    out = smoker.of_kind("probe-out")
    assert [(e.data["probe"], e.data["why"]) for e in out] == [(1, DOUBTED)]
    assert out[0].at_s - smoker.from_s < 60.0 * within_min
    asked = smoker.of_kind("check-asked")[0]
    assert (asked.data["chub"], asked.at_s) == (1, out[0].at_s)
    assert "swapped" not in smoker.kinds()  # in the end it reads far over the chamber
    assert all(FOOT - 0.1 <= core <= TOP + 0.1 for core in smoker.pulled.values()), smoker.pulled


def test_a_hand_reading_clears_a_probe_only_when_a_drift_would_show_in_it() -> None:
    smoker = drifting(10.0)
    smoker.run(3600.0, lambda s: "probe-out" in s.kinds())
    smoker.answers = False
    smoker.mark("hand-reading", {"chub": 1, "core_degC": smoker.reading().probe_degC[1]})
    smoker.run(60.0)
    assert smoker.of_kind("probe-back") == []  # a small drift still hides in a hand thermometer's error
    assert any("not believed" in note for note in smoker.decision.notes)  # type: ignore[union-attr]
    smoker.run(3000.0)
    smoker.mark("hand-reading", {"chub": 1, "core_degC": smoker.core[0]})
    smoker.run(60.0)
    assert smoker.of_kind("probe-back") == []
    smoker.mark("hand-reading", {"chub": 1, "core_degC": smoker.reading().probe_degC[1]})
    smoker.run(60.0)
    assert [e.data["probe"] for e in smoker.of_kind("probe-back")] == [1]


def test_a_doubt_outlives_a_restart_of_the_hub() -> None:
    smoker = drifting(10.0)
    smoker.run(3600.0, lambda s: "probe-out" in s.kinds())
    smoker.run(120.0)
    again = rebuild(smoker.plan, smoker.events, smoker.readings[-900:]).state
    assert again.tracks[1].out == DOUBTED
    smoker.state = again
    smoker.run(600.0)
    assert smoker.of_kind("probe-back") == []
    assert len(smoker.of_kind("probe-out")) == 1


def rise(slope_kelvin: float, core: float = 50.0, air: float = 77.8, line: str = "slim") -> Rise:
    """A chub whose place is so many kelvin hotter than the chamber probe, where nothing dries."""
    return Rise(line, 45.0, core, RATE * (air - core + slope_kelvin), air, wet=0.0)


def test_kelvin_of_air_are_what_the_published_rate_says() -> None:
    assert hotter_kelvin(rise(0.0), 1.0, 0.0) == pytest.approx(0.0, abs=0.1)
    assert hotter_kelvin(rise(6.0), 1.0, 0.0) == pytest.approx(6.0, abs=0.1)


def test_a_hotter_place_is_no_doubt_and_one_that_grows_hotter_is() -> None:
    rises, doubt = {1: rise(9.0), 2: rise(0.0), 3: rise(1.0)}, Doubt()
    for n in range(40):
        doubt = step(doubt, 1, rises, 30.0 * n)
    assert not doubted(doubt, 1200.0)
    grown = rises | {1: rise(20.0)}
    began_s = 30.0 * 40
    for n in range(40, 52):
        doubt = step(doubt, 1, grown, 30.0 * n)
        assert doubted(doubt, 30.0 * n) == (30.0 * n - began_s >= LASTS_S)


def test_a_peer_that_turns_cold_or_goes_makes_no_doubt_of_the_others() -> None:
    rises, doubt = {1: rise(0.0), 2: rise(-8.0), 3: rise(6.0), 4: rise(0.0)}, Doubt()
    for n in range(40):
        doubt = step(doubt, 1, rises, 30.0 * n)
    for n in range(40, 80):
        doubt = step(doubt, 1, rises | {3: rise(-20.0)}, 30.0 * n)
    assert not doubted(doubt, 2400.0)
    left = {1: rises[1], 2: rises[2]}  # the hot ones are pulled: only the coldest is left beside it
    for n in range(80, 120):
        doubt = step(doubt, 1, left, 30.0 * n)
    assert not doubted(doubt, 3600.0)


@pytest.fixture(scope="module")
def rehearsed() -> Result:
    """Slim and stout together, the door opened once, the first probe drifting by 10 K/h from 100 min on."""
    scenario = Scenario(
        seed=3, chubs=6, probes=6, diameters_mm=(45.0, 64.0), element_watts=1200.0, forecast=False,
        relay="solid-state", doors_s=(3000.0,), faults=(Planned("core-drift", 6000.0, 1),),
        options={"casing_factor": 0.03},
    )  # fmt: skip
    assert faults.DRIFT_KELVIN_PER_H == 10.0
    return Rehearsal(scenario, build_plant(scenario)).run()


def test_rehearsed_drift_is_found_in_a_quarter_of_an_hour_and_the_band_is_met(rehearsed: Result) -> None:
    out = [e for e in rehearsed.events if e.kind == "probe-out"]
    assert [e.data["probe"] for e in out] == [1]
    assert out[0].at_s - 6000.0 < 20 * 60.0
    cores = rehearsed.trace.cores()
    pulled = [degF_from_degC(cores[int(t), i]) for i, t in enumerate(rehearsed.trace.pulled_s) if t is not None]
    assert len(pulled) == 6
    assert all(152.0 <= core <= 155.0 for core in pulled), pulled


# -- who leads


def test_the_median_or_a_named_chub_leads_on_request() -> None:
    from fiftyover.batch.lead import choose

    cores = {1: 50.0, 2: 54.0, 3: 57.0, 4: 61.0}
    assert choose(plan(4), cores, frozenset()).core_degC == 50.0  # type: ignore[union-attr]
    assert choose(plan(4, lead="median"), cores, frozenset()).chub == 2  # type: ignore[union-attr]
    named = plan(4, lead=3)
    assert choose(named, cores, frozenset()).core_degC == 57.0  # type: ignore[union-attr]
    assert choose(named, {1: 50.0, 2: 54.0}, frozenset()).chub == 1  # type: ignore[union-attr]


@pytest.mark.parametrize("lead", ["hottest", 7, 3])
def test_a_lead_that_cannot_be_is_refused(lead: object) -> None:
    with pytest.raises(PlanError, match="(?i)lead"):
        plan(3, probes=2, lead=lead)


def test_the_named_chub_sets_the_target_and_its_loss_is_told() -> None:
    smoker = Smoker(plan(3, lead=3))
    smoker.hang()
    smoker.to_core(35.0)
    assert smoker.decision.target_degC == pytest.approx(smoker.core[2] + 27.78, abs=0.5)  # type: ignore[union-attr]
    smoker.mark("pulled", {"chub": 3, "probe": "away"})
    smoker.run(120.0)
    assert any("Chub 3, which is to lead" in note for note in smoker.decision.notes)  # type: ignore[union-attr]
    assert smoker.decision.target_degC == pytest.approx(min(smoker.core[:2]) + 27.78, abs=0.5)  # type: ignore[union-attr]
