"""Which core leads the chamber: the lowest believable one, and never down because a colder one joined. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fiftyover.batch.plan import LOWEST, MEDIAN, Plan

BEHIND_KELVIN = 20.0 / 1.8  # a leader this far behind the next is asked about
TIE_KELVIN = 0.3  # cores this close are one: then the probe in the slower place leads
HOLD_DEGC = 64.2  # the middle of 145-150 °F: held when no core is believed
HOLD_S = 4 * 3600.0


@dataclass(frozen=True, slots=True)
class Lead:
    """The leading chub, its core [degC], and how far it is behind the next of its line [kelvin] (None when alone)."""

    chub: int
    core_degC: float
    behind_kelvin: float | None


def choose(plan: Plan, cores: Mapping[int, float], passed_over: frozenset[int]) -> Lead | None:
    """Pick the leader from believable cores by chub [degC].

    Chubs that the person said to pass over lead only if no other is left. With fewer probes than chubs, cores that are
    as good as equal are decided by the slower place. Where the plan wants the median or a named chub, that leads; a
    named one that is not believed (or is out) leaves it to the lowest. Of an even number the lower median leads.
    """
    able = {n: c for n, c in cores.items() if n not in passed_over} or dict(cores)
    if not able:
        return None
    if plan.lead == MEDIAN:
        chub = sorted(able, key=lambda n: (able[n], n))[(len(able) - 1) // 2]
        return Lead(chub, able[chub], None)
    if plan.lead != LOWEST and plan.lead in able:
        return Lead(int(plan.lead), able[int(plan.lead)], None)
    lowest = min(able.values())
    near = [n for n, c in able.items() if c <= lowest + TIE_KELVIN]
    chub = min(near, key=lambda n: (plan.pace(plan.chub(n).place), able[n], n))
    line = plan.chub(chub).line
    others = [c for n, c in able.items() if n != chub and plan.chub(n).line == line]
    return Lead(chub, lowest, min(others) - lowest if others else None)


@dataclass(frozen=True, slots=True)
class Kept:
    """The target that is kept while a colder core that joined catches up, and who took part last time."""

    target_degC: float | None = None
    chubs: frozenset[int] = frozenset()


def keep(
    kept: Kept, lead: Lead, chubs: frozenset[int], wanted_degC: float, last_degC: float | None
) -> tuple[Kept, float]:
    """Never let the target fall because a colder core joined.

    ``chubs`` may lead now, ``wanted_degC`` is the target by the leader, ``last_degC`` the target until now. Returns the
    memory and the target [degC].
    """
    floor = kept.target_degC
    joined = bool(kept.chubs) and lead.chub not in kept.chubs
    if joined and last_degC is not None and wanted_degC < last_degC:
        floor = last_degC
    if floor is not None and wanted_degC >= floor:
        floor = None
    return Kept(floor, chubs), wanted_degC if floor is None else floor
