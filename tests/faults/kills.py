"""Hub, broker and kit killed with -9 at random moments, mixed: is anything that was committed lost or doubled?"""

import contextlib
import random
import sqlite3
import time

from faults.stand import Stand

HUB, BROKER, BOTH, KIT = "hub", "broker", "hub and broker", "kit"
MIX = (HUB, HUB, HUB, BROKER, BROKER, BOTH, KIT)
SETTLE_S = 25.0
BEGIN_S = 180.0  # where other work is on the machine


def kill(stand, target):
    if target in (HUB, BOTH):
        stand.hub.kill()
    if target in (BROKER, BOTH):
        stand.broker_kill()
    if target == KIT:
        stand.kit.kill()


def again(stand, target):
    if target in (BROKER, BOTH):
        stand.broker_again()
    if target in (HUB, BOTH):
        stand.hub.start()
    if target == KIT:
        stand.kit.start()


def run(count, seed):
    """`count` kills on one stand; what was ever seen on the disk, or promised to the kit, is looked for at the end."""
    rng = random.Random(seed)
    known, changed, back = {}, 0, []
    with Stand(seed) as stand:
        stand.start()
        begun = stand.wait(lambda: stand.store_path.exists() and stand.hub.lines("started"), BEGIN_S, 0.05)
        if begun is None:
            raise RuntimeError(f"The hub did not begin within {BEGIN_S:.0f} s: {stand.hub.errors()[-400:]}")
        for _ in range(count):
            stand.wait(lambda: False, rng.uniform(0.0, 3.0), 0.05)
            target = rng.choice(MIX)
            starts = len(stand.hub.lines("started"))
            kill(stand, target)
            for key, content in stand.rows().items():
                changed += known.setdefault(key, content) != content
            stand.wait(lambda: False, rng.uniform(0.0, 0.7), 0.05)
            struck = time.monotonic()
            again(stand, target)
            if target in (HUB, BOTH) and rng.random() < 0.7:  # else the next kill may fall into the start itself
                stand.wait(lambda was=starts: len(stand.hub.lines("started")) > was, SETTLE_S, 0.02)
                granted = stand.wait(lambda since=struck: _granted(stand, since), SETTLE_S, 0.05)
                if granted is not None:
                    back.append(time.monotonic() - struck)
        settled = stand.drain()
        stand.hub.stop()
        result = _judge(stand, known)
        result.update(kills=count, changed=changed, settled_s=settled, resumed_max_s=max(back, default=None))
        result.update(resumed=len(back), watchdogs=stand.watchdogs, hub_errors=stand.hub.errors()[-300:])
    return result


def _granted(stand, since):
    return any(at > since for at, _ in stand.hub.sent("heater/grant/set")[-5:])


def _judge(stand, known):
    rows = stand.rows()
    promised = stand.acknowledged()
    lost = [key for key in known.keys() | promised if key not in rows]
    changed = [key for key in known if key in rows and rows[key] != known[key]]
    ticks = [(boot, content[0]) for (boot, _), content in rows.items()]
    with contextlib.closing(sqlite3.connect(stand.store_path)) as base:
        conflicts = base.execute("SELECT count(*) FROM conflicts").fetchone()[0]
        whole = base.execute("PRAGMA integrity_check").fetchone()[0]
    return {
        "committed": len(known),
        "acknowledged": len(promised),
        "rows": len(rows),
        "lost": len(lost),
        "rewritten": len(changed),
        "doubled": len(ticks) - len(set(ticks)) + conflicts,
        "integrity": whole,
        "boots": len({boot for boot, _ in rows}),
        "missing_now": stand.missing(),
    }
