"""A guard, a clock, and the words of a hub to it."""

from fiftyover_kit import guard
from fiftyover_kit.contract.limits import REFUSALS, STATUS, TICK_MASK, WHY, ticks_add

TO_GROUND = (1000, 9000, 2000)  # cap, cold, clear: counts fall with temperature
TO_RAIL = (9000, 1000, 8000)
COOL, WARM, HOT, ARCTIC = 5000, 1500, 1000, 9000
OK, OPEN, UNCALIBRATED = STATUS.index("ok"), STATUS.index("open"), STATUS.index("uncalibrated")
STARTS = [0, 123_456, TICK_MASK - 100, TICK_MASK - 6000, TICK_MASK // 2 + 1]
WEEK_MS = 7 * 24 * 3600 * 1000


class Rig:
    """A guard and a clock: `ready` is 6 s after the start with a good reading and, unless told else, a permit."""

    def __init__(self, start_ms=0, limits=TO_GROUND, good=COOL, latched=0):
        self.now, self.good, self.seq = start_ms, good, 0
        self.state = guard.new_state(limits, start_ms, latched)
        guard.on_link(self.state, 1)

    def wait(self, ms, read=True):
        """Let time pass as the kit does: a reading and a decision every 250 ms, or neither."""
        if not read:
            self.now = ticks_add(self.now, ms)
            return self
        for _ in range(ms // 250):
            self.now = ticks_add(self.now, 250)
            self.read(self.good)
        return self

    def read(self, counts, status=OK):
        guard.on_reading(self.state, self.now, status, counts)
        return self.heats()

    def grant(self, age_ms=0, ttl=15, duty=500, seq=None, boot=1, hub=1, retained=0):
        self.seq = self.seq + 1 if seq is None else seq
        up = ticks_add(self.now, -age_ms)
        code = guard.on_grant(self.state, self.now, boot, hub, retained, self.seq, up, ttl, duty)
        return REFUSALS[code] if code else "accepted"

    def heats(self):
        return guard.heat_allowed(self.state, self.now)

    @property
    def why(self):
        return WHY[guard.reason(self.state)]


def ready(start_ms=0, permit=True, **how):
    rig = Rig(start_ms, **how).wait(6000)
    if permit:
        assert rig.grant() == "accepted"
        assert (rig.heats(), rig.why) == (1, "on")
    return rig
