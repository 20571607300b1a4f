"""What a decision means for heat: a permit for each fresh one, a stop when heat is withdrawn on purpose."""

from __future__ import annotations

import math

from fiftyover_kit.contract import topics

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
    return heater.grant(kit, frame, decision.duty, now_s, standby_of(decision)) if decision.fresh else None


def standby_of(decision: Decision) -> dict[str, object] | None:
    """Give what a permit says of stand-by: {"batch", "degC", "s"} where the plan offers one, else None.

    Never hotter than this decision's own target; the kit holds it only if a person armed it at the smoker.
    """
    plan, target_degC = decision.state.plan, decision.target_degC
    if plan.standby_degC is None or target_degC is None or not topics.is_id(plan.batch_id):
        return None
    degC = math.floor(min(plan.standby_degC, target_degC) * 100.0) / 100.0  # two decimals on the wire
    return {"batch": plan.batch_id, "degC": degC, "s": plan.standby_s}
