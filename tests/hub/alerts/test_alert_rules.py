"""What is alarmed about, how urgently, and that nobody is told the same twice."""

from __future__ import annotations

import pytest

from fiftyover.alerts.ledger import FORGET_S, Ledger
from fiftyover.alerts.rules import ACT, KNOW, SOON, Alert, alerts_of, ranked
from fiftyover.batch import decide as batch
from fiftyover.batch import events as ev
from fiftyover.batch.attend import HELD
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Chub, Plan

LATE_S = 300.0


def state_with(*events: tuple[str, dict[str, object]]) -> batch.BatchState:
    chubs = tuple(Chub(n, "slim", 45.0, f"place {n}", n) for n in (1, 2, 3))
    state = batch.new_state(Plan("7f2c0001", "Test", chubs, 85.0))
    for kind, data in ((ev.HUNG, {"chubs": [1, 2, 3]}), *events):
        state = batch.marks.replay(state, Event(kind, 100.0, 100_000, dict(data)))
    return state


@pytest.mark.parametrize(
    ("sentence", "priority"),
    [
        ("No heat: the chamber probe reads 'open'. Look at its plug and lead.", ACT),
        ("The kit is not heard, so its element is off by itself. Go to the smoker: the clock runs.", ACT),
        ("The stop is not delivered: go to the smoker.", ACT),
        ("Late, not lost: calls were not answered.", ACT),
        (HELD, ACT),
        ("The published rule no longer covers this batch.", ACT),
        ("Probe 2 in chub 2 is not believed: it falls in hot air.", SOON),
        ("A sentence that nobody thought of.", SOON),
        ("The door is open: no heat while hands are in.", KNOW),
        ("Heat is stopped. The running clock goes on while meat hangs.", KNOW),
    ],
)
def test_sentence_has_its_priority(sentence: str, priority: str) -> None:
    assert ranked(sentence).priority == priority


def test_calls_come_before_what_can_wait_and_each_repeat_is_a_new_alarm() -> None:
    called = (ev.CALLED, {"chub": 2, "core_degC": 66.0})
    once = alerts_of(state_with((ev.CHECK_ASKED, {"chub": 1, "core_degC": 60.0}), called), ["The door is open."])
    assert [(one.priority, one.text) for one in once] == [
        (ACT, "Pull chub 2 now."),
        (SOON, "Check chub 1 by hand and type in its core."),
        (KNOW, "The door is open."),
    ]
    twice = alerts_of(state_with(called, (ev.CALLED_AGAIN, {"chub": 2})), [])
    assert twice[0].text == "Pull chub 2 now. Called 2 times."
    assert twice[0].key != once[0].key


def test_figure_that_moves_does_not_make_another_alarm_but_another_chub_does() -> None:
    first, later = ranked("Chub 3 is 22 °F behind the next."), ranked("Chub 3 is 23.5 °F behind the next.")
    assert first.key == later.key
    assert ranked("Chub 4 is 22 °F behind the next.").key != first.key
    assert len(alerts_of(None, [first.text, later.text])) == 1


def told(ledger: Ledger, at_s: float, *alerts: Alert) -> list[tuple[str, str]]:
    return [(one.to, one.key) for one in ledger.step(alerts, at_s, LATE_S)]


CALL = Alert("call 2 0", ACT, "Pull chub 2 now.")
WARN = Alert("probe", SOON, "Probe 2 is not believed.")


def test_each_thing_is_told_once_and_what_is_only_to_know_never() -> None:
    ledger = Ledger()
    assert told(ledger, 0.0, CALL, WARN, Alert("door", KNOW, "The door is open.")) == [
        ("first", "call 2 0"),
        ("first", "probe"),
    ]
    for at_s in range(1, 200):
        assert told(ledger, float(at_s), CALL, WARN) == []


def test_second_person_is_told_when_nobody_answered_and_only_of_what_is_urgent() -> None:
    ledger = Ledger()
    told(ledger, 0.0, CALL, WARN)
    assert told(ledger, LATE_S - 1.0, CALL, WARN) == []
    assert told(ledger, LATE_S, CALL, WARN) == [("second", "call 2 0")]
    assert told(ledger, 3 * LATE_S, CALL, WARN) == []


def test_heard_alarm_is_not_carried_to_the_second_person_but_a_new_one_is() -> None:
    ledger = Ledger()
    told(ledger, 0.0, CALL)
    ledger.heard()
    again = Alert("call 2 1", ACT, "Pull chub 2 now. Called 2 times.")
    assert told(ledger, LATE_S, CALL, again) == [("first", "call 2 1")]
    assert told(ledger, 2 * LATE_S, CALL, again) == [("second", "call 2 1")]


def test_flicker_is_not_told_again_but_a_return_is() -> None:
    ledger = Ledger()
    told(ledger, 0.0, WARN)
    told(ledger, 10.0)
    assert told(ledger, FORGET_S - 1.0, WARN) == []
    assert told(ledger, FORGET_S, WARN) == []
    told(ledger, 2 * FORGET_S)
    assert told(ledger, 2 * FORGET_S + 1.0, WARN) == [("first", "probe")]
