"""The book is the fold of the events, whatever they are; an undo is an event too."""

import json
from dataclasses import asdict

import pytest

from fiftyover.batch import events as ev
from fiftyover.batch.events import Event, apply, fold
from hub.batch.simple_smoker import plan


def at(seconds: float, kind: str, **data: object) -> Event:
    return Event(kind, seconds, 1000 * int(seconds), dict(data))


COOK = [
    at(0, ev.HUNG, chubs=[1, 2, 3]),
    at(600, ev.PROBE_OUT, probe=2, chub=2, why="no reading", from_s=300.0),
    at(900, ev.PROBE_BACK, probe=2, chub=2),
    at(950, ev.DOOR, open=True, by="person"),
    at(1000, ev.DOOR, open=False, by="person"),
    at(9000, ev.CALLED, chub=3, core_degC=66.0, predicted_degC=67.0, response_s=0.0),
    at(9300, ev.CALLED_AGAIN, chub=3),
    at(9400, ev.PULLED, chub=3, core_degC=None, probe="stays"),
    at(9500, ev.CHECK_ASKED, chub=1, core_degC=60.0),
    at(9600, ev.HAND_READING, chub=1, core_degC=61.0),
]


def test_book_says_who_hangs_who_is_called_and_which_probe_is_where() -> None:
    book = fold(plan(), COOK[:7])
    assert book.hanging == (1, 2, 3)
    assert (book.calls[3].at_s, book.calls[3].again) == (9000, 1)
    book = fold(plan(), COOK)
    assert book.hanging == (1, 2)
    assert book.calls == {}
    assert book.chub_of == {1: 1, 2: 2}
    assert book.out == {}
    assert book.strikes == ((2, 300.0, 600.0), (3, 9400 - 300.0, 9400.0))
    assert book.checks == {}
    assert book.hands[1].core_degC == 61.0


def test_fold_of_a_beginning_and_the_rest_is_the_fold_of_all() -> None:
    whole = fold(plan(), COOK)
    book = fold(plan(), COOK[:4])
    for event in COOK[4:]:
        book = apply(book, event)
    assert book == whole
    assert book.log == tuple(COOK)


def test_fold_is_what_one_event_after_the_other_gives_also_with_undone_ones_among_them() -> None:
    log = [*COOK, at(9700, ev.UNDO, event=7), at(9710, ev.PULLED, chub=3, core_degC=None, probe="away")]
    log += [at(9720, ev.FINISHED), at(9730, ev.UNDO, event=9), at(9740, ev.DOOR, open=True, by="person")]
    book = ev.Book(plan())
    for number, event in enumerate(log):
        book = apply(book, event)
        assert fold(plan(), log[: number + 1]) == book
    assert book.void == {7, 9}
    assert not book.finished


@pytest.mark.parametrize("number", [i for i, e in enumerate(COOK) if e.kind in ev.UNDOABLE])
def test_undo_gives_the_book_as_if_the_mark_had_never_been_made(number: int) -> None:
    undone = fold(plan(), [*COOK, at(9700, ev.UNDO, event=number)])
    never = fold(plan(), [e for i, e in enumerate(COOK) if i != number])
    assert undone.hanging == never.hanging
    assert undone.hands == never.hands
    assert undone.chub_of == never.chub_of
    assert len(undone.log) == len(COOK) + 1  # nothing is taken out of the log


def test_a_probe_moved_to_another_chub_is_placed_there_then() -> None:
    book = fold(plan(3, 2), [COOK[0], at(5000, ev.PULLED, chub=1, core_degC=None, probe=3)])
    assert book.chub_of == {1: 3, 2: 2}
    assert book.placed_s[1] == 5000


def test_an_outage_waits_for_the_person_only_when_asked_and_a_stop_stays_a_stop() -> None:
    assert fold(plan(), [COOK[0], at(10, ev.OUTAGE, gap_s=100.0, asked=False)]).stopped is None
    book = fold(plan(), [COOK[0], at(10, ev.OUTAGE, gap_s=4000.0, asked=True)])
    assert book.stopped == "outage"
    assert apply(book, at(20, ev.RESUME_HEAT)).stopped is None
    book = fold(plan(), [COOK[0], at(5, ev.STOP_HEAT), at(10, ev.OUTAGE, gap_s=4000.0, asked=True)])
    assert book.stopped == "person"


def test_events_survive_json() -> None:
    again = [Event(**json.loads(json.dumps(asdict(e)))) for e in COOK]
    assert fold(plan(), again) == fold(plan(), COOK)


def test_every_kind_stands_in_the_table_of_the_module() -> None:
    assert ev.__doc__ is not None
    assert [kind for kind in ev.KINDS if kind not in ev.__doc__] == []
    assert set(ev.UNDOABLE) < set(ev.MARKS) < set(ev.KINDS)
