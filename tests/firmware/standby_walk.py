"""guard.py and standby.py together, walked breadth first through all that standby_oracle.py knows to happen.

After each event the two must say what the oracle says, both ways. While a new permit is written, a timer interrupt
looks at the guard after each single write.
"""

import types
from array import array
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import fiftyover_kit.guard
import fiftyover_kit.standby
from fiftyover_kit.contract.limits import STATUS, TICK_MASK, ticks_add
from firmware import guard_oracle
from firmware.guard_oracle import DOOR_MS, LIFE_MS, NEVER, QUIET_MS, STEP_MS, WEEK_MS
from firmware.standby_oracle import AFTER_MS, DEGC, LIMIT_MS, SAME, Held, Wish

NOW = TICK_MASK - 2499  # every state is looked at here: each step crosses the wrap of the ticks
LIMITS = (1000, 9000, 2000)  # NTC to ground: cap, cold, clear
OK, OPEN, UNCALIBRATED = STATUS.index("ok"), STATUS.index("open"), STATUS.index("uncalibrated")
TIMED = [("READ_AT", "GOOD"), ("BOOT_AT", "HOLD"), ("DOOR_AT", "DOOR"), ("FENCE_AT", "FENCE"), ("QUIET_AT", "QUIET")]
SOURCES = {
    "guard": Path(fiftyover_kit.guard.__file__).read_text("utf-8"),
    "standby": Path(fiftyover_kit.standby.__file__).read_text("utf-8"),
}
SHORTENED = {
    "guard": {
        "DOOR_HOLD_MS": DOOR_MS,
        "STOP_OTHER_HUB_MS": QUIET_MS,
        "_TTL_MAX_MS": LIFE_MS,
        "TTL_MAX_S": LIFE_MS // 1000,
        "_HISTORY_MASK": (1 << guard_oracle.SAMPLES) - 1,
    },
    "standby": {},
}
Change = Callable[[str], str]


def module_of(
    name: str, change: Change = str, names: dict[str, object] | None = None, short: bool = True
) -> types.ModuleType:
    """guard.py or standby.py as a module of its own, its times shortened or not, its source perhaps changed."""
    module = types.ModuleType(f"fiftyover_kit.{name}_walked")
    module.__package__ = "fiftyover_kit"
    module.__dict__.update(names or {})
    exec(compile(change(SOURCES[name]), f"{name}.py", "exec"), module.__dict__)
    if short:
        module.__dict__.update(SHORTENED[name])
    return module


class Kit:
    """What loop.py does with a message or a tick, as far as guard and stand-by go; made anew for every event."""

    def __init__(self, guard, standby, guard_state, standby_state, now) -> None:
        self.guard, self.standby, self.state, self.hold, self.now = guard, standby, guard_state, standby_state, now
        self.interrupted = ""

    def read(self, status: int, counts: int) -> None:
        self.guard.on_reading(self.state, self.now, status, counts)

    def hear(self, hub: bool, retained: bool) -> None:
        if hub and not retained:
            self.standby.on_heard(self.hold, self.now)

    def grant(self, wish: Wish) -> None:
        self.hear(wish.hub, wish.retained)
        flags = int(wish.boot), int(wish.hub), int(wish.retained), wish.seq
        life = ticks_add(self.now, -wish.age_ms), LIFE_MS // 1000
        code = self.guard.on_grant(self.state, self.now, *flags, *life, 500)
        taken = 1 if code == 0 else 0
        self.standby.on_grant(self.hold, self.now, *flags, taken, wish.kind, int(DEGC * 100), LIMIT_MS // 1000, 0)

    def stop(self, seq: int, boot: bool, hub: bool, retained: bool) -> None:
        self.hear(hub, retained)
        if self.guard.on_stop(self.state, self.now, int(boot), int(hub), seq):
            self.standby.on_stop(self.hold)

    def door(self, is_open: int) -> None:
        self.guard.on_door(self.state, self.now, is_open)

    def clear(self) -> None:
        self.guard.on_clear(self.state, self.now)

    def button(self) -> None:
        self.standby.on_button(self.hold, self.now)

    def core(self) -> None:
        self.standby.on_core(self.hold)

    def heats(self) -> int:
        return self.guard.heat_allowed(self.state, self.now, self.standby.holds(self.hold, self.now))


Event = tuple[str, int, Callable[[Kit], None], Callable[[Held], Held]]


def reading(kind: str, status: int, counts: int) -> Event:
    return (
        "reading " + kind,
        0,
        lambda kit: kit.read(status, counts),
        lambda held: held._replace(guard=held.guard.reading(kind)),
    )


def stop_events(held: Held) -> Iterator[Event]:
    new = max(held.guard.mark, held.newest) + 1
    for said, seq, boot, hub, retained in (
        ("a stop", new, True, True, False),
        ("an old stop", 0, True, True, False),
        ("a stop of another boot", new, False, True, False),
        ("a retained stop", new, True, True, True),
        ("another hub's stop", new, True, False, False),
    ):
        yield (
            said,
            0,
            lambda kit, how=(seq, boot, hub, retained): kit.stop(*how),
            lambda held, seq=seq, how={"boot": boot, "hub": hub, "retained": retained}: held.stop(seq, **how),
        )


ALWAYS: list[Event] = [
    ("5 s pass", STEP_MS, lambda _: None, lambda held: held.later(STEP_MS)),
    ("a week passes", WEEK_MS, lambda _: None, lambda held: held.later(WEEK_MS)),
    reading("cool", OK, 5000),
    reading("open", OPEN, 100),
    reading("warm", UNCALIBRATED, 1500),
    reading("hot", OK, 1000),
    ("the hub is heard", 0, lambda kit: kit.hear(True, False), lambda held: held.heard()),
    *[
        (
            f"door {is_open}",
            0,
            lambda kit, is_open=is_open: kit.door(is_open),
            lambda held, is_open=is_open: held._replace(guard=held.guard.door(bool(is_open))),
        )
        for is_open in (1, 0)
    ],
    ("a person clears", 0, Kit.clear, lambda held: held._replace(guard=held.guard.person_clears())),
    ("the button is held", 0, Kit.button, Held.button),
    ("a core passes 62", 0, Kit.core, Held.core),
]


ARMED = ("5 s pass", "reading cool", "a grant for another batch, 0 ms old", "the button is held")


def events_for(held: Held) -> Iterator[Event]:
    """All that can happen to a kit now, but a restart."""
    yield from ALWAYS
    yield from stop_events(held)
    for said, wish in held.wishes():
        yield said, 0, lambda kit, wish=wish: kit.grant(wish), lambda held, wish=wish: held.grant(wish)


def interrupted(guard: types.ModuleType, state: array, now: int, wish: Wish) -> str:
    """What is wrong with what a timer interrupt sees after each write of a new permit of another duty, or ""."""
    seen: list[tuple[int, int]] = []

    class Watched(array):  # type: ignore[type-arg]
        def __setitem__(self, index, value):
            super().__setitem__(index, value)
            copy = array("i", self)
            seen.append((guard.heat_allowed(copy, now), guard.duty(copy)))

    copy = array("i", state)
    before = (guard.heat_allowed(copy, now), guard.duty(copy))
    watched = Watched("i", state)
    up = ticks_add(now, -wish.age_ms)
    if guard.on_grant(watched, now, 1, 1, 0, wish.seq, up, LIFE_MS // 1000, 900) != 0:
        return ""
    copy = array("i", watched)
    after = (guard.heat_allowed(copy, now), guard.duty(copy))
    hot = [pair for pair in seen[:-1] if pair[0]]
    if set(hot) <= {before} and (not seen or seen[-1] == after):
        return ""
    return f"an interrupt saw {seen} between {before} and {after}"


class JointWalk:
    """Breadth first over (guard, standby, oracle), each state moved to one moment and its numbers ranked."""

    def __init__(self, guard: types.ModuleType, standby: types.ModuleType) -> None:
        self.guard, self.standby = guard, standby
        slot = {name: getattr(guard, "_" + name) for pair in TIMED for name in pair}
        self.timed = [(slot[at], slot[flag]) for at, flag in TIMED]
        self.words = (guard._CAUSE, guard._WHY, guard._SICK)  # for the person only
        self.states = self.transitions = self.heating = self.holding = self.interrupts = self.depth = 0
        self.violation = ""

    def start(self, latched: int) -> tuple[array, array]:
        return self.guard.new_state(LIMITS, NOW, latched), self.standby.new_state(NOW, AFTER_MS)

    def key(self, kit: Kit, held: Held) -> tuple[bytes, bytes, Held]:
        """The state as seen from NOW: times moved, numbers ranked, what is never read again set to 0."""
        g, s, moved = self.guard, self.standby, NOW - kit.now
        state, hold = kit.state, kit.hold
        for at, flag in self.timed:  # a time without its flag is never read
            state[at] = ticks_add(state[at], moved) if state[flag] else 0
        if state[g._EXPIRY]:
            state[g._EXPIRY] = ticks_add(state[g._EXPIRY], moved)
        if state[g._LATCH]:
            state[g._HISTORY] = 0
        hold[s._HEARD_AT] = 0 if hold[s._SILENT] else ticks_add(hold[s._HEARD_AT], moved)
        if not hold[s._ARMED]:
            hold[s._SPENT] = STEP_MS  # anything: the next arming begins anew
            if not hold[s._OFFERED]:
                hold[s._CENTI] = hold[s._LIMIT] = 0
        if hold[s._SILENT] and not hold[s._HOLDS]:
            hold[s._LOW] = 1  # the same: before the next hold the hub is heard
        oracle = held.guard
        far = LIFE_MS < oracle.cleared_ms < NEVER
        if far or (oracle.cool and oracle.fresh_ms < 0):
            cleared_ms = NEVER if far else oracle.cleared_ms
            oracle = oracle._replace(cleared_ms=cleared_ms, cool=oracle.cool and oracle.fresh_ms >= 0)
        numbers = sorted({state[g._SEQ], hold[s._SEEN], oracle.mark, held.newest} - {-1})
        rank = {number: place for place, number in enumerate(numbers)} | {-1: -1}
        state[g._SEQ], hold[s._SEEN] = rank[state[g._SEQ]], rank[hold[s._SEEN]]
        held = held._replace(
            guard=oracle._replace(mark=rank[oracle.mark]),
            newest=rank[held.newest],
            silent_ms=min(held.silent_ms, AFTER_MS),
        )
        return state.tobytes(), hold.tobytes(), held

    def run(self, most: int = 10**9, path: Sequence[str] = ()) -> "JointWalk":
        """Walk all states, or `most`, from the start or from where a path of events leads."""
        here = self.judged((b"", b"", Held()), "the start", Kit(self.guard, self.standby, *self.start(0), NOW), Held())
        for name in path:
            if not self.violation:
                here = self.step(here, next(event for event in events_for(here[2]) if event[0] == name))
        depths = {here: 0}
        todo = deque([here])
        while todo and not self.violation and len(depths) < most:
            here = todo.popleft()
            for after in self.steps(here):
                if self.violation:
                    break
                if after not in depths:
                    depths[after] = depths[here] + 1
                    todo.append(after)
        self.states, self.depth = len(depths), max(depths.values())
        return self

    def steps(self, here: tuple[bytes, bytes, Held]) -> Iterator[tuple[bytes, bytes, Held]]:
        held = here[2]
        for event in events_for(held):
            yield self.step(here, event)
        for _, wish in held.wishes():
            if wish.kind == SAME and wish.boot and held.guard.grant(wish.age_ms, wish.seq, boot=True) is not held.guard:
                self.interrupts += 1
                self.violation = self.violation or interrupted(self.guard, array("i", here[0]), NOW, wish)
        latched = int(held.guard.latched)
        kit = Kit(self.guard, self.standby, *self.start(latched), NOW)
        yield self.judged(here, "a restart", kit, held.restarted())

    def step(self, here: tuple[bytes, bytes, Held], event: Event) -> tuple[bytes, bytes, Held]:
        name, ms, kit_does, oracle_does = event
        kit = Kit(self.guard, self.standby, array("i", here[0]), array("i", here[1]), ticks_add(NOW, ms))
        kit_does(kit)
        return self.judged(here, name, kit, oracle_does(here[2]))

    def judged(self, here, name: str, kit: Kit, held: Held) -> tuple[bytes, bytes, Held]:
        self.transitions += 1
        heats, holds = kit.heats(), self.standby.holds(kit.hold, kit.now)
        self.heating += heats
        self.holding += heats and holds
        told = (heats, holds, self.standby.is_armed(kit.hold), self.guard.is_latched(kit.state))
        if told != (held.heats(), held.holds(), held.armed, held.guard.latched):
            self.violation = f"after {name!r} (heats, holds, armed, latched) are {told}: {held}"
        if holds:
            if self.guard.duty(kit.state):
                self.violation = f"after {name!r} a permit lives in a hold"
            told = (self.standby.goal(kit.hold), self.standby.left_ms(kit.hold))
            if told != (int(held.goal_degC() * 100), LIMIT_MS - held.spent_ms):
                self.violation = f"after {name!r} the hold is at {told}: {held}"
        for slot in self.words:
            kit.state[slot] = 0
        kit.hold[self.standby._LAST] = NOW
        if held == here[2] and kit.now == NOW and kit.hold.tobytes() == here[1] and kit.state.tobytes() == here[0]:
            return here
        return self.key(kit, held)
