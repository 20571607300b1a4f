"""A flaky link: permits that run out time and again must not carry the air over the limit when heat comes back."""

import random

import pytest

from fiftyover.rehearse import hub_side
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant
from fiftyover_kit.contract.units import degC_from_degF

pytestmark = pytest.mark.system

EVERY_S, OUTAGES_S = 120.0, (15, 20, 25, 40, 60)
SLACK_KELVIN = 0.5 / 1.8


@pytest.mark.parametrize("seed", [1, 2])
def test_lost_permits_never_carry_the_air_over_the_limit(monkeypatch, seed):
    rng = random.Random(seed)
    publish, outage, lost = hub_side.HubSide._publish, {"from": 0.0, "until": 0.0}, []

    def lossy(self, topic, payload, qos, retain):
        now_s = self.reading.at_s
        if now_s >= outage["until"]:
            outage["from"] = now_s + rng.expovariate(1 / EVERY_S)
            outage["until"] = outage["from"] + rng.choice(OUTAGES_S)
        if topic.endswith("grant/set") and outage["from"] <= now_s < outage["until"]:
            lost.append(now_s)
            return True  # taken by the broker, and never there
        return publish(self, topic, payload, qos, retain)

    monkeypatch.setattr(hub_side.HubSide, "_publish", lossy)
    scenario = Scenario(
        seed=seed,
        cap_degC=degC_from_degF(190.0),
        kit_cap_degC=degC_from_degF(200.0),
        relay="solid-state",
        forecast=False,
        options={"start_degC": 50.0},
    )
    result = Rehearsal(scenario, build_plant(scenario)).run()
    assert len(lost) > 100
    assert len(result.called_s) == scenario.chubs, "the cook completes"
    assert max(result.trace.air_degC) <= scenario.cap_degC + SLACK_KELVIN


LATE_S, LOST_AT_S, LOST_FOR_S = 6.0, (2400.0, 3000.0, 3600.0), 30.0


@pytest.mark.parametrize("seed", [1, 2])
def test_late_permits_and_a_few_lost_ones_start_no_swinging_at_the_limit(monkeypatch, seed):
    publish, frame, waiting = hub_side.HubSide._publish, hub_side.HubSide.frame, []

    def late(self, topic, payload, qos, retain):
        now_s = self.reading.at_s
        if not topic.endswith("grant/set"):
            return publish(self, topic, payload, qos, retain)
        if not any(at_s <= now_s < at_s + LOST_FOR_S for at_s in LOST_AT_S):
            waiting.append((now_s + LATE_S, topic, payload))
        return True

    def heard(self, payload, now_s):
        happened = frame(self, payload, now_s)
        while waiting and waiting[0][0] <= now_s:
            publish(self, waiting[0][1], waiting.pop(0)[2], 0, False)
        return happened

    monkeypatch.setattr(hub_side.HubSide, "_publish", late)
    monkeypatch.setattr(hub_side.HubSide, "frame", heard)
    scenario = Scenario(
        seed=seed,
        cap_degC=degC_from_degF(190.0),
        kit_cap_degC=degC_from_degF(200.0),
        relay="solid-state",
        forecast=False,
        options={"start_degC": 55.0},
    )
    result = Rehearsal(scenario, build_plant(scenario)).run()
    assert len(result.called_s) == scenario.chubs
    assert max(result.trace.air_degC) <= scenario.cap_degC + SLACK_KELVIN
