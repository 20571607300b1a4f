"""The state made again after a kill is the state that was, and what the kill kept from the record is told anew."""

from __future__ import annotations

from dataclasses import replace

from fiftyover.batch import events as ev
from fiftyover.batch.again import UNSAVED_S, rebuild
from fiftyover.batch.decide import decide
from hub.batch.simple_smoker import Smoker, plan


def hung(chubs: int, probes: int) -> Smoker:
    smoker = Smoker(plan(chubs, probes))
    smoker.hang()
    return smoker


def cooked() -> Smoker:
    smoker = hung(3, 2).to_core(55.0)
    smoker.mark("door", {"open": True})
    smoker.run(60.0)
    smoker.mark("door", {"open": False})
    smoker.run(900.0)
    return smoker.to_core(66.0)


def test_state_from_all_frames_is_exactly_what_it_was() -> None:
    smoker = cooked()
    again = rebuild(smoker.plan, smoker.events, smoker.readings)
    assert again.state == smoker.state
    assert again.unsaved == ()


def test_what_the_last_frame_led_to_is_told_anew() -> None:
    smoker = cooked()
    for event in [smoker.of_kind(kind)[0] for kind in (ev.CALLED, ev.CHECK_ASKED, ev.NOTICE)]:
        readings = [one for one in smoker.readings if one.at_s <= event.at_s]
        before = [one for one in smoker.events if one.at_s < event.at_s]
        lost = [one for one in smoker.events if one.at_s == event.at_s and one.kind not in ev.MARKS]
        again = rebuild(smoker.plan, before, readings)
        assert list(again.unsaved) == lost
        assert again.state == rebuild(smoker.plan, [*before, *lost], readings).state


def test_what_would_be_told_long_after_its_time_is_not() -> None:
    smoker = cooked()
    called = next(event for event in smoker.events if event.kind == ev.CALLED)
    before = [one for one in smoker.events if one.at_s < called.at_s]
    readings = [one for one in smoker.readings if one.at_s <= called.at_s + UNSAVED_S + 5.0]
    told = [event for event in rebuild(smoker.plan, before, readings).unsaved if event.at_s == called.at_s]
    assert told == []


def test_frame_dated_better_when_saved_tells_nothing_twice() -> None:
    smoker = cooked()
    later = [replace(one, at_s=one.at_s + 2.0) if one.kind == ev.CALLED else one for one in smoker.events]
    later.sort(key=lambda one: one.at_s)
    again = rebuild(smoker.plan, later, smoker.readings)
    assert again.unsaved == ()
    assert len([e for e in again.state.book.log if e.kind == ev.CALLED]) == len(smoker.of_kind(ev.CALLED))
    assert decide(again.state, smoker.readings[-1]).events == ()
