"""From the leading core to the duty: target, what stands against heat, controller. Pure; every five seconds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from fiftyover.batch import alarms, attend, course, notices, tuning
from fiftyover.batch import events as ev
from fiftyover.batch.believe import Row
from fiftyover.batch.course import Asked
from fiftyover.batch.events import Book
from fiftyover.batch.lead import BEHIND_KELVIN, HOLD_DEGC, HOLD_S, Kept, Lead, choose, keep
from fiftyover.batch.state import SETTLE_S, STEP_S, BatchState, Reading
from fiftyover.batch.tracks import believed, leading
from fiftyover.batch.watch import most_duty, wants_pulse
from fiftyover.control import controller, door
from fiftyover.control.autotune import Tune
from fiftyover.control.target import follow_degC, ripple_room_kelvin, slewed_degC

LATE_UNDER_TOP_KELVIN = 4.0  # the hottest place is hotter than the probe
LATE_S = 8 * 3600.0
KIT_REFUSES = ("latched", "cap", "probe-fault", "boot-hold", "link-lost")  # then the integral waits
# The kit ran out of permits: what was decided did not heat. Then the limit is watched ahead, as after a door.
KIT_MISSED = ("expired", "link-lost", "boot-hold")
MISSED_IF_IDLE = ("refused", "off")

Add = Callable[..., None]


def cap_degC(book: Book) -> float:
    """Limit that holds now [degC]: the lowest of the lines still hanging."""
    caps = dict(book.plan.line_caps)
    lines = {book.plan.chub(n).line for n in book.hanging}
    return min([book.plan.cap_degC, *(caps[line] for line in lines if line in caps)])


def heat(state: BatchState, reading: Reading, row: Row, add: Add) -> BatchState:
    """Decide target, duty and whether there may be heat."""
    book, plan = state.book, state.plan
    cap = cap_degC(book)
    cores = leading(state, row.at_s)
    lead = choose(plan, cores, book.passed_over)
    lowest = min(believed(state).values(), default=None)
    state = state._replace(met=course.advance(state.met, book, lowest, row.at_s, add))
    asked = course.asked(plan.stages[state.book.stage], plan, cap)
    state, wanted, why = _target(state, lead, frozenset(cores), asked, add)
    target = slewed_degC(state.target_degC, wanted, min(STEP_S * 3.0, row.at_s - (state.control.at_s or row.at_s)))
    against = _against(state, row.at_s)
    notes = _notes(state, lead, against or why)
    state = state._replace(target_degC=target, lead_chub=lead.chub if lead else None, notes=notes)
    if book.hung_s and not book.hanging and not book.finished:
        add(ev.FINISHED)
    course.watch_smoke(book, state.door.mean_duty, row.at_s, add)
    return _control(state, reading, row, target, cap, against, why, add)


def _target(
    state: BatchState, lead: Lead | None, chubs: frozenset[int], asked: Asked, add: Add
) -> tuple[BatchState, float, str]:
    book, plan = state.book, state.plan
    under = plan.margin_kelvin + ripple_room_kelvin(plan.relay, plan.element_watts)
    top = asked.limit_degC - under
    held = asked.hold_degC
    if lead is None:
        if book.hanging and book.hold_s is None:
            add(ev.HOLD_STARTED)
        if held is not None and not book.hanging:
            return state, min(held, top), "stage"
        return state, min(HOLD_DEGC, top, HOLD_DEGC if held is None else held), "holding"
    if book.hold_s is not None:
        add(ev.HOLD_ENDED)
    _ask_about(state, lead, add)
    if held is not None:
        state, wanted = state._replace(kept=Kept(None, chubs)), min(held, top)
    else:
        wanted = follow_degC(lead.core_degC, asked.lift_kelvin, asked.floor_degC, asked.limit_degC, under)
        kept, wanted = keep(state.kept, lead, chubs, wanted, state.target_degC)
        state = state._replace(kept=kept)
    if attend.unattended(book, state.last.at_s if state.last else 0.0):
        return state, min(HOLD_DEGC, wanted, top), "unattended"
    if book.late_s is not None:
        return state, min(plan.band_degC[1] - LATE_UNDER_TOP_KELVIN, wanted), "late"
    if held is not None:
        return state, wanted, "stage"
    if wanted >= top:
        return state, min(wanted, top), "limit"
    return state, wanted, "floor" if wanted == asked.floor_degC else "following"


def _ask_about(state: BatchState, lead: Lead, add: Add) -> None:
    behind = lead.behind_kelvin
    if behind is None or behind <= BEHIND_KELVIN or lead.chub in state.book.asked_lead | state.book.passed_over:
        return
    if state.settled_s >= SETTLE_S and lead.chub in state.book.chub_of.values():
        add(ev.LEAD_ASKED, chub=lead.chub, behind_kelvin=round(behind, 1))


def _against(state: BatchState, at_s: float) -> str | None:
    """Name what stands against heat, or None."""
    book = state.book
    if not book.hung_s and book.preheat_s is None:
        return "not-started"
    if book.hung_s and not book.hanging:
        return "finished"
    if course.not_hung(book, at_s):
        return "not-hung"
    if book.stopped is not None:
        return {"person": "stopped"}.get(book.stopped, book.stopped)
    if door.hands_in(state.door, at_s):
        return "door"
    if book.hold_s is not None and at_s - book.hold_s > HOLD_S:
        return "no-core"
    if book.late_s is not None and at_s - book.late_s > LATE_S:
        return "not-answered"
    return None


def kit_missed(state: BatchState, reading: Reading) -> bool:
    """Whether the kit did not heat though heat was decided: its permits ran out on the way."""
    if reading.why in KIT_MISSED:
        return True
    return reading.duty == 0.0 and state.duty > 0.0 and reading.why in MISSED_IF_IDLE


def _control(
    state: BatchState, reading: Reading, row: Row, target: float, cap: float, against: str | None, why: str, add: Add
) -> BatchState:
    missed = kit_missed(state, reading)
    watched = door.interrupted(state.door, row.at_s) if missed else state.door
    watch = door.cap_watch(watched, row.at_s, row.chamber_degC, state.control.slope, cap)
    most = most_duty(state.watch, row.at_s, row.chamber_degC)
    hold: float | None = None
    if state.watch.off_since_s is not None:
        hold = 0.0  # an off-pulse: whether the relay opens
    elif against is not None or (watch.cut and door.watching(watch, row.at_s)):
        hold = 0.0  # after a door the integral is right: it waits
    elif door.holding(watch, row.at_s):
        hold = min(watch.mean_duty, most)
    elif alarms.checking(state) and wants_pulse(row.chamber_degC, target):
        hold = 1.0  # the start check: nothing is heated on until the chamber probe has answered this
    if tuning.wanted(state, row.at_s):
        if hold is None and not watch.cut and not missed and reading.why not in KIT_REFUSES:
            state, hold = tuning.run(state, row.at_s, row.chamber_degC, target, cap, add)
            hold = min(hold, most)
        else:
            state = state._replace(tune=Tune())  # disturbed: once more, if there is time
    integral = state.control.integral
    ceiling = 0.0 if watch.cut else most
    control, duty = controller.step(state.tuning, state.control, row.at_s, row.chamber_degC, target, hold, ceiling)
    under_kelvin = target - row.chamber_degC
    control = replace(control, integral=door.wound(watch, row.at_s, under_kelvin, integral, control.integral))
    if missed and hold is None:
        control = controller.unheated(state.tuning, control, integral, target, STEP_S)
    elif reading.why in KIT_REFUSES:
        control = replace(control, integral=integral)
    elif hold is None:
        watch = door.with_duty(watch, duty, STEP_S)
    if watch.cut and against is None:
        why = "limit"
    return state._replace(door=watch, control=control, duty=duty, heat=against is None, why=against or why)


def _notes(state: BatchState, lead: Lead | None, why: str) -> tuple[str, ...]:
    book = state.book
    notes = [_NOTES[why]] if why in _NOTES else []
    for number, call in book.calls.items():
        notes.append(
            f"Pull chub {number} now." if not call.again else f"Pull chub {number}: called {call.again + 1} times."
        )
    notes += [f"Check chub {number} by hand and type in its core." for number in book.checks]
    notes += [*course.notes(book), *notices.notes(book)]
    notes += [says for says in book.alarms.values() if says not in notes]
    for channel, reason in book.out.items():
        if channel in book.chub_of:
            notes.append(f"Probe {channel + 1} in chub {book.chub_of[channel]} is not believed: it {reason}.")
    if lead is not None and isinstance(book.plan.lead, int) and lead.chub != book.plan.lead:
        notes.append(f"Chub {book.plan.lead}, which is to lead, is out or not believed: chub {lead.chub} leads.")
    if lead is not None and lead.chub in book.asked_lead and lead.chub not in book.passed_over and lead.behind_kelvin:
        behind = round(lead.behind_kelvin * 1.8)
        notes.append(
            f"Chub {lead.chub} is {behind} °F behind the next of its line: probe off centre? Follow the next one?"
        )
    return tuple(notes)


_NOTES = {
    "holding": "No core can be believed: the chamber is held at 147 °F. Seat a probe, or type in hand readings.",
    "no-core": "No heat: no core could be believed for four hours. Type in a hand reading, or seat a probe.",
    "unattended": attend.HELD,
    "late": "Late, not lost: calls were not answered, so the chamber is held below the band. One press goes back up.",
    "not-answered": "No heat: nobody answered for eight hours.",
    "not-hung": "No heat: the smoker was preheated and nobody hung anything for two hours.",
    "outage": "The power was away for long. Look at the cores and the running clock, then say whether to go on.",
    "swapped": "No heat: a core reads hotter than the heated chamber. Are two probes swapped?",
    "door": "The door is open: no heat while hands are in.",
    "stopped": "Heat is stopped. The running clock goes on while meat hangs.",
}
