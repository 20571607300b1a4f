"""guard.py and standby.py proven together: every reachable state, planted mistakes, every branch, both interpreters."""

import gc
import json
import random
import subprocess
import time
from pathlib import Path

import pytest

import fiftyover_kit
from fiftyover_kit.contract.limits import TICK_MASK, ticks_add
from firmware import guard_rig, test_guard, test_guard_words, test_standby
from firmware.branches import Branches
from firmware.standby_oracle import AFTER_MS, Held
from firmware.standby_walk import ARMED, LIMITS, SHORTENED, SOURCES, JointWalk, Kit, events_for, module_of

FIRMWARE = Path(fiftyover_kit.__file__).parents[1]


def mutant(name: str, *change: str):
    def edit(source: str) -> str:
        assert source.count(change[0]) == 1, f"the mutant's text must occur once: {change[0]!r}"
        return source.replace(*change)

    return [module_of(one, edit if one == name else str) for one in SOURCES]


def test_stand_by_and_guard_heat_only_when_the_contract_allows_it_in_any_reachable_state() -> None:
    began = time.process_time()
    gc.disable()
    try:
        walk = JointWalk(module_of("guard"), module_of("standby")).run()
    finally:
        gc.enable()
    print(
        f"\nguard and stand-by: {walk.states} states, {walk.transitions} transitions ({walk.heating} with heat, "
        f"{walk.holding} of them held by stand-by), {walk.interrupts} permits looked at after every write, "
        f"depth {walk.depth}, {time.process_time() - began:.1f} s of processor time"
    )
    assert walk.violation == ""
    assert walk.states >= 15_000
    assert walk.holding > 10_000
    assert walk.heating - walk.holding > 10_000
    assert walk.interrupts > 10_000


HOLD = "        if holds == 1:"
LOCKS = "        pass\n    if state[{}] == {} and state[{}] == {} and state[{}] == {}:\n        if holds == 1:"
MUTANTS = {
    "armed without an offer": ("standby", "state[_OFFERED] == 1 and state[_SILENT] == 0", "state[_SILENT] == 0"),
    "armed while the hub is silent": ("standby", "state[_OFFERED] == 1 and state[_SILENT] == 0", "True"),
    "button does not end it": ("standby", "    if state[_ARMED] == 1:\n        _end(state)\n    elif", "    if"),
    "new arming keeps the spent seconds": ("standby", "        state[_SPENT] = 0\n", ""),
    "stop does not end it": ("standby", "    state[_OFFERED] = 0\n    _end(state)\n\n", "    state[_OFFERED] = 0\n\n"),
    "stop leaves the offer": ("standby", "    state[_OFFERED] = 0\n    _end(state)\n\n", "    _end(state)\n\n"),
    "grant of another batch does not end it": ("standby", "    if same != 1:", "    if same < 0:"),
    "grant without stand-by does not end it": ("standby", "    if same != 1:", "    if same == 0:"),
    "grant without stand-by leaves the offer": (
        "standby",
        "        state[_OFFERED] = 0\n        _end(state)\n    if taken",
        "        _end(state)\n    if taken",
    ),
    "refused grant does not end it": ("standby", "    if same != 1:", "    if same != 1 and taken == 1:"),
    "refused grant offers": ("standby", "    if taken != 1:\n        return 0\n", ""),
    "retained grant counts": ("standby", "if retained != 0 or hub_ok", "if hub_ok"),
    "grant of another hub counts": ("standby", "hub_ok != 1 or boot_ok", "boot_ok"),
    "grant of another boot counts": ("standby", "hub_ok != 1 or boot_ok != 1 or", "hub_ok != 1 or"),
    "overtaken grant counts": ("standby", "or not state[_SEEN] < seq <= SEQ_MAX:", "or not seq <= SEQ_MAX:"),
    "grant moves no mark": ("standby", "    state[_SEEN] = seq\n    if same", "    if same"),
    "silence is not asked for": ("standby", "not 0 <= silent_ms < state[_AFTER]", "True"),
    "silence never begins": ("standby", "not 0 <= silent_ms < state[_AFTER]", "False"),
    "silence begins late": ("standby", "0 <= silent_ms < state[_AFTER]", "0 <= silent_ms <= state[_AFTER]"),
    "silence comes round again": ("standby", "            state[_SILENT] = 1\n", ""),
    "heard hub does not end the hold": (
        "standby",
        "    state[_SILENT] = 0\n    state[_HOLDS] = 0\n",
        "    state[_SILENT] = 0\n",
    ),
    "seconds count per silence": (
        "standby",
        "    state[_HOLDS] = 0\n    state[_LOW] = 0",
        "    state[_HOLDS] = 0\n    state[_SPENT] = 0\n    state[_LOW] = 0",
    ),
    "seconds do not count": ("standby", "        state[_SPENT] += ms\n", "        pass\n"),
    "the end is a moment late": ("standby", "0 <= ms < state[_LIMIT]", "0 <= ms <= state[_LIMIT]"),
    "a stall costs no seconds": ("standby", "_spend(state, silent_ms - state[_AFTER])", "_spend(state, 0)"),
    "over half the tick period counts for nothing": ("standby", "if 0 <= ms < state", "if ms < state"),
    "end of the seconds leaves the offer": ("standby", "    if state[_SILENT] == 1:  # who", "    if False:  # who"),
    "silence leaves the offer": ("standby", "            else:\n                _end(state)\n", ""),
    "core over 62 is nothing": ("standby", "state[_LOW] = state[_HOLDS]", "state[_LOW] = 0"),
    "low outlives the silence": ("standby", "    state[_HOLDS] = 0\n    state[_LOW] = 0\n", "    state[_HOLDS] = 0\n"),
    "core before the hold lowers it": ("standby", "state[_LOW] = state[_HOLDS]", "state[_LOW] = 1"),
    "core lifts the hold": ("standby", "min(state[_CENTI], _LOW_CENTI)", "max(state[_CENTI], _LOW_CENTI)"),
    "naive tick subtraction": ("standby", "ticks_diff(now_ms, state[_HEARD_AT])", "now_ms - state[_HEARD_AT]"),
    "hold without the latch": ("guard", HOLD, LOCKS.format("_HOLD", "0", "_GOOD", "1", "_DOOR", "0")),
    "hold without the door": ("guard", HOLD, LOCKS.format("_LATCH", "0", "_HOLD", "0", "_GOOD", "1")),
    "hold without the probe": ("guard", HOLD, LOCKS.format("_LATCH", "0", "_HOLD", "0", "_DOOR", "0")),
    "hold never heats": ("guard", HOLD, "        if False:"),
    "hold is always on": ("guard", HOLD, "        if True:"),
    "duty before the old permit ends": (
        "guard",
        "    state[_EXPIRY] = 0\n    state[_DUTY] = duty_1000\n    state[_EXPIRY] = expiry",
        "    state[_DUTY] = duty_1000\n    state[_EXPIRY] = expiry",
    ),
    "the new life before its duty": (
        "guard",
        "    state[_EXPIRY] = 0\n    state[_DUTY] = duty_1000\n    state[_EXPIRY] = expiry",
        "    state[_EXPIRY] = expiry\n    state[_DUTY] = duty_1000\n    state[_EXPIRY] = expiry",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", MUTANTS)
def test_walk_of_both_notices_that(name: str) -> None:
    near = JointWalk(*mutant(*MUTANTS[name])).run(15_000, ARMED)
    assert near.violation or JointWalk(*mutant(*MUTANTS[name])).run().violation


def test_every_branch_of_guard_and_stand_by_is_taken_by_the_walk_and_the_clauses(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    branches = {name: Branches() for name in SOURCES}
    sources = {name: branches[name].instrumented(SOURCES[name]) for name in SOURCES}
    made = {
        (name, short): module_of(name, lambda _, name=name: sources[name], {"_note": branches[name].note}, short)
        for name in SOURCES
        for short in (True, False)
    }
    for path in ((), ARMED):
        assert JointWalk(made["guard", True], made["standby", True]).run(2_000, path).violation == ""
    for module in (test_guard, guard_rig, test_guard_words):
        monkeypatch.setattr(module, "guard", made["guard", False])
    monkeypatch.setattr(test_standby, "standby", made["standby", False])
    test_guard.test_the_hotter_of_two_chamber_probes_counts_and_a_faulty_second_does_not_stop_heat()
    test_guard.test_a_number_above_the_cap_counts_even_if_it_is_not_believed_but_a_bare_short_does_not()
    test_guard.test_permit_whose_expiry_would_be_tick_zero_ends_a_millisecond_early()
    test_guard.test_permit_that_ran_out_while_the_session_is_down_is_link_lost_and_the_link_alone_changes_nothing()
    test_guard.test_permit_that_expires_opens_the_relay(0, 0)
    test_guard.test_a_grant_of_duty_zero_is_a_permit_that_shows_as_off()
    test_guard.test_door_clears_the_permit_and_keeps_heat_off_for_two_minutes()
    test_guard.test_heat_only_strictly_between_the_limits_for_either_way_of_wiring(
        guard_rig.TO_GROUND, guard_rig.COOL, 1000, 1001, 9000, 8999
    )
    for how, name in (({"ttl": 0}, "ttl"), ({"duty": 1001}, "duty"), ({"age_ms": -1}, "from-future")):
        test_guard.test_refused_grant_changes_nothing_while_a_permit_lives_and_is_the_reason_without_one(how, name)
    test_guard_words.test_limits_out_of_order_are_refused((1, 1, 1))
    test_standby.test_power_rises_below_the_goal_falls_above_it_and_stays_within_its_ends()
    test_standby.test_offer_that_should_not_be_there_while_the_hub_is_silent_arms_nothing()
    test_standby.test_hold_begins_after_thirty_seconds_of_silence_and_ends_with_its_seconds(0)
    for name, one in branches.items():
        print(f"\n{name}.py: {len(one.seen & one.wanted)} of {len(one.wanted)} branches taken")
        assert len(one.wanted) > 50
        assert one.missing() == []


def test_branches_that_were_not_taken_are_named() -> None:
    one = Branches()
    names: dict[str, object] = {"_note": one.note}
    exec(one.instrumented("def f(a, b):\n    if a and b:\n        return 1\n    return 2 if a else 3\n"), names)
    names["f"](1, 0)  # type: ignore[operator]
    assert one.missing() == ["line 2: a never False", "line 2: b never True", "line 4: a never False"]


class Spy:
    """A module whose calls are written down, without the state that stands first."""

    def __init__(self, module, tag: str, calls: list) -> None:
        self.module, self.tag, self.calls = module, tag, calls

    def __getattr__(self, name: str):
        def call(_state, *arguments):
            self.calls.append([self.tag, name, list(arguments)])
            return getattr(self.module, name)(_state, *arguments)

        return call


def sampled_path(chance: random.Random, steps: int) -> dict[str, object]:
    """One way through the states, as calls of the two modules and what the contract says after each of its steps."""
    calls: list = []
    modules = {name: module_of(name) for name in SOURCES}
    now = start = chance.randrange(TICK_MASK)
    state, hold = modules["guard"].new_state(LIMITS, now), modules["standby"].new_state(now, AFTER_MS)
    kit = Kit(Spy(modules["guard"], "guard", calls), Spy(modules["standby"], "standby", calls), state, hold, now)
    held, told, scripted = Held(), [], [*ARMED, *["reading cool", "5 s pass"] * 4] if chance.random() < 0.7 else []
    for _ in range(steps):
        events = {event[0]: event for event in events_for(held)}
        likely = ["5 s pass"] * 20 + ["reading cool"] * 20 + ["a core passes 62"] * 2 + list(events)
        name, ms, kit_does, oracle_does = events[scripted.pop(0) if scripted else chance.choice(likely)]
        calls.clear()
        now = kit.now = ticks_add(now, ms)
        kit_does(kit)
        held = oracle_does(held)
        modules["guard"].heat_allowed(state, now, modules["standby"].holds(hold, now))
        says = [int(held.heats()), int(held.holds()), int(held.armed), int(held.guard.latched)]
        told.append([now, list(calls), says, name])
    return {"start": start, "steps": told, "end": [list(state), list(hold)]}


SAMPLED = """
import json, sys
from fiftyover_kit import guard, standby
modules = {"guard": guard, "standby": standby}
shortened, limits, after_ms = json.loads(sys.stdin.readline())
for name in shortened:
    for key in shortened[name]:
        setattr(modules[name], key, shortened[name][key])
paths = steps = heats = holds = 0
wrong = []
for line in sys.stdin:
    path = json.loads(line)
    states = {"guard": guard.new_state(limits, path["start"]), "standby": standby.new_state(path["start"], after_ms)}
    for now, calls, says, name in path["steps"]:
        for module, call, arguments in calls:
            getattr(modules[module], call)(states[module], *arguments)
        held = standby.holds(states["standby"], now)
        told = [guard.heat_allowed(states["guard"], now, held), held]
        told += [standby.is_armed(states["standby"]), guard.is_latched(states["guard"])]
        if told != says:
            wrong.append([paths, steps, name, told, says])
        steps += 1
        heats += told[0]
        holds += told[0] and held
    if path["end"] is not None and [list(states["guard"]), list(states["standby"])] != path["end"]:
        wrong.append([paths, "the end"])
    paths += 1
print(json.dumps({"paths": paths, "steps": steps, "heats": heats, "holds": holds, "wrong": wrong[:3]}))
"""


def replayed(micropython: Path, folder: Path, paths: list[dict[str, object]]) -> dict[str, object]:
    (folder / "sampled.py").write_text(SAMPLED)
    lines = [json.dumps([SHORTENED, LIMITS, AFTER_MS]), *(json.dumps(path) for path in paths)]
    ran = subprocess.run(
        [micropython, "-X", "heapsize=4m", "sampled.py"],
        input="\n".join(lines) + "\n",
        cwd=folder,
        env={"MICROPYPATH": f".frozen:{FIRMWARE}"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return json.loads(ran.stdout)


def test_micropython_says_the_same_on_paths_sampled_from_the_walk(micropython: Path, tmp_path: Path) -> None:
    chance = random.Random("stand-by")
    paths = [sampled_path(chance, 60) for _ in range(100)]
    found = replayed(micropython, tmp_path, paths)
    print(f"\nunder MicroPython: {found}")
    assert found["wrong"] == []
    assert (found["paths"], found["steps"]) == (100, 6000)
    assert found["heats"] > 500
    assert found["holds"] > 100
    paths[0]["steps"][-1][2][0] ^= 1  # type: ignore[index]  # and a wrong answer would be noticed
    assert replayed(micropython, tmp_path, paths[:1])["wrong"] != []
