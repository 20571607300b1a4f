"""Days at a run: is the heap of the kit flat across the wrap of its ticks, and the memory of the hub?"""

import contextlib
import json
import os
import queue
import sqlite3
import subprocess
import tempfile
from pathlib import Path

from fiftyover.app.hub import Hub
from fiftyover.app.parts import Parts
from fiftyover.batch.events import HAND_READING
from fiftyover.batch.plan import Chub, Plan
from fiftyover.bench.firmware import package_folder
from fiftyover.broker.notes import Counters, Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.rehearse.kit_process import HEAP, micropython
from fiftyover.store import Store
from fiftyover.web.live import Live
from fiftyover_kit.contract import messages
from fiftyover_kit.contract.limits import TICK_MASK

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ON_OFF_S = 30  # 120 times on an hour: as a solid-state relay is switched (tests/bench/hold/README.md)
SEEN_EVERY_S = 6 * 3600
SCRIPT = Path(__file__).parent / "soak_kit.py"


def kit(hours, before_wrap_hours):
    """The kit's loop under MicroPython for so many simulated hours; the ticks wrap after the second figure."""
    start_ms = TICK_MASK + 1 - round(before_wrap_hours * 3.6e6)
    environment = dict(os.environ, MICROPYPATH=f"{package_folder().parent}:.frozen")
    command = [str(micropython()), "-X", f"heapsize={HEAP}", str(SCRIPT), str(hours), str(start_ms & TICK_MASK)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    lines = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    if done.returncode or not lines:
        return {"broke": (done.stdout + done.stderr)[-400:]}
    quarter = lines[len(lines) // 4]
    return {
        "hours": hours,
        "free_after_a_quarter": quarter["free"],
        "free_at_the_end": lines[-1]["free"],
        "least_free": min(line["free"] for line in lines),
        **{key: lines[-1][key] for key in ("on", "violations", "wraps", "seq", "held")},
    }


class Broker:
    """Takes what is published and forgets it."""

    taken_over = False

    def __init__(self):
        self.counters = Counters()
        self.grants = 0

    def publish(self, topic, payload, qos=1, retain=False):
        self.grants += topic.endswith("heater/grant/set")
        return True


def _rss_kib():
    status = Path("/proc/self/status").read_text()
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS:"))


def hub(hours):
    """The hub, its store and its page with a frame a second of a batch that never ends; ticks wrap on the way."""
    with tempfile.TemporaryDirectory(prefix="fiftyover-soak-") as folder:
        clock = VirtualClock(at_s=5000.0)
        broker = Broker()
        store = Store(Path(folder) / "record.sqlite", clock, 0)
        heater = Heater(store.hub_id, store.run_number, broker.publish)
        parts = Parts(clock, store, Inbox(store, clock, {KIT}), broker, heater, Live(), KIT)
        one = Hub(parts, queue.Queue())
        chubs = (Chub(1, "slim", 45.0, "left", 1), Chub(2, "slim", 45.0, "right", 2))
        one.start_batch(Plan("7f2c0001", "soak", chubs, 85.0))
        start_ms = TICK_MASK + 1 - round(hours * 3.6e6 / 2)
        used = []
        for second in range(hours * 3600):
            clock.advance(1.0)
            frame = {"v": 1, "boot": BOOT, "seq": second, "up": (start_ms + second * 1000) & TICK_MASK, "left": 9}
            wave = (second % 60) / 100.0
            frame |= {
                "t": [57.0 + min(3.0, second / 100.0) + wave, 40.0 + wave, 41.0 + wave],
                "s": ["ok"] * 3,
                "on": int(second % ON_OFF_S < ON_OFF_S // 2),
                "duty": 0.5,
                "why": "on",
            }
            frame |= {"thinned": 0, "dropped": 0}
            if second == 0:
                one.step(Message(f"homie/5/{KIT}/sys/cap", b"95.00", True, clock.monotonic_s()))
            payload = messages.encode_frame(frame)
            one.step(Message(f"homie/5/{KIT}/frame/sample", payload, False, clock.monotonic_s()))
            one.write()
            if second % SEEN_EVERY_S == 0:  # or the batch counts as left alone, and nothing more is permitted
                one.mark(HAND_READING, {"chub": 1, "core_degC": 40.0}, "cook")
            if second % 1800 == 1799:
                used.append(_rss_kib())
        with contextlib.closing(sqlite3.connect(Path(folder) / "record.sqlite")) as base:  # counted: a million rows
            rows = base.execute("SELECT count(*) FROM frames").fetchone()[0]
        result = {"hours": hours, "rows": rows, "faults": one.faults, "grants": broker.grants}
        store.close()
        return {**result, "kib_after_a_quarter": used[len(used) // 4], "kib_at_the_end": used[-1]}
