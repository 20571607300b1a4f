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


class Answering(Broker):
    """Keeps the acknowledgements for the kit."""

    def __init__(self):
        super().__init__()
        self.acks = []

    def publish(self, topic, payload, qos=1, retain=False):
        if topic.endswith("frame/ack/set"):
            self.acks.append(payload)
        return super().publish(topic, payload, qos, retain)


def run(seed):
    """One outage: rows wrong or missing, what the kit says it thinned, seconds until its ring was empty again."""
    rng = random.Random(f"outage {seed}")
    with tempfile.TemporaryDirectory(prefix="fiftyover-outage-") as folder:
        clock, broker = VirtualClock(at_s=5000.0), Answering()
        store = Store(Path(folder) / "record.sqlite", clock, 0)
        heater = Heater(store.hub_id, store.run_number, broker.publish)
        hub = Hub(Parts(clock, store, Inbox(store, clock, {KIT}), broker, heater, Live(), KIT), queue.Queue())
        eight = [channel(number) for number in range(PROBES)]
        rig = Rig(TICK_MASK - 3_000_000, TableBoard(PROBES), channels=eight)  # the ticks wrap within the outage
        true_ms = {}

        def second():
            rig.run(1)
            clock.advance(1.0)
            true_ms[rig.kit.seq] = clock.utc_ms()
            rig.kit.backlog.thin(rig.now)

        def say(leaf, payload):
            hub.step(Message(f"homie/5/{KIT}/frame/{leaf}", payload, False, clock.monotonic_s()))

        def talk():
            """What the link does in a second, on a poor network."""
            backlog = rig.kit.backlog
            say("sample", rig.kit.live())
            backlog.sent(rig.kit.seq, rig.now)
            waiting = []
            for _ in range(5):
                frames = backlog.oldest(BACKLOG_MAX_FRAMES, rig.now)
                if not frames:
                    break
                waiting.append(messages.encode_backlog({"v": 1, "boot": rig.kit.boot, "frames": frames}))
                for frame in frames:
                    backlog.sent(frame["seq"], rig.now)
            rng.shuffle(waiting)
            for payload in waiting:
                for _ in range(rng.choice((0, 1, 1, 1, 1, 2))):
                    say("backlog", payload)
            hub.write()
            while broker.acks:
                if rng.random() < 0.9:
                    rig.say("frame/ack/set", broker.acks[0])
                broker.acks.pop(0)

        for _ in range(60):
            second()
            talk()
        for _ in range(OUTAGE_S):
            second()
        held = len(rig.kit.backlog)
        recovered = None
        for after in range(240):
            second()
            talk()
            if recovered is None and len(rig.kit.backlog) <= 15 and after > 0:
                recovered = after + 1
        with contextlib.closing(sqlite3.connect(Path(folder) / "record.sqlite")) as base:
            rows = base.execute("SELECT seq, up_ms, utc_ms FROM frames ORDER BY utc_ms, seq").fetchall()
        hub_faults = hub.faults
        store.close()
    seqs = [row[0] for row in rows]
    held_still = {seq for first, last in rig.kit.backlog.pending() for seq in range(first, last + 1)}
    known = sorted(set(seqs) | held_still)
    # A frame whose acknowledgement was lost may be stored and then thinned: so the holes are looked at too.
    holes = sum(b - a > THINNED_TO for a, b in zip(known, known[1:], strict=False))
    missing = holes + max(0, len(true_ms) - len(known) - rig.kit.backlog.thinned)
    return {
        "rows": len(rows),
        "held": held,
        "doubled": len(seqs) - len(set(seqs)),
        "out_of_order": sum(b < a for a, b in zip(seqs, seqs[1:], strict=False)),
        "wrong_dates": sum(abs(utc_ms - true_ms[seq]) > WRONG_MS for seq, _, utc_ms in rows),
        "wraps": sum(b[1] < a[1] for a, b in zip(rows, rows[1:], strict=False)),
        "missing": missing,
        "dropped": rig.kit.backlog.dropped,
        "thinned": rig.kit.backlog.thinned,
        "recovered_s": recovered,
        "faults": hub_faults,
    }


if __name__ == "__main__":
    print(json.dumps(run(1), indent=1))
