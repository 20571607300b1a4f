"""One whole cook on a virtual clock: plant, board, the kit's own loop, the contract, the hub's own decisions, a person.

Time goes in ticks of the guard (250 ms). The kit ticks at each; once a second it makes a frame, which the hub decodes
and decides on, and what the hub grants goes back to the kit as bytes. The plant is stepped when a second has passed or
the element's current has changed, so it never steps over a switching.
"""

import math
import time
from dataclasses import dataclass, field
from typing import Any

from fiftyover.batch import events
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Chub, Plan
from fiftyover.errors import HubError
from fiftyover.rehearse import faults
from fiftyover.rehearse.baselines import Dial, Thermostat
from fiftyover.rehearse.fake_board import FakeBoard
from fiftyover.rehearse.forecasts import Notebook
from fiftyover.rehearse.hub_side import HubSide
from fiftyover.rehearse.kit_side import KitLoop, boot
from fiftyover.rehearse.measure import Trace
from fiftyover.rehearse.person import CHECK, Person
from fiftyover.rehearse.scenario import DOOR_OPEN_S, Scenario, World, circuit, kit_settings
from fiftyover_kit.contract import limits

END_S = 16 * 3600
TICK_MS = limits.GUARD_PERIOD_MS
TICKS_PER_S = 1000 // TICK_MS
TIP_LAG_S = 20.0  # a bare core probe in air
MARK_AFTER_S = 3600.0
COOL_DOWN_S = 600  # watched after the last pull, element off, for the peaks of what was pulled
START_UTC_MS = 1_767_225_600_000  # 2026-01-01 00:00 UTC: any fixed date does


@dataclass
class Result:
    """What a rehearsal leaves: the true world, the calls, and all that happened."""

    trace: Trace
    after: Trace
    simulated_s: float
    taken_s: float
    called_s: dict[int, float]
    events: list[Event] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    forecasts: list[list[dict[str, Any]]] = field(default_factory=list)


def plan_of(scenario: Scenario) -> Plan:
    """Return the batch of a scenario: a casing line for each diameter, the first chubs probed."""
    chubs = tuple(
        Chub(
            number=index + 1,
            line=f"{scenario.diameter_mm(index):g} mm",
            diameter_mm=scenario.diameter_mm(index),
            place=f"hook {index + 1}",
            probe=index + 1 if index < scenario.probes else None,
        )
        for index in range(scenario.chubs)
    )
    return Plan(
        batch_id="rehearsal",
        name="rehearsal",
        chubs=chubs,
        cap_degC=scenario.cap_degC,
        lift_kelvin=scenario.lift_kelvin,
        floor_degC=scenario.floor_degC,
        band_degC=scenario.band_degC,
        response_s=scenario.response_s,
        relay=scenario.relay,
        element_watts=scenario.element_watts,
        stages=tuple(stage for stage in scenario.stages if not stage.empty),
    )


class Rehearsal:
    """Runs one scenario against one world; `run` may be called once."""

    def __init__(self, scenario: Scenario, plant: World) -> None:
        self.scenario = scenario
        self.plant = plant
        self.board = FakeBoard([circuit()] * (scenario.probes + 1), scenario.seed)
        self.now_ms = 0
        self.trace = Trace(pulled_s=[None] * scenario.chubs)
        self.log: list[Event] = []
        self._fallen: set[int] = set()
        self._link_back_s = 0.0
        self._power_back_s: float | None = None
        self._linked = True
        self._doors = list(scenario.doors_s)
        self._faults = sorted(scenario.faults, key=lambda fault: fault.at_s)
        self._person = Person(scenario.response_s)
        self._notebook = Notebook() if scenario.forecast else None
        self._on = False
        self._stepped_ms = 0
        self._baseline = _baseline(scenario, plant)
        self._read_world()
        self.kit = self._boot_kit()
        self.hub = HubSide(
            plan_of(scenario), scenario.kit_cap_degC, START_UTC_MS, self._to_kit, grants=self._baseline is None
        )

    def run(self, end_s: int = END_S) -> Result:
        """Run until all are pulled or end_s, 16 h, have passed."""
        began_s = time.perf_counter()
        self._record()
        self._hear(self.hub.mark(events.HUNG, {"chubs": [chub.number for chub in self.hub.plan.chubs]}, 0.0))
        ended_s = self._cook(end_s)
        after = self._cool_down()
        forecasts = self._judged()
        taken_s = time.perf_counter() - began_s
        return Result(self.trace, after, ended_s, taken_s, self._person.called_s, self.log, self.hub.refused, forecasts)

    def _judged(self) -> list[list[dict[str, Any]]]:
        if self._notebook is None:
            return [[] for _ in self.trace.pulled_s]
        return self._notebook.judged(self.trace.times_s, self.trace.cores(), self.scenario.band_degC[0])

    # -- what a fault may do (faults.Stage)

    def drop_probe(self, channel: int) -> None:
        """Let a core probe fall out: from now it reads the chamber's air."""
        self._fallen.add(channel)

    def open_door(self, seconds: float) -> None:
        """Open the door for so long."""
        self.trace.doors_s.append(self.now_ms / 1000.0)
        self.plant.open_door(seconds)

    def cut_link(self, seconds: float, session: bool) -> None:
        """Deliver nothing between kit and hub for so long."""
        self._link_back_s = self.now_ms / 1000.0 + seconds
        self._linked = False
        if session:
            self.kit.on_link(False, self.now_ms)

    def restart_kit(self, off_s: float) -> None:
        """Take the kit's power, and the element's, away for so long."""
        self._power_back_s = self.now_ms / 1000.0 + off_s
        self.board.restart("power-on")

    # -- the loop

    def _cook(self, end_s: int) -> float:
        board, second = self.board, self.now_ms // 1000
        while second < end_s:
            self._happen(float(second))
            for _ in range(TICKS_PER_S):
                if self._power_back_s is None:
                    self.kit.tick(self.now_ms)
                if self._baseline is None and board.element_on != self._on:
                    self._step_to(self.now_ms)
                    self._switch(board.element_on)
                self.now_ms += TICK_MS
                board.now_ms = self.now_ms
            second += 1
            self._step_to(self.now_ms)
            self._read_world()
            self._talk(float(second))
            self._go_out(float(second))
            self._say_mark(float(second))
            self._record()
            if None not in self.trace.pulled_s:
                break
        return float(second)

    def _happen(self, now_s: float) -> None:
        """Doors, faults and their ends that are due."""
        while self._doors and self._doors[0] <= now_s:
            self._doors.pop(0)
            self.open_door(DOOR_OPEN_S)
        while self._faults and self._faults[0].at_s <= now_s:
            faults.strike(self._faults.pop(0), self)
        if not self._linked and now_s >= self._link_back_s:
            self._linked = True
            self.kit.on_link(True, self.now_ms)
        if self._power_back_s is not None and now_s >= self._power_back_s:
            self._power_back_s = None
            self.kit = self._boot_kit()

    def _step_to(self, now_ms: int) -> None:
        if now_ms > self._stepped_ms:
            self._step((now_ms - self._stepped_ms) / 1000.0, self._on and self._power_back_s is None)
            self._stepped_ms = now_ms

    def _step(self, dt_s: float, on: bool) -> None:
        try:
            self.plant.step(dt_s, on)
        except Exception as fault:  # a foreign plant's own mistake is told as its own
            kind = type(self.plant).__name__
            raise HubError(f"The plant {kind} failed at {self.now_ms / 1000.0:g} s: {fault!r}.") from fault

    def _switch(self, on: bool) -> None:
        self.trace.switchings += on and not self._on
        self._on = on

    def _read_world(self) -> None:
        plant, degC = self.plant, self.board.true_degC
        degC[0] = float(plant.chamber_degC)
        if not math.isfinite(degC[0]):
            raise HubError(f"The plant has no chamber temperature at {self.now_ms / 1000.0:g} s: it says {degC[0]}.")
        cores = plant.core_degC
        for channel in range(1, len(degC)):
            if channel in self._fallen:
                degC[channel] += (plant.air_degC - degC[channel]) / TIP_LAG_S
            else:
                core = cores[channel - 1]
                degC[channel] = core if core is not None and math.isfinite(core) else degC[channel]

    def _talk(self, now_s: float) -> None:
        """One second of the link: frame up, decision, grant down; a baseline decides on the same frame."""
        if self._power_back_s is None:
            self.kit.record(self.now_ms)
            if self._linked:
                self._hear(self.hub.frame(self.kit.live(), now_s))
                if self._notebook is not None:
                    self._notebook.note(self.hub.state, now_s)
        if self._baseline is not None:
            on = self._baseline_on(now_s)
            if on != self._on:
                self._switch(on)

    def _baseline_on(self, now_s: float) -> bool:
        lowest = self._lowest_measured()
        scenario = self.scenario
        if isinstance(self._baseline, Dial):
            wanted = None if lowest is None else self._wanted(lowest, scenario.cap_degC)
            return self._baseline.step(now_s, 1.0, self.plant.air_degC, wanted)
        assert isinstance(self._baseline, Thermostat)  # noqa: S101  the other kind
        if lowest is None:
            return self._baseline.step(None, 0.0)
        ceiling = scenario.cap_degC - self.hub.plan.margin_kelvin
        return self._baseline.step(self.hub.chamber_degC, self._wanted(lowest, ceiling))

    def _wanted(self, lowest_degC: float, ceiling_degC: float) -> float:
        wanted = lowest_degC + self.scenario.lift_kelvin
        if self.scenario.floor_degC is not None:
            wanted = max(wanted, self.scenario.floor_degC)
        return min(wanted, ceiling_degC)

    def _lowest_measured(self) -> float | None:
        """Return the lowest core that a probe of a hanging chub reads."""
        reading = self.hub.reading
        if reading is None:
            return None
        pulled = self.trace.pulled_s
        words = zip(reading.probe_degC[1:], reading.status[1:], pulled, strict=False)
        read = [t for t, word, out_s in words if t is not None and word in limits.STATUS_HEATS and out_s is None]
        return min(read, default=None)

    def _go_out(self, now_s: float) -> None:
        for errand, number in self._person.due(now_s):
            index = number - 1
            if self.trace.pulled_s[index] is not None:
                continue
            if errand == CHECK:
                data: dict[str, object] = {"chub": number, "core_degC": float(self.plant.core_degC[index])}
                self._hear(self.hub.mark(events.HAND_READING, data, now_s))
            else:
                self.plant.pull(index)
                self.trace.pulled_s[index] = now_s
                self._hear(self.hub.mark(events.PULLED, {"chub": number, "probe": "stays"}, now_s))

    def _say_mark(self, now_s: float) -> None:
        """The person's word for a stage that ends by it."""
        book = self.hub.state.book
        stage = book.plan.stages[book.stage]
        if stage.mark and book.hanging and book.stage_s is not None and now_s - book.stage_s >= MARK_AFTER_S:
            self._hear(self.hub.mark(events.NEXT_STAGE, {"stage": book.stage}, now_s))

    def _hear(self, happened: list[Event]) -> None:
        for event in happened:
            self.log.append(event)
            self._person.hear(event, self.now_ms / 1000.0)

    def _record(self) -> None:
        self.trace.add(self.now_ms / 1000.0, float(self.plant.air_degC), _numbers(self.plant.core_degC))

    def _cool_down(self) -> Trace:
        """Watch what was pulled last for its peak: the plant alone, element off, outside the rehearsal's own time."""
        after, began_s = Trace(), self.now_ms / 1000.0
        if None in self.trace.pulled_s:
            return after
        for second in range(1, COOL_DOWN_S + 1):
            self._step(1.0, False)
            after.add(began_s + second, float(self.plant.air_degC), _numbers(self.plant.core_degC))
        return after

    def _boot_kit(self) -> KitLoop:
        return boot(kit_settings(self.scenario), self.board, self.now_ms)

    def _to_kit(self, rest: str, payload: bytes) -> None:
        # Only a frame makes the hub speak, and none arrives while the link or the power is away.
        self.kit.on_message(rest, payload, False, self.now_ms)


def _numbers(cores: list[float]) -> list[float]:
    """Return true cores as floats; a foreign plant may have no number for what was pulled."""
    return [math.nan if core is None else float(core) for core in cores]


def _baseline(scenario: Scenario, plant: World) -> Thermostat | Dial | None:
    if scenario.controller == "thermostat":
        return Thermostat()
    if scenario.controller == "dial":
        return Dial(scenario.seed, float(plant.air_degC))
    return None
