"""The mains go away for 5, 30, 60 and 180 min when the coldest core is at 120 °F: product rule 4, as rehearsed."""

import contextlib

from faults.rehearsed import Bench, drawn, names_of
from fiftyover.batch import events as ev
from fiftyover.rehearse.scenario import build_plant
from fiftyover_kit.contract.units import degC_from_degF

CUT_DEGC = degC_from_degF(120.0)
THINKS_S = 420.0  # the person who is asked goes out and looks
AFTER_S = 2400.0  # watched from the moment the power is back


class Seen(Exception):  # noqa: N818  no error: an end
    """Enough was watched."""


class Cut(Bench):
    """One cut; the person resumes some minutes after they were asked."""

    def __init__(self, scenario, plant, off_s):
        self.off_s, self.cut_at_s, self.back_at_s, self.resumed_s = off_s, None, None, None
        super().__init__(scenario, plant)

    def _happen(self, now_s):
        if self.back_at_s is not None and now_s >= self.back_at_s + AFTER_S:
            raise Seen
        if self.cut_at_s is None and min(self.plant.core_degC) >= CUT_DEGC:
            self.cut_at_s, self.back_at_s = now_s, now_s + self.off_s
            self.restart_kit(self.off_s)
        super()._happen(now_s)
        asked = self.hub.state.book.stopped == "outage"
        if asked and self.resumed_s is None and now_s >= self.back_at_s + THINKS_S:
            self.resumed_s = now_s
            self._hear(self.hub.mark(ev.RESUME_HEAT, {}, now_s))


def run(minutes, seed):
    """One cut of so many minutes."""
    options = {"start_degC": 42.0, "ambient_degC": 15.0, "casing_factor": 0.03}
    scenario = drawn(seed, options=options, chubs=3, probes=2, floor_degC=None)
    cut = Cut(scenario, build_plant(scenario), 60.0 * minutes)
    with contextlib.suppress(Seen):
        cut.run()
    ons = [at / 1000.0 for at, on in cut.board.relay_log if on and at / 1000.0 >= cut.back_at_s]
    outages = [event for event in cut.log if event.kind == ev.OUTAGE]
    after = [one for one in names_of(cut.log) if one[0] > cut.cut_at_s and one[1] != ev.OUTAGE]
    return {
        "minutes": minutes,
        "asked": [event.data["asked"] for event in outages],
        "heats_after_s": ons[0] - cut.back_at_s if ons else None,
        "resumed_after_s": None if cut.resumed_s is None else cut.resumed_s - cut.back_at_s,
        "other_alarms": after,
        "pulses": sum(event.kind == ev.START_CHECKED and event.at_s > cut.cut_at_s for event in cut.log),
        "core_degC_back": min(cut.plant.core_degC),
    }
