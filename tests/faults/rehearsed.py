"""Sensor and power faults in rehearsed batches: plant, the kit's own loop and the hub's own decisions on one clock.

Each batch is drawn from a seed: load, element, relay, limit, weather, how warm the meat is, and when it happens.
"""

import random
from dataclasses import asdict, dataclass

from fiftyover.batch import events as ev
from fiftyover.rehearse.faults import planned
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import Scenario, build_plant
from fiftyover_kit.contract.units import degC_from_degF

AFTER_S = 1800  # watched from the fault on
TURNING_S = 300.0  # the door open for all chubs to be turned
TIP_LAG_S = 40.0

CHAMBER_OUT, SWAPPED, REFERENCE = "chamber-out", "swapped", "reference"
OWN = {
    CHAMBER_OUT: "the chamber probe falls out into the yard",
    SWAPPED: "chamber and first core probe are in each other's sockets from the start",
    REFERENCE: "the converter's reference is off by 5 %",
}
# What tells a person, and within which time [s]; None: no alarm is asked for, the air's peak alone counts.
ASKED = {
    "chamber-open": ((ev.CHAMBER_FAULT,), 10),
    "chamber-short": ((ev.CHAMBER_FAULT,), 10),
    "chamber-stuck": ((ev.CHAMBER_FAULT,), 75),
    CHAMBER_OUT: (("no-answer",), 900),
    "chamber-drift": (None, 0),
    "core-open": ((ev.PROBE_OUT,), 15),
    "core-short": ((ev.PROBE_OUT,), 15),
    "core-stuck": ((ev.PROBE_OUT,), 1500),
    "core-fallen": ((ev.PROBE_OUT,), 900),
    "relay-welded": (("welded",), 600),
    "element-dead": (("no-answer",), 1500),
    SWAPPED: ((ev.SWAPPED, "start-no-answer"), 400),
    REFERENCE: (None, 0),
}
ALARMS = (ev.CHAMBER_FAULT, ev.PROBE_OUT, ev.SWAPPED, ev.OUTAGE)


@dataclass
class Case:
    """One batch: what was done to it and what came of it."""

    fault: str
    seed: int
    at_s: float
    alarm_s: float | None
    peak_over_cap_kelvin: float
    early: list
    hours: float


def names_of(events):
    """(time, name) of everything that alarms a person."""
    told = [(e.at_s, e.data["name"] if e.kind == ev.ALARM else e.kind) for e in events if e.kind in (*ALARMS, ev.ALARM)]
    return [one for one in told if one[1] != "alone"]


class Bench(Rehearsal):
    """A rehearsal with the faults that the catalogue has not."""

    def __init__(self, scenario, plant, own=None, own_at_s=0.0):
        self.own, self.own_at_s, self.is_struck = own, own_at_s, False
        self.turnings = []
        super().__init__(scenario, plant)

    def _happen(self, now_s):
        super()._happen(now_s)
        if self.own == CHAMBER_OUT and now_s >= self.own_at_s:
            self.is_struck = True
        while self.turnings and self.turnings[0] <= now_s:
            self.turnings.pop(0)
            self.open_door(TURNING_S)
        if self.own == REFERENCE and now_s == self.own_at_s:
            skew(self.board, 0.95 if self.scenario.seed % 2 else 1.05)

    def _read_world(self):
        degC = self.board.true_degC
        outside = degC[0]
        super()._read_world()
        if self.is_struck:
            yard = self.plant._world.ambient_degC
            degC[0] = outside + (yard - outside) / TIP_LAG_S
        if self.own == SWAPPED:
            degC[0], degC[1] = degC[1], degC[0]


def skew(board, factor):
    """Scale every code, as a reference that is off does where the divider does not share it."""
    honest = board.read_sum
    board.read_sum = lambda channel, n: min(65535 * n, int(honest(channel, n) * factor))


def drawn(seed, **fixed):
    """A random ordinary batch."""
    rng = random.Random(f"batch {seed}")
    chubs = rng.randint(2, 6)
    cap_f = rng.choice((180.0, 185.0, 190.0))
    options = {
        "start_degC": rng.uniform(4.0, 55.0),
        "ambient_degC": rng.uniform(-10.0, 32.0),
        "loss_factor": rng.uniform(0.7, 1.5),
        "casing_factor": 0.03,
    }
    words = {
        "seed": seed,
        "chubs": chubs,
        "probes": rng.randint(1, chubs),
        "element_watts": rng.choice((800.0, 1000.0, 1500.0)),
        "cap_degC": degC_from_degF(cap_f),
        "kit_cap_degC": degC_from_degF(cap_f + 10.0),
        "relay": rng.choice(("mechanical", "solid-state")),
        "options": options,
    }
    if rng.random() < 0.5:  # a smoker that runs at its limit
        words["floor_degC"] = degC_from_degF(cap_f - 10.0)
    return Scenario(**{**words, **fixed})


def case(fault, seed):
    """Run one batch into one fault."""
    rng = random.Random(f"{fault} {seed}")
    scenario = drawn(seed)
    if fault == SWAPPED:  # found by the first heat of cold meat; warm meat in a cold smoker is nobody's start
        scenario.options["start_degC"] = rng.uniform(2.0, 12.0)
    at_s = 0.0 if fault == SWAPPED else float(rng.randint(900, 3000))
    bench = Bench(scenario, build_plant(scenario), fault if fault in OWN else None, at_s)
    if fault not in OWN:
        bench._faults = [planned(f"{fault}@{at_s}", scenario.probes)]
    result = bench.run(int(at_s) + AFTER_S)
    air = [t for s, t in zip(result.trace.times_s, result.trace.air_degC, strict=True) if s >= at_s]
    told = names_of(result.events)
    wanted = ASKED[fault][0] or ()
    alarm = next((s - at_s for s, name in told if s >= at_s and name in wanted), None)
    early = [one for one in told if one[0] < at_s]
    return Case(fault, seed, at_s, alarm, max(air) - scenario.kit_cap_degC, early, at_s / 3600.0)


ORDINARY = {
    "-15 °C and wind": ({"ambient_degC": -15.0, "loss_factor": 2.0}, {"element_watts": 1500.0}),
    "full load": ({"start_degC": 3.0}, {"chubs": 12, "probes": 2}),
    "water pan": ({"capacity_factor": 2.5}, {}),
    "wood flares": ({"smoulder_watts": 150.0}, {}),
    "turned for five minutes, twice": ({}, {"chubs": 4, "probes": 3}),
    "four-hour stall": ({"casing_factor": 0.05}, {"chubs": 4, "probes": 4}),
    "one chub alone": ({}, {"chubs": 1, "probes": 1}),
    "hot yard": ({"ambient_degC": 34.0}, {}),
}


def ordinary(name, seed):
    """A whole cook in which nothing is wrong: (hours with meat hanging, every alarm, chubs not pulled)."""
    rng = random.Random(f"{name} {seed}")
    more, fixed = ORDINARY[name]
    options = {"start_degC": 5.0, "ambient_degC": rng.uniform(0.0, 28.0), "casing_factor": 0.035, **more}
    limits = {"cap_degC": degC_from_degF(190.0), "kit_cap_degC": degC_from_degF(200.0)}  # under 180 °F some never end
    fixed = {"chubs": 6, "probes": 4, "element_watts": rng.choice((800.0, 1200.0)), **limits, **fixed}
    scenario = drawn(seed, options=options, response_s=rng.choice((0.0, 180.0, 600.0)), **fixed)
    bench = Bench(scenario, build_plant(scenario))
    if "turned" in name:
        bench.turnings = [float(rng.randint(2400, 5400)), float(rng.randint(7200, 10800))]
    elif rng.random() < 0.6:
        bench._doors = sorted(float(rng.randint(1200, 12000)) for _ in range(rng.randint(1, 3)))
    result = bench.run()
    left = sum(pulled is None for pulled in result.trace.pulled_s)
    return result.simulated_s / 3600.0, names_of(result.events), left


def run(fault, seeds):
    """One fault in several batches."""
    return [asdict(case(fault, seed)) for seed in seeds]
