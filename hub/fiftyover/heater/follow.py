"""What a decision means for heat: a permit for each fresh one, a stop when heat is withdrawn on purpose."""

from __future__ import annotations

from ..batch.state import Decision
from ..store.frames import DatedFrame
from .heater import Heater


def follow(heater: Heater, frame: DatedFrame, decision: Decision, now_s: float) -> str | None:
    """Act on the decision made on `frame`; None, or one sentence why the kit did not get what was decided.

    A permit goes out only for a `fresh` decision, so never twice for one. No heat is said with a stop, sent until a
    frame shows that it worked. `now_s` on the hub's steady clock.
    """
    kit = frame.kit
    heater.hear(frame, now_s)
    if not decision.heat:
        return heater.stop_again(kit, now_s) if heater.stopped(kit) else heater.stop(kit, frame.boot, now_s)
    if heater.stopped(kit):
        heater.resume(kit)
    return heater.grant(kit, frame, decision.duty, now_s) if decision.fresh else None
