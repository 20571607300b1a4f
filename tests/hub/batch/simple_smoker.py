"""A world for the tests of the batch: one first-order chamber, chubs that warm by Newton's law less a constant pull.

Not the rehearsal's plant and no part of the code under test. A chub's core is what its probe reads, unless a probe fell
out: then it goes to the chamber with its tip's lag.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from fiftyover.batch.decide import BatchState, Decision, Reading, decide, new_state, on_mark
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Chub, Plan

FOOT, TOP = 66.67, 68.33


def plan(chubs: int = 3, probes: int | None = None, **changes: object) -> Plan:
    """A batch of equal chubs, the first ``probes`` of them probed."""
    probes = chubs if probes is None else probes
    hanging = tuple(Chub(n, "slim", 45.0, f"hook {n}", n if n <= probes else None) for n in range(1, chubs + 1))
    figures = {"cap_degC": 88.0, "relay": "solid-state", "element_watts": 800.0, **changes}
    return Plan("b1", "test batch", hanging, **figures)  # type: ignore[arg-type]


@dataclass
class Smoker:
    """Runs a batch second by second; ``pace`` is each chub's rate [1/s per kelvin], ``pull`` evaporation [K/s]."""

    plan: Plan
    pace: list[float] = field(default_factory=list)
    pull: float = 0.0016
    meat_degC: float = 8.0
    noise_kelvin: float = 0.02
    at_s: float = 0.0
    boot: str = "aaaaaaaaaaaa"
    answers: bool = True
    owed: float = 0.0

    def __post_init__(self) -> None:
        count = len(self.plan.chubs)
        self.pace = self.pace or [2.3e-4 * (1.0 + 0.04 * i) for i in range(count)]
        self.core = [self.meat_degC] * count
        self.chamber = 18.0
        self.door_s = -1.0
        self.status: dict[int, str] = {}
        self.fallen: dict[int, tuple[float, float]] = {}
        self.random = random.Random(7)
        self.state: BatchState = new_state(self.plan)
        self.events: list[Event] = []
        self.due: list[tuple[float, str, int]] = []
        self.pulled: dict[int, float] = {}
        self.decision: Decision | None = None
        self.trace: list[tuple[float, float, float | None, bool, str]] = []
        self.readings: list[Reading] = []

    def hang(self) -> None:
        self.mark("hung", {})

    def mark(self, kind: str, data: dict[str, object]) -> Decision:
        decision = on_mark(self.state, kind, data, self.at_s, 1000 * int(self.at_s))
        self._hear(decision)
        return decision

    def _hear(self, decision: Decision) -> None:
        self.state, self.decision = decision.state, decision
        self.events += decision.events
        for event in decision.events:
            if event.kind in ("called", "check-asked") and self.answers:
                self.due.append((self.at_s + self.plan.response_s, event.kind, event.data["chub"]))

    def reading(self) -> Reading:
        count = self.plan.channels
        values: list[float | None] = [self.chamber]
        probe_of = self.state.book.chub_of
        for channel in range(1, count):
            chub = probe_of.get(channel, channel)
            values.append(self.core[chub - 1])
            if channel in self.fallen:
                value, lag = self.fallen[channel]
                self.fallen[channel] = (value + (self.chamber - value) / lag, lag)
                values[-1] = self.fallen[channel][0]
        status = [self.status.get(c, "ok") for c in range(count)]
        noisy = [
            None if s not in ("ok", "uncalibrated") else round(v + self.random.gauss(0.0, self.noise_kelvin), 2)
            for v, s in zip(values, status, strict=True)
            if v is not None
        ]
        on = self.decision.duty if self.decision and self.decision.heat else 0.0
        self.owed += on  # the relay is on for that share of the seconds
        relay = int(self.owed >= 1.0)
        self.owed -= relay
        return Reading(
            self.at_s,
            1000 * int(self.at_s),
            noisy[0],
            tuple(noisy),
            tuple(status),
            relay,
            on,
            "on",
            int(self.at_s),
            self.boot,
        )

    def step(self, powered: bool = True) -> None:
        """One second of the world; unpowered, no reading comes and the element is off."""
        duty = self.decision.duty if powered and self.decision and self.decision.heat else 0.0
        loss = 0.001 + (0.02 if self.at_s < self.door_s else 0.0)
        self.chamber += 0.134 * duty - loss * (self.chamber - 18.0)
        for i, core in enumerate(self.core):
            air = 18.0 if i + 1 in self.pulled else self.chamber
            self.core[i] = core + self.pace[i] * (air - core) - (self.pull if core > 30.0 and air > 40.0 else 0.0)
        self.at_s += 1.0
        if not powered:
            return
        self.readings.append(self.reading())
        self._hear(decide(self.state, self.readings[-1]))
        assert self.decision is not None
        d = self.decision
        self.trace.append((self.at_s, self.chamber, d.target_degC, d.heat, d.why))
        self._person()

    def _person(self) -> None:
        for item in [i for i in self.due if i[0] <= self.at_s]:
            self.due.remove(item)
            _, kind, number = item
            if number in self.pulled:
                continue
            if kind == "called":
                self.pulled[number] = self.core[number - 1]
                self.mark("pulled", {"chub": number, "probe": "away"})
            else:
                self.mark("hand-reading", {"chub": number, "core_degC": self.core[number - 1]})

    def run(self, seconds: float, until: Callable[[Smoker], bool] = lambda _: False) -> Smoker:
        end_s = self.at_s + seconds
        while self.at_s < end_s and not until(self):
            self.step()
        return self

    def to_core(self, degC: float, chub: int = 1) -> Smoker:
        return self.run(40000.0, lambda s: s.core[chub - 1] >= degC)

    def finish(self) -> Smoker:
        return self.run(60000.0, lambda s: s.state.book.finished)

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]

    def of_kind(self, kind: str) -> list[Event]:
        return [e for e in self.events if e.kind == kind]
