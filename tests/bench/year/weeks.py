"""A record of weekly batches: twelve probes once a second, written by the store itself as the hub writes it."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from pathlib import Path

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.batch.events import Event
from fiftyover.batch.opening import PLANNED
from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.written import data_of_plan
from fiftyover.clock import VirtualClock
from fiftyover.store import DatedFrame, Store

KIT = "kit-3f2a"
ZERO_MS = 1_735_689_600_000  # 2025-01-01 00:00 UTC
WEEK_S = 7 * 86_400.0
PROBES = 12  # the chamber's and eleven cores'
LOT = 1800  # readings a commit; the hub commits each second, which only takes longer
NOISE_KELVIN = 0.03


def batch_name(week: int) -> str:
    return f"{week:08x}"


def put_weeks(path: Path, weeks: int, cook_s: int, last_s: int) -> None:
    """`weeks` closed batches into a new record; the last one's cook takes `last_s`, the others' `cook_s`."""
    clock = VirtualClock(utc_zero_ms=ZERO_MS)
    store = Store(path, clock)
    for week in range(weeks):
        clock.set(week * WEEK_S)
        _put_batch(store, week, last_s if week == weeks - 1 else cook_s)
    store.close()


def _put_batch(store: Store, week: int, cook_s: int) -> None:
    began_s, batch_id = week * WEEK_S, batch_name(week)
    chubs = tuple(Chub(n, "middle", 61.0, f"hook {n}", n) for n in range(1, PROBES))
    plan = Plan(batch_id, f"Smoked ring of week {week + 1}", chubs, 82.0)

    def add(kind: str, since_s: float, **data: object) -> None:
        at_s = began_s + since_s
        store.add_event(batch_id, Event(kind, at_s, ZERO_MS + round(at_s * 1000), data))

    numbers = [chub.number for chub in chubs]
    add(PLANNED, 0.0, plan=data_of_plan(plan), kit=KIT)
    add(day.RECIPE, 0.0, kinds=["pork", "beef"], meat_g=9000.0, batch_g=9600.0, nitrite_ppm=140.0, poultry=False)
    add(ev.HUNG, 0.0, chubs=numbers)
    for since_s in range(300, cook_s, 300):
        store.add_target(KIT, ZERO_MS + round((began_s + since_s) * 1000), round(50.0 + 25.0 * since_s / cook_s, 1))
    for minute in range(7, cook_s // 60, 97):  # somebody looks in now and then
        add(ev.DOOR, 60.0 * minute, open=True)
        add(ev.DOOR, 60.0 * minute + 40.0, open=False)
    first_s, apart_s = 0.9 * cook_s, 0.008 * cook_s
    for number in numbers:
        called_s = first_s + apart_s * number
        add(ev.CALLED, called_s, chub=number, core_degC=66.9, predicted_degC=67.4, response_s=300.0)
        add(ev.PULLED, called_s + 280.0, chub=number, core_degC=None, probe="stays")
    after_s = float(cook_s)
    add(day.INTO_ICE, after_s, chubs=numbers)
    add(day.WEIGHED, after_s + 60.0, what="cooked", kg=8.4)
    add(day.PACKED, after_s + 120.0)
    add(day.CLOSED, after_s + 180.0)
    lot = []
    for frame in _frames(week, began_s, cook_s):
        lot.append(frame)
        if len(lot) == LOT:
            _commit(store, lot)
    _commit(store, lot)


def _commit(store: Store, lot: list[DatedFrame]) -> None:
    store.add_frames(lot)
    keys = store.commit()
    assert len(keys) == len(lot), store.problem
    lot.clear()


def _frames(week: int, began_s: float, cook_s: int) -> Iterator[DatedFrame]:
    """Cores that near the chamber, each at its own pace, and a probe's noise, as a kit rounds them."""
    chance = random.Random(week)
    boot = f"{week + 0xA00000000000:012x}"
    paces_s = [cook_s / (1.35 + 0.02 * n) for n in range(1, PROBES)]
    words = ["ok"] * PROBES
    for n in range(cook_s):
        chamber = 52.0 + 24.0 * n / cook_s + 0.4 * math.sin(n / 90.0)
        t: list[float | None] = [round(chamber + chance.gauss(0.0, NOISE_KELVIN), 2)]
        for pace_s in paces_s:
            core = 78.0 - 74.0 * math.exp(-n / pace_s)
            t.append(round(core + chance.gauss(0.0, NOISE_KELVIN), 2))
        at_s = began_s + n + 0.2
        yield DatedFrame(
            KIT, boot, n, n * 1000 % (1 << 30), ZERO_MS + round(at_s * 1000), at_s,
            t, words, n // 7 % 2, round(0.3 + 0.2 * math.sin(n / 600.0), 4), "on", True,
        )  # fmt: skip
