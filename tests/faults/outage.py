"""Two hours without the hub, merged: the kit's own ring and the hub's own intake, on one virtual clock, ticks wrapping.

A minute together, the outage, then the backlog as the kit's link sends it (ten frames a message, oldest first, again
after 10 s where no acknowledgement came), with messages lost, doubled and swapped on the way.
"""

import contextlib
import json
import queue
import random
import sqlite3
import tempfile
from pathlib import Path

from faults.soak import Broker
from fiftyover.app.hub import Hub
from fiftyover.app.parts import Parts
from fiftyover.broker.notes import Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live
from fiftyover_kit.contract import messages
from fiftyover_kit.contract.limits import BACKLOG_MAX_FRAMES, TICK_MASK
from firmware.kit_rig import Rig, TableBoard, channel

KIT = "kit-3f2a"
OUTAGE_S = 7200
PROBES = 8  # that the kit's ring is sized for
THINNED_TO = 5  # one frame in five is kept of what waits
RECOVERY_S = 60.0  # asked for
WRONG_MS = 500
MESSAGES = 10  # a second, as the link sends them while they are confirmed (tests/firmware/test_link_frames.py)
LIVE_FRAMES = 15  # wait for their acknowledgement at any time


class Answering(Broker):
    """Keeps the acknowledgements for the kit."""

    def __init__(self):
        super().__init__()
        self.acks = []

    def publish(self, topic, payload, qos=1, retain=False):
        if topic.endswith("frame/ack/set"):
            self.acks.append(payload)
        return super().publish(topic, payload, qos, retain)


class Yard:
    """Kit and hub with a poor network between them."""

    def __init__(self, folder, rng):
        self.rng = rng
        self.clock, self.broker = VirtualClock(at_s=5000.0), Answering()
        self.store = Store(folder / "record.sqlite", self.clock, 0)
        heater = Heater(self.store.hub_id, self.store.run_number, self.broker.publish)
        inbox = Inbox(self.store, self.clock, {KIT})
        parts = Parts(self.clock, self.store, inbox, self.broker, heater, Live(), KIT)
        self.hub = Hub(parts, queue.Queue())
        eight = [channel(number) for number in range(PROBES)]
        self.rig = Rig(TICK_MASK - 3_000_000, TableBoard(PROBES), channels=eight)  # the ticks wrap within the outage
        self.true_ms = {}

    def second(self):
        """One second of both clocks."""
        self.rig.run(1)
        self.clock.advance(1.0)
        self.true_ms[self.rig.kit.seq] = self.clock.utc_ms()
        self.rig.kit.backlog.thin(self.rig.now)

    def talk(self):
        """What the link does in a second: lost, doubled, swapped; one acknowledgement in ten is lost."""
        rng, backlog, waiting = self.rng, self.rig.kit.backlog, []
        self._say("sample", self.rig.kit.live())
        backlog.sent(self.rig.kit.seq, self.rig.now)
        while len(waiting) < MESSAGES and (frames := backlog.oldest(BACKLOG_MAX_FRAMES, self.rig.now)):
            waiting.append(messages.encode_backlog({"v": 1, "boot": self.rig.kit.boot, "frames": frames}))
            for frame in frames:
                backlog.sent(frame["seq"], self.rig.now)
        rng.shuffle(waiting)
        for payload in waiting:
            for _ in range(rng.choice((0, 1, 1, 1, 1, 2))):
                self._say("backlog", payload)
        self.hub.write()
        while self.broker.acks:
            if rng.random() < 0.9:
                self.rig.say("frame/ack/set", self.broker.acks[0])
            self.broker.acks.pop(0)

    def _say(self, leaf, payload):
        self.hub.step(Message(f"homie/5/{KIT}/frame/{leaf}", payload, False, self.clock.monotonic_s()))


def run(seed):
    """One outage: rows wrong or missing, what the kit says it thinned, seconds until its ring was empty again."""
    with tempfile.TemporaryDirectory(prefix="fiftyover-outage-") as folder:
        yard = Yard(Path(folder), random.Random(f"outage {seed}"))
        for _ in range(60):
            yard.second()
            yard.talk()
        for _ in range(OUTAGE_S):
            yard.second()
        held, recovered = len(yard.rig.kit.backlog), None
        for after in range(240):
            yard.second()
            yard.talk()
            if recovered is None and len(yard.rig.kit.backlog) <= LIVE_FRAMES:
                recovered = after + 1
        with contextlib.closing(sqlite3.connect(Path(folder) / "record.sqlite")) as base:
            rows = base.execute("SELECT seq, up_ms, utc_ms FROM frames ORDER BY utc_ms, seq").fetchall()
        yard.store.close()
    return {"held": held, "recovered_s": recovered, "faults": yard.hub.faults, **_judged(yard, rows)}


def _judged(yard, rows):
    seqs, backlog = [row[0] for row in rows], yard.rig.kit.backlog
    held_still = {seq for first, last in backlog.pending() for seq in range(first, last + 1)}
    known = sorted(set(seqs) | held_still)
    # A frame whose acknowledgement was lost may be stored and then thinned: so the holes are looked at too.
    holes = sum(b - a > THINNED_TO for a, b in zip(known, known[1:], strict=False))
    return {
        "rows": len(rows),
        "doubled": len(seqs) - len(set(seqs)),
        "out_of_order": sum(b < a for a, b in zip(seqs, seqs[1:], strict=False)),
        "wrong_dates": sum(abs(utc_ms - yard.true_ms[seq]) > WRONG_MS for seq, _, utc_ms in rows),
        "wraps": sum(b[1] < a[1] for a, b in zip(rows, rows[1:], strict=False)),
        "missing": holes + max(0, len(yard.true_ms) - len(known) - backlog.thinned),
        "dropped": backlog.dropped,
        "thinned": backlog.thinned,
    }


if __name__ == "__main__":
    print(json.dumps(run(1), indent=1))
