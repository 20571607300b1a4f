"""The real guard.py walked through every state that events, faults, delays and restarts can bring it to.

After each event the guard's word must be the oracle's, both ways: never heat that the contract forbids, and never none
that it allows. Then the guard is broken in many ways, one at a time, and the walk must notice each.
"""

import gc
import importlib.util
import time
import types
from array import array
from collections import deque
from collections.abc import Callable
from pathlib import Path

import pytest

import fiftyover_kit.guard
from fiftyover_kit.contract.limits import STATUS, TICK_MASK, ticks_add
from firmware import guard_oracle, guard_rig, test_guard
from firmware.guard_oracle import DOOR_MS, LIFE_MS, NEVER, QUIET_MS, STEP_MS, WEEK_MS, Grant, World

SOURCE = Path(fiftyover_kit.guard.__file__).read_text("utf-8")
NOW = TICK_MASK - 7499  # every state is looked at here: each step crosses the wrap of the ticks
LIMITS = (1000, 9000, 2000)  # NTC to ground: cap, cold, clear
SAMPLES = {
    "cool": (STATUS.index("ok"), 5000),
    "warm": (STATUS.index("uncalibrated"), 1500),
    "hot": (STATUS.index("ok"), 1000),
    "spike": (STATUS.index("jump"), 500),
    "open": (STATUS.index("open"), 100),
    "arctic": (STATUS.index("ok"), 9000),
}
Event = tuple[str, int, Callable[[types.ModuleType, array, int, World], None], Callable[[World], World]]


def guard_with(*change: str, short: bool = True) -> types.ModuleType:
    """guard.py as a module of its own, with the shortened times or not; `change` is (text, text instead)."""
    source = SOURCE
    if change:
        assert source.count(change[0]) == 1, f"the mutant's text must occur once: {change[0]!r}"
        source = source.replace(*change)
    spec = importlib.util.spec_from_loader("fiftyover_kit.guard_walked", loader=None)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    exec(compile(source, "guard.py", "exec"), module.__dict__)
    if short:
        module.DOOR_HOLD_MS, module.STOP_OTHER_HUB_MS = DOOR_MS, QUIET_MS
        module._TTL_MAX_MS, module.TTL_MAX_S = LIFE_MS, LIFE_MS // 1000
        module._HISTORY_MASK = (1 << guard_oracle.SAMPLES) - 1
    return module


def grant_event(name: str, pick: Callable[[World], Grant | None], **how: bool) -> Event:
    hub, retained = how.get("hub", True), how.get("retained", False)

    def guard_does(guard, state, now, world):
        grant = pick(world)
        if grant:
            up = ticks_add(now, -grant.age_ms)
            guard.on_grant(state, now, int(grant.boot), int(hub), int(retained), grant.seq, up, LIFE_MS // 1000, 500)

    def world_does(world):
        grant = pick(world)
        if not grant:
            return world
        heard = world.oracle.grant(grant.age_ms, grant.seq, boot=grant.boot, hub=hub, retained=retained)
        return world._replace(oracle=heard)

    return name, 0, guard_does, world_does


def reading_event(kind: str) -> Event:
    status, counts = SAMPLES[kind]
    return (
        "reading " + kind,
        0,
        lambda guard, state, now, _: guard.on_reading(state, now, status, counts),
        lambda world: world._replace(oracle=world.oracle.reading(kind)),
    )


def issue_grant(world: World) -> World:
    return world._replace(older=world.newer, newer=Grant(0, world.next_seq(), True))


def issue_stop(world: World) -> World:
    return world._replace(stop=(world.next_seq(), True))


def deliver_stop(world: World) -> World:
    return world._replace(oracle=world.oracle.stop(world.stop[0], boot=world.stop[1])) if world.stop else world


def nothing(*_: object) -> None:
    """The kit knows nothing of it."""


EVENTS: list[Event] = [
    ("5 s pass", STEP_MS, nothing, lambda w: w.later(STEP_MS)),
    ("a week passes", WEEK_MS, nothing, lambda w: w.later(WEEK_MS)),
    *[reading_event(kind) for kind in SAMPLES],
    ("hub grants", 0, nothing, issue_grant),
    grant_event("older grant arrives", lambda w: w.older),
    grant_event("newer grant arrives", lambda w: w.newer),
    grant_event("newer grant arrives retained", lambda w: w.newer, retained=True),
    grant_event("another hub's grant", lambda w: Grant(0, w.next_seq(), True), hub=False),
    grant_event("grant from the future", lambda w: Grant(-STEP_MS, w.next_seq(), True)),
    ("hub stops", 0, nothing, issue_stop),
    (
        "stop arrives",
        0,
        lambda g, s, now, w: g.on_stop(s, now, int(w.stop[1]), 1, w.stop[0]) if w.stop else None,
        deliver_stop,
    ),
    (
        "another hub stops",
        0,
        lambda g, s, now, w: g.on_stop(s, now, 1, 0, w.next_seq()),
        lambda w: w._replace(oracle=w.oracle.stop(w.next_seq(), boot=True, hub=False)),
    ),
    *[
        (
            f"door {is_open}",
            0,
            lambda g, s, now, _, is_open=is_open: g.on_door(s, now, is_open),
            lambda w, is_open=is_open: w._replace(oracle=w.oracle.door(bool(is_open))),
        )
        for is_open in (1, 0)
    ],
    (
        "person clears",
        0,
        lambda g, s, now, _: g.on_clear(s, now),
        lambda w: w._replace(oracle=w.oracle.person_clears()),
    ),
]
TIMED = [("READ_AT", "GOOD"), ("BOOT_AT", "HOLD"), ("DOOR_AT", "DOOR"), ("FENCE_AT", "FENCE"), ("QUIET_AT", "QUIET")]


class Walk:
    """Breadth first over (guard, world), each state moved to one moment and its numbers ranked."""

    def __init__(self, guard: types.ModuleType) -> None:
        self.guard = guard
        slot = {name: getattr(guard, "_" + name) for pair in TIMED for name in pair}
        self.timed = [(slot[at], slot[flag]) for at, flag in TIMED]
        self.states = self.transitions = self.heating = self.depth = 0
        self.violation = ""

    def key(self, values: array, now: int, world: World) -> tuple[bytes, World]:
        """The state as seen from NOW: times moved, numbers ranked, what is never read again set to 0."""
        g = self.guard
        for at, flag in self.timed:  # a time without its flag is never read
            values[at] = ticks_add(values[at], NOW - now) if values[flag] else 0
        if values[g._EXPIRY]:
            values[g._EXPIRY] = ticks_add(values[g._EXPIRY], NOW - now)
        if values[g._LATCH]:
            values[g._HISTORY] = 0
        oracle = world.oracle
        if LIFE_MS < oracle.cleared_ms < NEVER or (oracle.cool and oracle.fresh_ms < 0):
            oracle = oracle._replace(
                cleared_ms=oracle.cleared_ms if oracle.cleared_ms <= LIFE_MS else NEVER,
                cool=oracle.cool and oracle.fresh_ms >= 0,
            )
            world = world._replace(oracle=oracle)
        held = [one.seq for one in (world.older, world.newer) if one]
        numbers = sorted({values[g._SEQ], oracle.mark, *held, *([world.stop[0]] if world.stop else [])} - {-1})
        if numbers and numbers[-1] != len(numbers) - 1:
            rank = {number: place for place, number in enumerate(numbers)} | {-1: -1}
            values[g._SEQ] = rank[values[g._SEQ]]
            grants = [one and one._replace(seq=rank[one.seq]) for one in (world.older, world.newer)]
            stop = (rank[world.stop[0]], world.stop[1]) if world.stop else None
            world = World(oracle._replace(mark=rank[oracle.mark]), grants[0], grants[1], stop)
        return values.tobytes(), world

    def start(self, latched: int) -> array:
        state = self.guard.new_state(LIMITS, NOW, latched)
        state[self.guard._CAUSE] = state[self.guard._WHY] = state[self.guard._SICK] = 0
        return state

    def run(self, most: int = 10**9) -> "Walk":
        first = self.key(self.start(0), NOW, World())
        depths = {first: 0}
        todo = deque([first])
        while todo and not self.violation and len(depths) < most:
            here = todo.popleft()
            for after, heats in self.steps(here):
                self.transitions += 1
                self.heating += heats
                if after not in depths:
                    depths[after] = depths[here] + 1
                    todo.append(after)
                if self.violation:
                    break
        self.states, self.depth = len(depths), max(depths.values())
        return self

    def steps(self, here):
        values, world = here
        for name, ms, guard_does, world_does in EVENTS:
            state = array("i", values)
            now = ticks_add(NOW, ms)
            guard_does(self.guard, state, now, world)
            yield self.judged(here, name, state, now, world_does(world))
        yield self.judged(here, "kit restarts", self.start(int(world.oracle.latched)), NOW, world.restarted())

    def judged(self, here, name, state, now, after):
        heats = self.guard.heat_allowed(state, now)
        if heats != int(after.oracle.heats()):
            self.violation = f"after {name!r} the guard says {heats}: {after.oracle}"
        elif self.guard.is_latched(state) != int(after.oracle.latched):
            self.violation = f"after {name!r} the latch is {self.guard.is_latched(state)}: {after.oracle}"
        state[self.guard._CAUSE] = state[self.guard._WHY] = state[self.guard._SICK] = 0  # words for the person only
        if now == NOW and after == here[1] and state.tobytes() == here[0]:
            return here, heats
        return self.key(state, now, after), heats


def test_guard_never_heats_but_when_the_contract_allows_it_in_any_reachable_state() -> None:
    began = time.process_time()
    gc.disable()  # a hundred thousand tuples, none of them garbage
    try:
        walk = Walk(guard_with()).run()
    finally:
        gc.enable()
    print(
        f"\nguard proof: {walk.states} states, {walk.transitions} transitions ({walk.heating} with heat), "
        f"depth {walk.depth}, {time.process_time() - began:.1f} s of processor time"
    )
    assert walk.violation == ""
    assert walk.heating > 1000
    assert walk.states >= 100_000


MUTANTS = {
    "boot hold ignored": ("state[_LATCH] == 0 and state[_HOLD] == 0", "state[_LATCH] == 0"),
    "latch ignored": ("state[_LATCH] == 0 and state[_HOLD] == 0", "state[_HOLD] == 0"),
    "door ignored": ("state[_GOOD] == 1 and state[_DOOR] == 0:", "state[_GOOD] == 1:"),
    "bad reading ignored": ("state[_GOOD] == 1 and state[_DOOR] == 0:", "state[_DOOR] == 0:"),
    "permit not asked for": (
        "if state[_EXPIRY] != 0:\n            state[_WHY] = _WHY_ON",
        "if True:\n            state[_WHY] = _WHY_ON",
    ),
    "hold not asked for": ("        if holds == 1:", "        if True:"),
    "permit never ends": ("not 0 < ticks_diff(state[_EXPIRY], now_ms) <= _TTL_MAX_MS", "False"),
    "permit ends late": ("not 0 < ticks_diff(state[_EXPIRY], now_ms)", "not 0 <= ticks_diff(state[_EXPIRY], now_ms)"),
    "far future is live": ("(state[_EXPIRY], now_ms) <= _TTL_MAX_MS", "(state[_EXPIRY], now_ms) <= TICK_MASK"),
    "naive tick subtraction": ("ticks_diff(state[_EXPIRY], now_ms) <=", "(state[_EXPIRY] - now_ms) <="),
    "stale reading stays good": ("not 0 <= ticks_diff(now_ms, state[_READ_AT]) <= CHAMBER_STALE_MS", "False"),
    "stale reading keeps the permit": (
        "        state[_SICK] = _WHY_PROBE_FAULT\n        _fence(state, now_ms, _WHY_PROBE_FAULT)",
        "        state[_SICK] = _WHY_PROBE_FAULT",
    ),
    "door never shuts": ("not 0 <= ticks_diff(now_ms, state[_DOOR_AT]) < DOOR_HOLD_MS", "False"),
    "fence falls early": (
        "not 0 <= ticks_diff(now_ms, state[_FENCE_AT]) <= _TTL_MAX_MS",
        "ticks_diff(now_ms, state[_FENCE_AT]) > 0",
    ),
    "retained grant heats": ("if retained != 0:", "if False:"),
    "another hub's grant heats": ("if hub_ok != 1:\n        return _NO", "if False:\n        return _NO"),
    "grant of another boot heats": ("if boot_ok != 1:", "if False:"),
    "same number again": ("if not state[_SEQ] < seq <= SEQ_MAX:", "if not state[_SEQ] <= seq <= SEQ_MAX:"),
    "older number heats": ("if not state[_SEQ] < seq <= SEQ_MAX:", "if not seq <= SEQ_MAX:"),
    "mark not moved by a grant": ("    state[_SEQ] = seq\n    state[_EXPIRY] = 0", "    state[_EXPIRY] = 0"),
    "mark not moved by a stop": ("        state[_SEQ] = seq\n    return 1", "        pass\n    return 1"),
    "mark moved by a stop of another boot": ("if hub_ok == 1 and boot_ok == 1 and", "if hub_ok == 1 and"),
    "mark moved by another hub's stop": ("if hub_ok == 1 and boot_ok == 1 and", "if boot_ok == 1 and"),
    "echo from the future": ("if age_ms < 0:", "if False:"),
    "echo as old as its life": ("if age_ms >= ttl_s * 1000:", "if False:"),
    "life counted from arrival": (
        "expiry = ticks_add(up_ms, ttl_s * 1000)",
        "expiry = ticks_add(now_ms, ttl_s * 1000)",
    ),
    "grant with the probe at fault": ("if state[_GOOD] != 1:\n        return _NO", "if False:\n        return _NO"),
    "grant decided before the fault": ("ticks_diff(up_ms, state[_FENCE_AT]) <= 0", "False"),
    "grant of the frame of the fault": ("(up_ms, state[_FENCE_AT]) <= 0", "(up_ms, state[_FENCE_AT]) < 0"),
    "stop forgets the permit": ("    _end_permit(state, _WHY_OFF)\n    if hub_ok", "    if hub_ok"),
    "another hub's stop ignored": ("if state[_QUIET] != 0:\n            return 0", "if True:\n            return 0"),
    "another hub's stop always": ("if state[_QUIET] != 0:\n            return 0", "if False:\n            return 0"),
    "door keeps the permit": ("        _fence(state, now_ms, _WHY_DOOR)", "        pass"),
    "three to latch": (
        "if history & (history - 1):",
        "if (history & (history - 1)) & ((history & (history - 1)) - 1):",
    ),
    "one to latch": ("if history & (history - 1):", "if history:"),
    "seven samples": ("_HISTORY_MASK = 0xFF", "_HISTORY_MASK = 0x7F"),
    "nine samples": ("_HISTORY_MASK = 0xFF", "_HISTORY_MASK = 0x1FF"),
    "unbelieved number does not count": (
        "return 1 if status != _OPEN and status != _SHORT and heat",
        "return 1 if _believed(status) and heat",
    ),
    "at the cap is below it": ("status != _SHORT and heat >= cap", "status != _SHORT and heat > cap"),
    "at the cold limit is good": ("state[_COLD] < heat < state[_CAP]", "state[_COLD] <= heat < state[_CAP]"),
    "fault keeps the permit": ("        _fence(state, now_ms, state[_SICK])", "        pass"),
    "cleared while warm": ("state[_GOOD] == 1 and state[_COOL] == 1)", "state[_GOOD] == 1)"),
    "cleared while blind": ("state[_LATCH] == 1 and state[_GOOD] == 1 and", "state[_LATCH] == 1 and"),
    "clearing keeps the permit": ("    _fence(state, now_ms, _WHY_OFF)\n    state[_HISTORY]", "    state[_HISTORY]"),
    "clearing keeps the history": ("    state[_HISTORY] = 0\n", ""),
    "restart forgets the latch": ("state[_LATCH] = 0 if latched == 0 else 1", "state[_LATCH] = 0"),
    "duty before the old permit ends": ("    state[_EXPIRY] = 0\n    state[_DUTY] = duty_1000", "    pass"),
}
# What the walk cannot tell apart - a second lock behind another one, or a true length - a test of test_guard.py can.
KILLED_BY = {
    "bad reading ignored": test_guard.test_each_lock_holds_alone_even_in_a_state_that_should_not_be,
    "far future is live": test_guard.test_each_lock_holds_alone_even_in_a_state_that_should_not_be,
    "mark moved by a stop of another boot": (
        test_guard.test_stop_clears_the_permit_and_moves_the_mark_only_for_this_boot_and_hub
    ),
    "seven samples": test_guard.test_a_single_sample_above_the_cap_clears_the_permit_and_two_of_eight_latch,
    "nine samples": test_guard.test_a_single_sample_above_the_cap_clears_the_permit_and_two_of_eight_latch,
    "clearing keeps the history": test_guard.test_latch_that_was_opened_needs_two_new_samples_to_close,
    "cleared while blind": test_guard.test_each_lock_holds_alone_even_in_a_state_that_should_not_be,
    "duty before the old permit ends": (
        test_guard.test_every_order_of_writes_of_a_new_permit_shows_no_heat_but_the_old_or_the_new
    ),
}


@pytest.mark.parametrize("name", [name for name in MUTANTS if name not in KILLED_BY])
def test_walk_notices_that(name: str) -> None:
    assert Walk(guard_with(*MUTANTS[name])).run(60_000).violation != ""


@pytest.mark.parametrize("name", KILLED_BY)
def test_a_clause_notices_that(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    KILLED_BY[name]()
    mutant = guard_with(*MUTANTS[name], short=False)
    for module in (test_guard, guard_rig):
        monkeypatch.setattr(module, "guard", mutant)
    with pytest.raises(AssertionError):
        KILLED_BY[name]()
