"""What hangs in the smoker and how it is to be cooked. Frozen; checked when made."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field

from fiftyover.batch import stages as table
from fiftyover.batch.stages import STAGES, WOODS, Stage
from fiftyover.control.target import margin_kelvin
from fiftyover.errors import PlanError
from fiftyover_kit.contract.limits import STANDBY_MAX_S

LIFT_KELVIN = (5.0, 45.0)
CAP_DEGC = (50.0, 107.2)
BAND_DEGC = (45.0, 90.0)
DIAMETER_MM = (10.0, 150.0)
RESPONSE_S = 3600.0
STANDBY_MIN_DEGC = 40.0
RELAYS = ("mechanical", "solid-state")
LOWEST, MEDIAN = "lowest", "median"


@dataclass(frozen=True, slots=True)
class Chub:
    """One chub: its number, casing line, diameter, hanging place, and the probe in it (a channel from 1) or None."""

    number: int
    line: str
    diameter_mm: float
    place: str
    probe: int | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """One batch: chubs, lift, floor, limit, the band to pull in, and the person's response time.

    ``line_caps`` gives a casing line a limit below ``cap_degC``; the lowest of the lines still hanging holds.
    ``place_pace`` says how fast a place warms against the mean (1.0), as learned from this rig; unknown places count
    1.0. ``standby_degC`` offers the kit a chamber temperature to hold by itself for ``standby_s`` while this hub is
    silent, if a person arms that at the smoker; None (the usual) offers nothing. ``stages`` is the table of the cook,
    ``wood`` where the wood lies; ``autotune`` lets the controller measure this smoker while it preheats or, without a
    preheat, in the first 20 min. ``lead`` says which core the chamber follows: the ``lowest`` believable one, the
    ``median`` or that of a chub by its number, as long as it is believed.
    """

    batch_id: str
    name: str
    chubs: tuple[Chub, ...]
    cap_degC: float
    lift_kelvin: float = 27.78
    floor_degC: float | None = None
    band_degC: tuple[float, float] = (66.67, 68.33)
    response_s: float = 0.0
    relay: str = "mechanical"
    element_watts: float | None = None
    line_caps: tuple[tuple[str, float], ...] = ()
    place_pace: tuple[tuple[str, float], ...] = ()
    standby_degC: float | None = None
    standby_s: int = STANDBY_MAX_S
    stages: tuple[Stage, ...] = STAGES
    wood: str = "none"
    autotune: bool = False
    lead: str | int = LOWEST
    _by_number: dict[int, Chub] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse what cannot be cooked, with the reason."""
        _check_figures(self)
        _check_chubs(self)
        self._by_number.update((chub.number, chub) for chub in self.chubs)

    def chub(self, number: int) -> Chub:
        """Return the chub with this number; PlanError if there is none."""
        chub = self._by_number.get(number)
        if chub is None:
            raise PlanError(f"There is no chub {number} in batch {self.name!r}; it has {len(self.chubs)}.")
        return chub

    @property
    def channels(self) -> int:
        """Channels that the plan needs: the chamber and every probe, counted from 0."""
        return 1 + max((c.probe for c in self.chubs if c.probe is not None), default=0)

    @property
    def margin_kelvin(self) -> float:
        """Margin of the working target under the limit [kelvin]."""
        return margin_kelvin(self.element_watts)

    def pace(self, place: str) -> float:
        """How fast a place warms against the mean; 1.0 when nothing is known."""
        return dict(self.place_pace).get(place, 1.0)


def _between(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise PlanError(f"{name} is {value:g} {unit}: it must lie between {low:g} and {high:g} {unit}.")


def _check_figures(plan: Plan) -> None:
    _between("The lift over the meat", plan.lift_kelvin, *LIFT_KELVIN, "K")
    _between("The smoker limit", plan.cap_degC, *CAP_DEGC, "°C")
    foot, top = plan.band_degC
    _between("The foot of the band", foot, *BAND_DEGC, "°C")
    _between("The top of the band", top, *BAND_DEGC, "°C")
    _between("The response time", plan.response_s, 0.0, RESPONSE_S, "s")
    if top - foot < 0.5:
        raise PlanError(f"The band {foot:g} to {top:g} °C is too narrow: give it at least 0.5 K from foot to top.")
    caps = [plan.cap_degC]
    for line, cap in plan.line_caps:
        _between(f"The limit of line {line!r}", cap, *CAP_DEGC, "°C")
        caps.append(cap)
    if min(caps) - plan.margin_kelvin <= top:
        raise PlanError(f"The limit {min(caps):g} °C leaves no room over the band's top {top:g} °C: raise the limit.")
    if plan.floor_degC is not None and not plan.floor_degC <= min(caps) - plan.margin_kelvin:
        raise PlanError(f"The floor {plan.floor_degC:g} °C lies above the working limit: lower the floor.")
    if plan.relay not in RELAYS:
        raise PlanError(f"Relay {plan.relay!r} is not known: write one of {', '.join(RELAYS)}.")
    if plan.element_watts is not None:
        _between("The element's power", plan.element_watts, 50.0, 6000.0, "W")
    if plan.standby_degC is not None:
        _between("The stand-by hold", plan.standby_degC, STANDBY_MIN_DEGC, min(caps) - plan.margin_kelvin, "°C")
        _between("The time of the stand-by hold", plan.standby_s, 0, STANDBY_MAX_S, "s")
    if plan.wood not in WOODS:
        raise PlanError(f"Wood {plan.wood!r} is not known: write one of {', '.join(WOODS)}.")
    table.check(plan.stages, min(caps), plan.band_degC, plan.margin_kelvin)
    for place, pace in plan.place_pace:
        _between(f"The pace of place {place!r}", pace, 0.3, 3.0, "of the mean")


def _check_chubs(plan: Plan) -> None:
    if not plan.chubs:
        raise PlanError(f"Batch {plan.name!r} has no chubs: add at least one.")
    for chub in plan.chubs:
        _between(f"The diameter of chub {chub.number}", chub.diameter_mm, *DIAMETER_MM, "mm")
        if chub.probe is not None and chub.probe < 1:
            raise PlanError(f"Chub {chub.number} names probe {chub.probe}: core probes count from 1, 0 is the chamber.")
    for what, counts in (
        ("Chub", Counter(c.number for c in plan.chubs)),
        ("Probe", Counter(c.probe for c in plan.chubs if c.probe is not None)),
    ):
        twice = [n for n, count in counts.items() if count > 1]
        if twice:
            raise PlanError(f"{what} {twice[0]} stands in the plan twice: give each its own number.")
    _check_lead(plan)
    unknown = {line for line, _ in plan.line_caps} - {c.line for c in plan.chubs}
    if unknown:
        raise PlanError(f"A limit is given for line {sorted(unknown)[0]!r}, but no chub belongs to it.")


def _check_lead(plan: Plan) -> None:
    if plan.lead in (LOWEST, MEDIAN):
        return
    chub = next((c for c in plan.chubs if c.number == plan.lead), None)
    if chub is None:
        raise PlanError(f"Lead {plan.lead!r} is not known: write {LOWEST}, {MEDIAN} or the number of a chub.")
    if chub.probe is None:
        raise PlanError(f"Chub {chub.number} is to lead but has no probe: name one that has, or write {LOWEST}.")
