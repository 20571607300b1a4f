"""The outbox: fills with the record, moves only when told, holds nothing that was deleted."""

import sqlite3
from contextlib import closing

from fiftyover.batch.events import Event
from fiftyover.store import EventRow, Outbox, TargetRow, erase

from .conftest import KIT, ZERO_MS


def fill(store, frame, first=0, count=3):
    store.add_frames([frame(seq) for seq in range(first, first + count)])
    store.commit()


def seqs(lot):
    return [row.seq for row in lot.rows]


def test_nothing_goes_in_before_a_taker_signed_in_and_everything_after(store, frame):
    fill(store, frame)
    outbox = Outbox(store.path)
    assert outbox.next_lot(10) is None
    outbox.sign_in()
    fill(store, frame, 3)
    store.add_target(KIT, ZERO_MS, 71.1)
    store.add_event("7f2c", Event("called", 5.0, ZERO_MS + 5000, {"chub": 2, "core_degC": 66.9}))
    store.commit()
    lot = outbox.next_lot(10)
    assert [row for row in lot.rows if not hasattr(row, "seq")] == [
        TargetRow(KIT, ZERO_MS, 71.1),
        EventRow(1, "7f2c", "called", ZERO_MS + 5000, {"chub": 2, "core_degC": 66.9}),
    ]
    assert [row.seq for row in lot.rows if hasattr(row, "seq")] == [3, 4, 5]
    outbox.close()


def test_a_lot_that_was_not_sent_is_handed_out_again_after_a_restart_too(store, frame):
    outbox = Outbox(store.path)
    outbox.sign_in()
    fill(store, frame, 0, 5)
    assert seqs(outbox.next_lot(2)) == [0, 1]
    assert seqs(outbox.next_lot(2)) == [0, 1]
    outbox.close()
    outbox = Outbox(store.path)
    outbox.sign_in()  # again: the cursor stays
    lot = outbox.next_lot(2)
    assert seqs(lot) == [0, 1]
    outbox.sent(lot)
    assert seqs(outbox.next_lot(9)) == [2, 3, 4]
    assert outbox.waiting() == 3
    with closing(sqlite3.connect(store.path)) as other:
        assert other.execute("SELECT count(*) FROM outbox").fetchone() == (3,)
    outbox.close()


def test_the_same_frame_again_goes_out_once_and_a_changed_target_again(store, frame):
    outbox = Outbox(store.path)
    outbox.sign_in()
    fill(store, frame, 0, 1)
    fill(store, frame, 0, 1)
    store.add_target(KIT, ZERO_MS, 71.1)
    store.commit()
    store.add_target(KIT, ZERO_MS, None)
    store.commit()
    lot = outbox.next_lot(9)
    assert seqs(type(lot)(lot.rows[:1], 0)) == [0]
    assert lot.rows[1:] == [TargetRow(KIT, ZERO_MS, None)] * 2
    outbox.close()


def test_a_row_deleted_from_the_record_is_passed_over_and_leaves_no_trace(store, frame, clock):
    outbox = Outbox(store.path)
    outbox.sign_in()
    fill(store, frame, 0, 6)
    store.add_event("gone-batch-77", Event("hung", 0.0, ZERO_MS, {}))
    store.commit()
    outbox.close()
    store.close()
    erase.erase(store.path, "gone-batch-77", [erase.Part(KIT, (ZERO_MS, ZERO_MS + 4000), [])], clock.utc_ms())
    outbox = Outbox(store.path)
    assert seqs(outbox.next_lot(9)) == [4, 5]
    assert outbox.waiting() == 2
    outbox.close()
    assert b"gone-batch-77" not in store.path.read_bytes()


def test_a_taker_that_leaves_lets_the_outbox_be_empty(store, frame):
    outbox = Outbox(store.path)
    outbox.sign_in()
    fill(store, frame)
    outbox.sign_out()
    fill(store, frame, 3)
    assert outbox.waiting() == 0
    outbox.sign_in()
    fill(store, frame, 6, 1)
    assert seqs(outbox.next_lot(9)) == [6]
    outbox.close()
