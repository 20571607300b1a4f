"""A core probe is pulled out of its chub at some core temperature, with a thin or a thick tip.

One cook goes on from core to core; at each a copy of the whole chain is taken and its probe pulled out. What would have
been asked of the chamber else is known, too: a copy in which nothing happens.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from fiftyover.batch import events as ev
from fiftyover.batch.curves import curves
from fiftyover.batch.decide import Reading
from fiftyover.process import lethality
from fiftyover.rehearse import rehearsal
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant
from fiftyover_kit.contract.units import degC_from_degF

CORES_DEGF = (100.0, 110.0, 120.0, 130.0, 140.0, 150.0)
TIP_LAGS_S = (8.0, 20.0, 60.0)
WATCHED_S = 1800
CHANNEL = CHUB = 1


class Row(NamedTuple):
    """One probe pulled out: the most that it read then, calls that rest on it, rows that the record would claim and the
    core never met, how much higher than else the chamber was asked to be [kelvin], and after how long it was excluded
    [s] (None never)."""

    probes: int
    core_degF: float
    tip_lag_s: float
    read_degC: float
    calls: int
    rows: int
    raised_kelvin: float
    excluded_s: float | None


class _Watched(Rehearsal):
    """A rehearsal that runs in pieces, and keeps what was read and asked of the chamber."""

    def begin(self) -> _Watched:
        self.readings: list[Reading] = []
        self.asked_degC: dict[int, float] = {}
        self._record()
        self._hear(self.hub.mark(ev.HUNG, {"chubs": [chub.number for chub in self.hub.plan.chubs]}, 0.0))
        return self

    def cook_on(self, seconds: int) -> None:
        self._cook(self.now_ms // 1000 + seconds)

    def cook_to(self, core_degC: float) -> None:
        while self.plant.core_degC[CHUB - 1] < core_degC and self.now_ms < rehearsal.END_S * 1000:
            self.cook_on(10)

    def _talk(self, now_s: float) -> None:
        super()._talk(now_s)
        if self.hub.reading is not None and self.hub.decision is not None:
            self.readings.append(self.hub.reading)
            if self.hub.decision.target_degC is not None:
                self.asked_degC[round(now_s)] = self.hub.decision.target_degC


def rows(seed: int, probes: int, quick: bool) -> list[Row]:
    """Pull the probe of the first chub out at each core, with each tip; `probes` of the eight chubs have one."""
    scenario = Scenario(seed=seed, probes=probes, relay="solid-state", forecast=False)
    scenario = replace(scenario, options={"casing_factor": 0.03})
    cook = _Watched(scenario, build_plant(scenario)).begin()
    found = []
    for core_degF in CORES_DEGF[::2] if quick else CORES_DEGF:
        cook.cook_to(degC_from_degF(core_degF))
        else_ = copy.deepcopy(cook)
        else_.cook_on(WATCHED_S)
        for lag_s in TIP_LAGS_S[:1] + TIP_LAGS_S[-1:] if quick else TIP_LAGS_S:
            found.append(_pulled_out(copy.deepcopy(cook), else_, core_degF, lag_s))
    return found


def _pulled_out(cook: _Watched, else_: _Watched, core_degF: float, lag_s: float) -> Row:
    since_s, before = cook.now_ms / 1000.0, len(cook.log)
    truly = lethality.rows_met(np.array(cook.trace.times_s), cook.trace.cores()[:, CHUB - 1])
    cook.drop_probe(CHANNEL)
    rehearsal.TIP_LAG_S = lag_s
    cook.cook_on(WATCHED_S)
    log = cook.log[before:]
    read_s = next((e.at_s for e in log if e.kind == ev.HAND_READING and e.data["chub"] == CHUB), float("inf"))
    called = [e for e in log if e.kind == ev.CALLED and e.data["chub"] == CHUB and e.at_s < read_s]
    curve = curves(cook.hub.state.book, cook.readings).get(CHUB)
    claimed = [] if curve is None else lethality.rows_met(curve.times_s, curve.core_degC, longest_gap_s=30.0)
    out = next((e.at_s for e in log if e.kind == ev.PROBE_OUT and e.data["probe"] == CHANNEL), None)
    both = cook.asked_degC.keys() & else_.asked_degC.keys()
    raised = max((cook.asked_degC[s] - else_.asked_degC[s] for s in both if s > since_s), default=0.0)
    return Row(
        cook.scenario.probes,
        core_degF,
        lag_s,
        max(r.probe_degC[CHANNEL] or 0.0 for r in cook.readings if r.at_s > since_s),
        len(called),
        len(set(claimed) - set(truly)),
        raised,
        None if out is None else out - since_s,
    )
