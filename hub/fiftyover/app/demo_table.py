"""What a demo shows on the terminal: one line of progress, and the table at the end."""

from __future__ import annotations

import math
import resource
import sys
from dataclasses import dataclass, field

from fiftyover_kit.contract.units import degF_from_degC

from ..batch import events as ev
from ..batch.plan import Plan
from ..web.words import clock_words
from .hub import Hub

SLACK_KELVIN = 0.5 / 1.8  # the limit + 0.5 °F


@dataclass
class Outcome:
    """What was seen of the cook."""

    plan: Plan
    hub: Hub
    simulated_s: float = 0.0
    wall_s: float = 0.0
    peak_air_degC: float = -math.inf
    pulled_degC: dict[int, float] = field(default_factory=dict)
    kit_kib: int | None = None
    runtime: str = ""

    def see(self, at_s: float, air_degC: float) -> None:
        """One look at the true world."""
        self.simulated_s = at_s
        self.peak_air_degC = max(self.peak_air_degC, air_degC)

    def pulled(self, number: int, core_degC: float) -> None:
        """A chub left."""
        self.pulled_degC[number] = core_degC

    @property
    def done(self) -> bool:
        """All are out."""
        return len(self.pulled_degC) == len(self.plan.chubs)

    @property
    def good(self) -> bool:
        """All out inside the band, and the air never over the limit + 0.5 °F."""
        foot, top = self.plan.band_degC
        inside = all(foot <= core <= top for core in self.pulled_degC.values())
        return self.done and inside and self.peak_air_degC <= self.plan.cap_degC + SLACK_KELVIN


def progress(outcome: Outcome, last: bool = False) -> None:
    """Write the line; on a terminal over the one before."""
    state, frame = outcome.hub.state, outcome.hub.last_frame
    if state is None or frame is None:
        return
    hung = [c for c in state.book.probe_of.values() if c < len(frame.t)]  # a pulled chub's probe is put away
    cores = [t for t in (frame.t[channel] for channel in hung) if t is not None]
    line = (
        f"{clock_words(outcome.simulated_s)}  chamber {_f(frame.t[0])}  target {_f(state.target_degC)}  "
        f"coldest probe {_f(min(cores, default=None))}  element {frame.why}  "
        f"out {len(outcome.pulled_degC)} of {len(outcome.plan.chubs)}  permits run out {outcome.hub.expiries}"
    )
    end = "\n" if last or not sys.stdout.isatty() else ""
    sys.stdout.write(("\r\x1b[K" if sys.stdout.isatty() else "") + line + end)
    sys.stdout.flush()


def closing_table(outcome: Outcome) -> str:
    """Each chub's call, pull and core, and how the cook went."""
    state = outcome.hub.state
    began_s = min(state.book.hung_s.values(), default=0.0) if state else 0.0
    called_s = {e.data["chub"]: e.at_s - began_s for e in state.book.log if e.kind == ev.CALLED} if state else {}
    pulled_s = {number: at_s - began_s for number, at_s in state.book.pulled_s.items()} if state else {}
    rows = [f"{'chub':>4}  {'line':<6} {'place':<20} {'probe':<6} {'called':>7} {'pulled':>7} {'true core':>10}"]
    for chub in outcome.plan.chubs:
        core = outcome.pulled_degC.get(chub.number)
        probe = "none" if chub.probe is None else chub.probe + 1  # as the kit counts: 1 is the chamber's
        inside = core is not None and outcome.plan.band_degC[0] <= core <= outcome.plan.band_degC[1]
        rows.append(
            f"{chub.number:>4}  {chub.line:<6} {chub.place:<20} {probe:<6} "
            f"{_clock(called_s.get(chub.number)):>7} {_clock(pulled_s.get(chub.number)):>7} {_f(core, 1):>10}"
            + ("" if inside else "  outside its band")
        )
    foot, top = outcome.plan.band_degC
    hub_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    kit_mib = "?" if outcome.kit_kib is None else f"{outcome.kit_kib / 1024:.1f}"
    rows += [
        "",
        f"band {_f(foot)} to {_f(top)}; highest true air {_f(outcome.peak_air_degC, 1)} under a limit of "
        f"{_f(outcome.plan.cap_degC)}; permits that ran out {outcome.hub.expiries}",
        f"{clock_words(outcome.simulated_s)} h in {outcome.wall_s:.0f} s; peak memory hub {hub_mib:.0f} MiB, "
        f"kit {kit_mib} MiB ({outcome.runtime})",
        "The simulated smoker stands on our own study, not on a measured one.",
    ]
    return "\n".join(rows)


def _f(degC: float | None, digits: int = 0) -> str:
    return "–" if degC is None or not math.isfinite(degC) else f"{degF_from_degC(degC):.{digits}f} °F"


def _clock(seconds: float | None) -> str:
    return "–" if seconds is None else clock_words(seconds)
