"""Hazards that are neither a probe's nor a cook's ordinary course: how long until a person is told, or heat is off."""

import random
from dataclasses import asdict, dataclass

from faults.rehearsed import Bench, drawn, names_of
from fiftyover.batch import events as ev
from fiftyover.rehearse.scenario import build_plant
from firmware.kit_rig import Rig

PAIR, RISE, DOOR, AJAR = "two chamber probes disagree", "impossible rise", "door opened", "door left open"
AFTER_END, ALONE, OVER = "relay welded after the last pull", "nobody touches the batch", "chamber over the cut-off"
KINDS = (PAIR, RISE, DOOR, AJAR, AFTER_END, ALONE, OVER)
# Seconds within which it must be told; the kit's door and cut-off must be off by then.
ASKED_S = {PAIR: 130, RISE: 60, DOOR: 60, AJAR: 560, AFTER_END: 420, ALONE: 10 * 3600 + 60, OVER: 2}
ALONE_OFF_S = 16 * 3600 + 60
RISE_KELVIN_PER_S = 40.0 / 60.0
TELLS = {
    RISE: ("too-fast", ev.CHAMBER_FAULT),
    AJAR: ("ajar", "no-answer"),  # the second names the door too
    AFTER_END: ("welded",),
    ALONE: ("alone",),
}


@dataclass
class Hazard:
    """What was done, how long it took until it was told (None never), what was told before it."""

    kind: str
    seed: int
    told_s: float | None
    early: list
    heated_after: int = 0


class Hurt(Bench):
    """A rehearsal in which the chamber probe's reading climbs, or a door stays open."""

    def __init__(self, scenario, plant, kind, at_s):
        self.kind, self.at_s, self.climbed = kind, at_s, 0.0
        super().__init__(scenario, plant)

    def _happen(self, now_s):
        super()._happen(now_s)
        if now_s == self.at_s and self.kind in (DOOR, AJAR):
            self.open_door(90.0 if self.kind == DOOR else 900.0)

    def _read_world(self):
        super()._read_world()
        if self.kind == RISE and self.now_ms / 1000.0 >= self.at_s:
            self.climbed = min(40.0, self.climbed + RISE_KELVIN_PER_S)
            self.board.true_degC[0] += self.climbed

    def begin(self):
        """As `run` begins, for who goes on second by second."""
        self._record()
        chubs = [chub.number for chub in self.hub.plan.chubs]
        self._hear(self.hub.mark(ev.HUNG, {"chubs": chubs}, 0.0))

    def ended(self):
        return None not in self.trace.pulled_s


def _told(bench, at_s, kind):
    told = [(e.at_s, e.data["name"] if e.kind == ev.ALARM else e.kind) for e in bench.log]
    return next((s - at_s for s, name in told if s >= at_s and name in TELLS[kind]), None)


def _rehearsed(kind, seed):
    rng = random.Random(f"{kind} {seed}")
    scenario = drawn(seed, options={"start_degC": rng.uniform(4.0, 30.0), "ambient_degC": rng.uniform(-5.0, 30.0)})
    at_s = float(rng.randint(2400, 5400))
    bench = Hurt(scenario, build_plant(scenario), kind, at_s)
    bench.run(int(at_s) + 1200)
    early = [one for one in names_of(bench.log) if one[0] < at_s]
    if kind != DOOR:
        return Hazard(kind, seed, _told(bench, at_s, kind), early)
    # The element's state at the kit itself: its last switch-on before the door is seen, none while hands are in.
    seen = next((e.at_s - at_s for e in bench.log if e.kind == ev.DOOR and e.data["open"] and e.at_s >= at_s), None)
    held = [ms / 1000.0 - at_s for ms, on in bench.board.relay_log if on and at_s + 45.0 <= ms / 1000.0 < at_s + 120.0]
    return Hazard(kind, seed, seen, early, len(held))


def _after_the_end(seed):
    scenario = drawn(seed, chubs=1, probes=1, options={"start_degC": 45.0, "ambient_degC": 15.0, "casing_factor": 0.02})
    bench = Hurt(scenario, build_plant(scenario), AFTER_END, 0.0)
    bench.begin()
    bench._cook(12 * 3600)
    if not bench.ended():
        return Hazard(AFTER_END, seed, None, ["the cook did not end"])
    now = bench.now_ms // 1000
    quiet = 900 + 60 * (seed % 10)  # a quarter of an hour of nothing, the smoker cooling
    for second in range(quiet):
        bench._cook(now + second + 1)
    early = names_of(bench.log)
    at_s = bench.now_ms / 1000.0
    bench.board.weld_relay()
    for second in range(1800):
        bench._cook(int(at_s) + second + 1)
        if _told(bench, at_s, AFTER_END) is not None:
            break
    return Hazard(AFTER_END, seed, _told(bench, at_s, AFTER_END), early)


def _alone(seed):
    scenario = drawn(seed, chubs=2, probes=2, response_s=1e9, options={"start_degC": 5.0, "casing_factor": 0.25})
    bench = Hurt(scenario, build_plant(scenario), ALONE, 0.0)
    bench.run(int(ALONE_OFF_S) + 60)
    ons = [ms for ms, on in bench.board.relay_log if on and ms / 1000.0 > ALONE_OFF_S]
    return Hazard(ALONE, seed, _told(bench, 0.0, ALONE), [], len(ons))


def _pair(seed):
    rng = random.Random(f"pair {seed}")
    rig = Rig(chamber_2=2)
    rig.board.degC[2] = rig.board.degC[0]
    rig.run(60)
    early = [text for text in rig.kit.alerts if text == "chambers-differ"]
    rig.board.degC[2] = rig.board.degC[0] + rng.choice((-1, 1)) * rng.uniform(9.0, 20.0)
    for second in range(300):
        rig.run(1)
        if "chambers-differ" in rig.kit.alerts:
            return Hazard(PAIR, seed, float(second + 1), early)
    return Hazard(PAIR, seed, None, early)


def _over(seed):
    """The kit's own guard, with permits of full duty going on."""
    rng = random.Random(f"over {seed}")
    rig = Rig()
    rig.granting = 1.0
    rig.run(12)
    if not rig.board.on:
        return Hazard(OVER, seed, None, ["not heating before"])
    rig.board.degC[0] = rig.settings.cap_degC + rng.uniform(1.5, 30.0)
    for second in range(10):
        rig.run(1)
        if not rig.board.on and rig.why == "latched":
            return Hazard(OVER, seed, float(second + 1), [])
    return Hazard(OVER, seed, None, [])


def one(kind, seed):
    if kind == PAIR:
        return _pair(seed)
    if kind == OVER:
        return _over(seed)
    if kind == AFTER_END:
        return _after_the_end(seed)
    return _alone(seed) if kind == ALONE else _rehearsed(kind, seed)


def run(kind, seeds):
    """One hazard for several seeds."""
    return [asdict(one(kind, seed)) for seed in seeds]
