"""The second switch (K2), end to end: it is closed only while the kit's limit pin goes on changing.

Here current flows only through both switches, as in hardware/: K1 is the relay's pin, or welded; K2 falls open a second
and a half after the last beat of the limit pin, as the pulse circuit does at the latest after 3 s. Real mosquitto,
hub as a process, firmware in MicroPython.
"""

import json
import os
import signal
import time

from faults.stand import RELAY, SOUNDER, Stand
from fiftyover.rehearse.wire import PlantServer

LIMIT = 6
FALLS_OPEN_S = 1.5  # kit seconds after the last beat
ASKED_S = 3.0  # kit seconds: what assembly.md checks by hand
HUNG, CAPPED, SILENT = (
    "kit hung with the relay's pin high",
    "relay welded, chamber over the cut-off",
    "hub dead, relay welded",
)


class TwoSwitches(PlantServer):
    """The plant behind both switches; `beats` are real times at which the limit pin changed."""

    def __init__(self, plant, board, speed, **more):
        self.beats, self._level, self.currents = [], None, []
        self._inner, self._on = plant.step, False
        plant.step = self._step
        super().__init__(plant, board, speed, **more)

    @property
    def closed(self):
        """Whether K2 is closed now."""
        return bool(self.beats) and time.monotonic() - self.beats[-1] < FALLS_OPEN_S / self.speed

    def _step(self, dt_s, on):
        flows = bool(on) and self.closed
        if flows != self._on:
            self.currents.append((time.monotonic(), flows))
            self._on = flows
        self._inner(dt_s, flows)

    def _take(self, pins):
        levels = dict(zip(pins[0::2], pins[1::2], strict=False))
        if LIMIT in levels and levels[LIMIT] != self._level:
            self._level = levels[LIMIT]
            self.beats.append(time.monotonic())
        return super()._take(pins)


class TwoSwitchStand(Stand):
    """A stand whose kit has the limit pin wired."""

    def make_plant(self, world, speed):
        return TwoSwitches(world, self.board, speed, relay_pin=RELAY, sounder_pin=SOUNDER)

    def kit_settings(self, settings):
        settings["pins"]["limit"] = LIMIT
        return settings


def run(kind, seed):
    """One fault: beats before it, kit seconds from it until no current flows, currents after that."""
    with TwoSwitchStand(seed) as stand:
        stand.start()
        plant = stand.plant
        if stand.wait(lambda: plant._on, 60.0) is None:
            return {"kind": kind, "broke": "no current before the fault"}
        stand.wait(lambda: False, 3.0)
        stand.wait(lambda: plant._on, 30.0)
        beats = sum(at > time.monotonic() - 1.0 for at in plant.beats)
        if kind == HUNG:
            os.kill(stand.kit._process.pid, signal.SIGSTOP)
            struck = time.monotonic()
        elif kind == SILENT:
            stand.board.weld_relay()
            stand.hub.kill()
            stand.wait(lambda: False, 2.0)  # the permit's own life at this speed
            struck = time.monotonic()
        else:
            stand.board.weld_relay()
            struck = _over_the_cap(stand)
        off = stand.wait(lambda: not plant._on, 10.0, 0.002)
        again = stand.wait(lambda: plant._on, 3.0)
        if kind == HUNG:
            os.kill(stand.kit._process.pid, signal.SIGCONT)
        off_s = None if off is None else (plant.currents[-1][0] - struck) * stand.speed
        return {
            "kind": kind,
            "beats_a_second": beats,
            "off_kit_s": None if off_s is None else max(0.0, off_s),
            "again": again is not None,
            "pin_high_or_welded": bool(stand.board.element_on),
        }


def _over_the_cap(stand):
    """Heat the simulated air over the kit's cut-off, as the weld would in the end; the time at which it was."""
    world = stand.plant.plant
    world.air_degC = world.chamber_degC = 110.0
    return time.monotonic()


if __name__ == "__main__":
    for one in (HUNG, CAPPED, SILENT):
        print(json.dumps(run(one, 4)))
