"""A batch in a record, written straight into the store: two chubs, straight cores, a reading every twenty seconds."""

from collections.abc import Callable
from pathlib import Path

from fiftyover.batch import day
from fiftyover.batch import events as ev
from fiftyover.batch.events import Event
from fiftyover.batch.opening import PLANNED
from fiftyover.batch.plan import Chub, Plan
from fiftyover.batch.written import data_of_plan
from fiftyover.clock import VirtualClock
from fiftyover.store import DatedFrame, Store

KIT, ZERO_MS, STEP_S = "kit-3f2a", 1_764_028_800_000, 20
SECRET = "Krautwürzige Sonderanfertigung"
PULLED_S, END_S = 18_000, 28_800


def core_degC(since_s: float, per_min: float) -> float:
    if since_s <= PULLED_S:
        return 5.0 + per_min * since_s / 60.0
    return max(3.0, 5.0 + per_min * PULLED_S / 60.0 - 0.5 * (since_s - PULLED_S) / 60.0)


def held(add: Callable[..., None], began_s: float, boot: str, kit: str, from_s: float) -> list[DatedFrame]:
    """A cure hold, and a hundred readings of the small kit in it."""
    add(day.COLD, from_s, chubs=[], probe=0, kit=kit)
    times = [began_s + from_s * (1.0 - n / 100.0) for n in range(100)]
    return [
        DatedFrame(kit, boot[::-1] + "c", n, n, ZERO_MS + round(at_s * 1000), at_s, [3.0], ["ok"], 0, 0.0, "off", True)
        for n, at_s in enumerate(times)
    ]


def put_batch(
    path: Path,
    batch_id: str,
    began_s: float,
    boot: str,
    name: str = "Test batch",
    pace: float = 0.21,
    hold: tuple[str, float] | None = None,
) -> None:
    """One whole batch, closed."""
    clock = VirtualClock(at_s=began_s, utc_zero_ms=ZERO_MS)
    store = Store(path, clock, reserve_bytes=0)
    chubs = tuple(Chub(n, "slim", 45.0, f"place {n}", n) for n in (1, 2))
    plan = Plan(batch_id, name, chubs, 85.0)

    def add(kind: str, since_s: float, **data: object) -> None:
        at_s = began_s + since_s
        store.add_event(batch_id, Event(kind, at_s, ZERO_MS + round(at_s * 1000), data))

    add(PLANNED, -60.0, plan=data_of_plan(plan), kit=KIT)
    add(day.RECIPE, -60.0, kinds=["pork"], meat_g=4000.0, batch_g=4200.0, nitrite_ppm=150.0, poultry=False)
    frames = [] if hold is None else held(add, began_s, boot, *hold)
    add(ev.HUNG, 0.0, chubs=[1, 2])
    for number in (1, 2):
        add(ev.PULLED, PULLED_S, chub=number, probe="stays", core_degC=None)
    add(day.INTO_ICE, PULLED_S + 60.0, chubs=[1, 2])
    add(day.WEIGHED, END_S - 120.0, what="cooked", kg=3.8, note=SECRET)
    add(day.SECOND, END_S - 100.0, chub=2, core_degC=60.0, second_degC=62.0)
    add(day.PACKED, END_S - 80.0)
    add(day.CLOSED, END_S - 60.0)
    for seq, since_s in enumerate(range(0, END_S, STEP_S)):
        at_s = began_s + since_s
        cores = [round(core_degC(since_s, pace), 2), round(core_degC(since_s, pace - 0.01), 2)]
        frames.append(
            DatedFrame(
                KIT,
                boot,
                seq,
                since_s * 1000,
                ZERO_MS + round(at_s * 1000),
                at_s,
                [60.0, *cores],
                ["ok"] * 3,
                0,
                0.25,
                "on",
                True,
            )
        )
    store.add_frames(frames)
    store.add_target(KIT, ZERO_MS + round(began_s * 1000), 70.0)
    assert len(store.commit()) == len(frames)
    store.close()
