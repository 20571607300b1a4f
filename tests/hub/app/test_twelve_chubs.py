"""Two probes, twelve chubs: each is called by its probe or asked for by hand, and pulled."""

from fiftyover.batch import events as ev
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant


def test_every_chub_is_called_or_asked_for_by_hand() -> None:
    scenario = Scenario(seed=3, chubs=12, probes=2, options={"casing_factor": 0.03}, forecast=False)
    result = Rehearsal(scenario, build_plant(scenario)).run()
    asked = {e.data["chub"] for e in result.events if e.kind == ev.CHECK_ASKED}
    called = {e.data["chub"] for e in result.events if e.kind == ev.CALLED}
    assert asked | called == set(range(1, 13))
    assert asked >= set(range(3, 13)), "a chub without a probe is read by hand before it is pulled"
    assert None not in result.trace.pulled_s
