"""Readings in, decisions out: believe, lead, target, duty every five seconds; outlooks and calls every half minute.
Pure.

``decide(state, reading)`` takes each live frame once, in order of time; ``silent`` says what holds without frames. The
person's marks come through `marks.on_mark`; after a restart `again` makes the state anew from events and frames.
"""

from __future__ import annotations

import math
from dataclasses import replace

from fiftyover.batch import alarms, marks
from fiftyover.batch import events as ev
from fiftyover.batch.believe import DOUBTED, Row, over_chamber, swapped, watch
from fiftyover.batch.calls import look_ahead
from fiftyover.batch.course import preheating
from fiftyover.batch.estimate import begin
from fiftyover.batch.events import Book, Event
from fiftyover.batch.heat import heat, kit_missed
from fiftyover.batch.state import (
    ASK_AFTER_S,
    BLOCK_S,
    BLOCKS,
    GAP_S,
    ROWS,
    SETTLE_S,
    STEP_S,
    UNHEATED_S,
    BatchState,
    Block,
    Decision,
    Reading,
    decision,
    new_state,
)
from fiftyover.batch.tracks import place
from fiftyover.control import door
from fiftyover_kit.contract.limits import STATUS_HEATS

SWITCHED_OFTEN = 10  # of the relay's wear

on_mark = marks.on_mark
__all__ = ["BatchState", "Decision", "Reading", "decide", "new_state", "on_mark", "silent"]


class _Log:
    """Events made during one decision, and the book with them."""

    def __init__(self, book: Book, at_s: float, utc_ms: int) -> None:
        self.book, self.at_s, self.utc_ms = book, at_s, utc_ms
        self.new: list[Event] = []

    def add(self, kind: str, **data: object) -> None:
        event = Event(kind, self.at_s, self.utc_ms, dict(data))
        self.book = ev.apply(self.book, event)
        self.new.append(event)


def decide(state: BatchState, reading: Reading) -> Decision:
    """Take one live reading. A reading not newer than the last changes nothing."""
    if state.last is not None and reading.at_s <= state.last.at_s:
        return decision(state)
    log = _Log(state.book, reading.at_s, reading.utc_ms)
    state = _switched(_after_gap(state, reading, log), reading, log)
    if not _good(reading):
        return _no_chamber(state, reading, log)
    pending = (*state.pending, reading)
    if reading.at_s - state.step_s < STEP_S - 0.5 and not state.book.chamber_fault:
        state = state._replace(book=log.book, pending=pending, last=reading)
        return decision(state, tuple(log.new))
    if log.book.chamber_fault:
        log.add(ev.CHAMBER_BACK)
    state = state._replace(pending=(), last=reading, step_s=reading.at_s)
    on = sum(one.on for one in pending) / len(pending)
    state = _step(state, reading, _row(pending), on, log)
    return decision(state._replace(book=log.book), tuple(log.new), fresh=True)


def silent(state: BatchState) -> Decision:
    """Say what holds while no frame comes: no heat. The state stays; the next frame shows the gap."""
    return replace(decision(state), duty=0.0, heat=False, why="no-frames")


def _good(reading: Reading) -> bool:
    chamber = reading.chamber_degC
    return chamber is not None and math.isfinite(chamber) and reading.status[0] in STATUS_HEATS


def _after_gap(state: BatchState, reading: Reading, log: _Log) -> BatchState:
    if state.last is None:
        return state
    gap_s = reading.at_s - state.last.at_s
    if gap_s <= GAP_S:
        return state
    if log.book.hanging or preheating(log.book):
        log.add(ev.OUTAGE, gap_s=round(gap_s, 1), asked=gap_s > ASK_AFTER_S)
    watched = state.door._replace(recent=(), watch_until_s=reading.at_s + door.WATCH_S)
    return state._replace(book=log.book, door=watched, rows=(), gathered=(), blocks=(), pending=(), settled_s=0.0)


def _switched(state: BatchState, reading: Reading, log: _Log) -> BatchState:
    """Count how often the element goes on, and tell the record now and then: a relay wears out."""
    if reading.on != state.on:
        state = state._replace(on=reading.on, went_on=state.went_on + reading.on)
    if state.went_on < SWITCHED_OFTEN and not (log.book.finished and state.went_on):
        return state
    log.add(ev.SWITCHED, count=state.went_on)
    return state._replace(went_on=0, book=log.book)


def _no_chamber(state: BatchState, reading: Reading, log: _Log) -> Decision:
    """Without a good chamber reading there is no heat, at once."""
    if not log.book.chamber_fault:
        log.add(ev.CHAMBER_FAULT, status=reading.status[0])
    note = f"No heat: the chamber probe reads {reading.status[0]!r}. Look at its plug and lead."
    state = state._replace(
        book=log.book, last=reading, pending=(), duty=0.0, heat=False, why="chamber-fault", notes=(note,)
    )
    return decision(state, tuple(log.new), fresh=True)


def _mean(values: list[float | None]) -> float | None:
    seen = [v for v in values if v is not None]
    return sum(seen) / len(seen) if seen else None


def _row(pending: tuple[Reading, ...]) -> Row:
    last = pending[-1]
    cores: list[float | None] = [None]
    for channel in range(1, len(last.probe_degC)):
        cores.append(
            _mean(
                [
                    r.probe_degC[channel]
                    for r in pending
                    if len(r.probe_degC) > channel and r.status[channel] in STATUS_HEATS
                ]
            )
        )
    chamber = sum(r.chamber_degC for r in pending if r.chamber_degC is not None) / len(pending)
    return Row(last.at_s, chamber, tuple(cores))


def _step(state: BatchState, reading: Reading, row: Row, on: float, log: _Log) -> BatchState:
    rows = (*state.rows[1 - ROWS :], row)
    state = state._replace(rows=rows, gathered=(*state.gathered, row))
    state = _door(state, reading, row, log)
    state = _tracks(state, row, log)
    state = alarms.watch(state._replace(book=log.book), row, on, log.add)
    if row.at_s - state.gathered[0].at_s >= BLOCK_S - STEP_S - 0.5:
        state = state._replace(blocks=(*state.blocks[1 - BLOCKS :], _block(state.gathered)), gathered=())
        state = look_ahead(state._replace(book=log.book), log.add)
    return heat(state._replace(book=log.book), reading, row, log.add)


def _block(rows: tuple[Row, ...]) -> Block:
    count = len(rows)
    cores: list[float | None] = [None]
    for channel in range(1, len(rows[-1].probe_degC)):
        values = [r.probe_degC[channel] if len(r.probe_degC) > channel else None for r in rows]
        cores.append(None if None in values else _mean(values))
    middle_s = (rows[0].at_s + rows[-1].at_s) / 2.0 - STEP_S / 2.0
    return Block(middle_s, sum(r.chamber_degC for r in rows) / count, tuple(cores))


def _door(state: BatchState, reading: Reading, row: Row, log: _Log) -> BatchState:
    now = door.step(state.door, row.at_s, row.chamber_degC, reading.why == "door")
    is_open = door.holding(now, row.at_s)
    if is_open != log.book.door_open and log.book.hanging:
        log.add(ev.DOOR, open=is_open, by="seen")
    heats = state.heat and not kit_missed(state, reading)
    # A chamber that went unheated for long is colder than the meat: nothing is judged by places until it is back.
    cold_s = max(0.0, state.cold_s - STEP_S) if heats else min(UNHEATED_S, state.cold_s + STEP_S)
    heated_s = STEP_S if heats and state.duty > 0.0 else 0.0
    settled_s = 0.0 if is_open or cold_s >= UNHEATED_S else state.settled_s + heated_s
    return state._replace(door=now, cold_s=cold_s, settled_s=settled_s)


def _meant_cooler(state: BatchState, core_degC: float | None) -> bool:
    """Whether the stage asks for a chamber that is no warmer than this core: that tells nothing of swapped ones."""
    target = state.target_degC
    return state.why == "stage" and target is not None and core_degC is not None and core_degC >= target


def _tracks(state: BatchState, row: Row, log: _Log) -> BatchState:
    masked = state.settled_s < SETTLE_S
    tracks, guesses = {}, dict(state.guesses)
    for channel, number in log.book.chub_of.items():
        track = place(state, channel, number, row.at_s)
        if channel >= len(row.probe_degC):
            continue
        chub = state.plan.chub(number)
        track = watch(track, state.rows, channel, chub.diameter_mm, masked)
        doubted = track.out == DOUBTED  # what drifts tells nothing of swapped probes
        unattended = log.book.late_s is not None or state.why == "unattended"  # the chamber may be under a core
        cooler = unattended or _meant_cooler(state, row.probe_degC[channel])
        track = over_chamber(track, row, channel, masked or doubted or not state.heat or cooler)
        tracks[channel] = track
        if track.out is not None and track.out != "moved" and channel not in log.book.out:
            log.add(ev.PROBE_OUT, probe=channel, chub=number, why=track.out, from_s=row.at_s - ev.STRIKE_S)
            if track.used_degC is not None:
                guesses[number] = begin(number, track.used_degC, row.at_s, "probe")
        elif track.out is None and channel in log.book.out:
            log.add(ev.PROBE_BACK, probe=channel, chub=number)
        if swapped(track, row.at_s) and log.book.stopped is None:
            log.add(ev.SWAPPED, probe=channel, chub=number)
    return state._replace(tracks=tracks, guesses=guesses)
