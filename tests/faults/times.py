"""The wall clock jumps, summer time ends, the kit's ticks wrap, the hub starts again: are all rows dated evenly?

One stand in real time. Only the hub's wall clock is moved, by a preloaded shim; durations have their own clocks.
"""

import datetime
import struct
import subprocess
import time
import zoneinfo
from pathlib import Path

from faults.stand import KIT, Stand
from fiftyover_kit.contract.limits import TICK_MASK, ticks_diff

WRONG_MS = 500  # half a frame: beyond it a row could stand in another's place
WRAP_AFTER_S = 25.0
SUMMER_ENDS = datetime.datetime(2026, 10, 25, 1, 0, tzinfo=datetime.UTC)  # 03:00 in Berlin becomes 02:00
ZONE = "Europe/Berlin"
JUMP_S = 7200.0


class Wall:
    """The shim, compiled now, and the file with its shift."""

    def __init__(self, folder):
        self.file = folder / "shift"
        self.library = folder / "wall_clock.so"
        self.shift_s = 0.0
        source = Path(__file__).parent / "wall_clock.c"
        subprocess.run(["gcc", "-shared", "-fPIC", "-O1", "-o", self.library, source, "-ldl"], check=True)
        self.set(SUMMER_ENDS.timestamp() - time.time() - 15.0)

    def set(self, shift_s):
        self.shift_s = shift_s
        with self.file.open("r+b" if self.file.exists() else "w+b") as out:
            out.write(struct.pack("<q", round(shift_s * 1e9)))

    def environment(self):
        return {"LD_PRELOAD": str(self.library), "WALL_SHIFT_FILE": str(self.file), "TZ": ZONE}


def run(seed):
    with Stand(seed, speed=1.0, ticks_start_ms=TICK_MASK + 1 - round(WRAP_AFTER_S * 1000)) as stand:
        wall = Wall(stand.folder)
        stand.hub.environment.update(wall.environment())
        stand.start()
        steps = []

        def pause(seconds):
            stand.wait(lambda: False, seconds, 0.1)

        stand.wait(lambda: stand.is_on, 30.0)
        pause(14.0)  # over the end of summer time
        for what, by_s in (("+2 h", JUMP_S), ("-4 h", -2 * JUMP_S)):
            steps.append((what, time.monotonic()))
            wall.set(wall.shift_s + by_s)
            pause(8.0)
        steps.append(("hub kill -9", time.monotonic()))
        stand.hub.kill()
        stand.hub.start()
        granted = stand.wait(lambda: any(at > steps[-1][1] for at, _ in stand.hub.sent("heater/grant/set")[-3:]), 20.0)
        pause(6.0)
        offs = [at for at in stand.switched(steps[0][1], 0) if at < steps[-1][1]]
        local = zoneinfo.ZoneInfo(ZONE)
        alarms = {text for line in stand.hub.lines("state") for text in line["alarms"]}
        stand.hub.stop()
        rows = stand.rows()
        result = _judge(rows)
        dates = sorted(row[-1] for row in rows.values())
        offsets = {datetime.datetime.fromtimestamp(ms / 1000, local).utcoffset() for ms in dates}
    result.update(
        jumps_told=sum("clock was moved" in text for text in alarms),
        offs_by_jumps=len(offs),
        summer_time_ended=len(offsets) == 2,
        resumed_real_time_s=granted,
        hub_faults=max((line["faults"] for line in stand.hub.lines("state")), default=0),
        kit=KIT,
    )
    return result


def _judge(rows):
    """Rows whose distance from the row before is not that of the kit's own ticks."""
    wrong = wraps = 0
    ordered = sorted(rows.items())
    for ((boot, _), before), ((next_boot, _), after) in zip(ordered, ordered[1:], strict=False):
        if boot == next_boot:
            wraps += after[0] < before[0]
            wrong += abs((after[-1] - before[-1]) - ticks_diff(after[0], before[0])) > WRONG_MS
    return {"rows": len(rows), "wrong_rows": wrong, "wraps": wraps}
