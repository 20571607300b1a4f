"""A second opinion on the guard, written from the contract's sentences, not from guard.py; and the world around both.

The oracle keeps no ticks: it counts milliseconds down (or up) as plain numbers, so it cannot share a wrap error with
the guard. The world holds what a network may do: two grants and one stop of the hub stay in flight and may be delivered
at any time, again, late, in either order, or marked as retained; the kit may restart at any moment.

Time moves in steps of 5 s, or of a week. So that the whole space can be walked, in guard and oracle alike the door's
wait and the longest life are set to 10 s, the other hub's wait to 5 s, and two hot samples of the last 4 latch. The
true lengths are test_guard.py's business.
"""

from typing import NamedTuple

STEP_MS = 5000
WEEK_MS = 7 * 24 * 3600 * 1000
FRESH_MS, HOLD_MS, DOOR_MS, QUIET_MS, LIFE_MS = 5000, 5000, 10000, 5000, 10000
SAMPLES = 4
NEVER = 10**9


class Oracle(NamedTuple):
    """What the contract lets one know about a kit."""

    fresh_ms: int = -1  # how long the last good chamber reading still counts; negative: there is none
    cool: bool = False
    above: tuple[bool, ...] = ()  # the last samples, newest last, since the latch was last open
    latched: bool = False
    hold_ms: int = HOLD_MS
    door_ms: int = 0
    cleared_ms: int = NEVER  # since when a fault, the cap, a door or a person cleared the permit
    left_ms: int = 0
    mark: int = -1
    quiet_ms: int = 0

    def later(self, ms: int) -> "Oracle":
        """The same kit some time later, if nothing happens."""
        fresh = self.fresh_ms - ms if self.fresh_ms >= 0 else -1
        now = self._replace(
            hold_ms=max(0, self.hold_ms - ms),
            door_ms=max(0, self.door_ms - ms),
            quiet_ms=max(0, self.quiet_ms - ms),
            left_ms=max(0, self.left_ms - ms),
            cleared_ms=min(NEVER, self.cleared_ms + ms),
            fresh_ms=fresh,
        )
        return now.cleared()._replace(fresh_ms=-1) if self.fresh_ms >= 0 and fresh < 0 else now

    def cleared(self) -> "Oracle":
        """Without a permit; the next must be decided on a later frame."""
        return self._replace(left_ms=0, cleared_ms=0)

    def heats(self) -> bool:
        """Whether all that must hold does hold."""
        return not self.latched and self.hold_ms == 0 and self.fresh_ms >= 0 and self.door_ms == 0 and self.left_ms > 0

    def reading(self, kind: str) -> "Oracle":
        """A sample of the chamber: "cool", "warm", "hot", "spike" (hot and not believed), "open" or "arctic"."""
        hot = kind in ("hot", "spike")
        above = (self.above + (hot,))[-SAMPLES:]
        while above and not above[0]:
            above = above[1:]  # what came before the first hot one no longer matters
        latched = self.latched or sum(above) >= 2
        seen = self._replace(above=() if latched else above, latched=latched)
        if kind in ("cool", "warm"):
            return seen._replace(fresh_ms=FRESH_MS, cool=kind == "cool")
        return seen.cleared()._replace(fresh_ms=-1)

    def grant(self, age_ms: int, seq: int, *, boot: bool, hub: bool = True, retained: bool = False) -> "Oracle":
        """A permit for 10 s from a frame `age_ms` ago; itself if it is refused."""
        sound = boot and hub and not retained and seq > self.mark and 0 <= age_ms < LIFE_MS
        if sound and self.fresh_ms >= 0 and age_ms < self.cleared_ms:
            return self._replace(mark=seq, left_ms=LIFE_MS - age_ms)
        return self

    def stop(self, seq: int, *, boot: bool, hub: bool = True) -> "Oracle":
        """No heat, now; another hub's only once in its time."""
        if not hub:
            return self if self.quiet_ms > 0 else self._replace(left_ms=0, quiet_ms=QUIET_MS)
        return self._replace(left_ms=0, mark=max(self.mark, seq) if boot else self.mark)

    def door(self, is_open: bool) -> "Oracle":
        """Opened by a person or seen to be; or said to be closed."""
        return self.cleared()._replace(door_ms=DOOR_MS) if is_open else self._replace(door_ms=0)

    def person_clears(self) -> "Oracle":
        """The button held for ten seconds."""
        if self.latched and self.fresh_ms >= 0 and self.cool:
            return self.cleared()._replace(latched=False, above=())
        return self

    def restarted(self) -> "Oracle":
        """Power off and on: only the latch's flag is kept."""
        return Oracle(latched=self.latched)


class Grant(NamedTuple):
    """One permit that the network still holds."""

    age_ms: int
    seq: int
    boot: bool


class World(NamedTuple):
    """The oracle, and what is in flight: grants (older, newer) and a stop's number and boot."""

    oracle: Oracle = Oracle()
    older: Grant | None = None
    newer: Grant | None = None
    stop: tuple[int, bool] | None = None

    def next_seq(self) -> int:
        """Number of the hub's next message: above all before, also over a restart of the hub."""
        held = [one.seq for one in (self.older, self.newer) if one]
        return max([self.oracle.mark, *held, *([self.stop[0]] if self.stop else [])]) + 1

    def later(self, ms: int) -> "World":
        """Everything grows older; a grant past its life can only be refused and is let go."""
        grants = [
            one._replace(age_ms=one.age_ms + ms) if one and one.age_ms + ms <= LIFE_MS else None
            for one in (self.older, self.newer)
        ]
        return World(self.oracle.later(ms), grants[0], grants[1], self.stop)

    def restarted(self) -> "World":
        """The kit restarts: what is in flight was meant for the start before."""
        grants = [one._replace(boot=False) if one else None for one in (self.older, self.newer)]
        return World(self.oracle.restarted(), grants[0], grants[1], (self.stop[0], False) if self.stop else None)
