"""A second opinion on stand-by beside the guard, from the contract's sentences, and every event that can reach the two.

As in guard_oracle.py the oracle counts plain milliseconds. Here the network holds nothing: a grant or stop of any
number that matters - newer than all, newer than the last permit only, seen before - of any age, boot, hub and wish may
arrive at any moment. So each order, delay and repetition of whatever a hub, restarted or not, ever sent is among them.

The times are shortened: silence counts from 10 s (no permit outlives it, as in truth), a hold has 10 s.
"""

from typing import NamedTuple

from firmware.guard_oracle import LIFE_MS, NEVER, Oracle

AFTER_MS, LIMIT_MS = 15_000, 20_000
DEGC, LOW_DEGC = 66.0, 64.0
NONE, SAME, OTHER = -1, 1, 0  # what a grant wishes: no stand-by, one for the batch offered last, one for another batch


class Wish(NamedTuple):
    """A grant on its way."""

    seq: int
    age_ms: int = 0
    kind: int = NONE
    boot: bool = True
    hub: bool = True
    retained: bool = False


class Held(NamedTuple):
    """What the contract lets one know about a kit with stand-by."""

    guard: Oracle = Oracle()
    silent_ms: int = NEVER  # since anything was heard of the bound hub
    offered: bool = False
    armed: bool = False
    spent_ms: int = 0
    low: bool = False
    newest: int = -1  # largest number of a grant or stop of this hub and boot

    def holds(self) -> bool:
        """Armed, and nothing at all was heard for the time of silence."""
        return self.armed and self.silent_ms >= AFTER_MS

    def heats(self) -> bool:
        """A permit, or the hold in its place; every other condition holds as before."""
        return self.guard.heats() or (self.holds() and self.guard._replace(left_ms=1).heats())

    def goal_degC(self) -> float:
        """The chamber temperature held."""
        return min(DEGC, LOW_DEGC) if self.low else DEGC

    def later(self, ms: int) -> "Held":
        """Some time later: the seconds of silence beyond the first are spent, and end the arming."""
        silent_ms = min(NEVER, self.silent_ms + ms)
        held_ms = silent_ms - max(self.silent_ms, AFTER_MS) if silent_ms >= AFTER_MS else 0
        after = self._replace(guard=self.guard.later(ms), silent_ms=silent_ms)
        if self.armed and self.spent_ms + held_ms >= LIMIT_MS and silent_ms >= AFTER_MS:
            return after.ended()
        return after.settled(self.spent_ms + held_ms)

    def settled(self, spent_ms: int) -> "Held":
        """An offer lives while its hub is heard, or armed; spent seconds belong to an arming."""
        offered = self.offered and (self.armed or self.silent_ms < AFTER_MS)
        return self._replace(offered=offered, spent_ms=spent_ms if self.armed else 0, low=self.low and self.holds())

    def ended(self) -> "Held":
        """No longer armed."""
        return self._replace(armed=False).settled(0)

    def heard(self) -> "Held":
        """Anything from the bound hub."""
        return self._replace(silent_ms=0).settled(self.spent_ms)

    def grant(self, wish: Wish) -> "Held":
        """The permit goes by the guard's rules; the wish counts if newer than all, one to end it even if refused."""
        now = self.heard() if wish.hub and not wish.retained else self
        permit = now.guard.grant(wish.age_ms, wish.seq, boot=wish.boot, hub=wish.hub, retained=wish.retained)
        taken, before = permit is not now.guard, now
        now = now._replace(guard=permit)
        if not (wish.boot and wish.hub and not wish.retained and wish.seq > before.newest):
            return now
        now = now._replace(newest=wish.seq)
        if wish.kind != SAME:
            now = now._replace(offered=False).ended()
        return now._replace(offered=True) if taken and wish.kind != NONE else now

    def stop(self, seq: int, *, boot: bool, hub: bool = True, retained: bool = False) -> "Held":
        """A stop that is obeyed ends what is armed and offered."""
        now = self.heard() if hub and not retained else self
        obeyed = hub or now.guard.quiet_ms == 0
        now = now._replace(guard=now.guard.stop(seq, boot=boot, hub=hub))
        if not obeyed:
            return now
        newest = max(now.newest, seq) if boot and hub else now.newest
        return now._replace(offered=False, newest=newest).ended()

    def button(self) -> "Held":
        """Held for three seconds at the smoker."""
        if self.armed:
            return self.ended()
        if self.offered and self.silent_ms < AFTER_MS:
            return self._replace(armed=True, spent_ms=0)
        return self

    def core(self) -> "Held":
        """A believable core passes 62 °C."""
        return self._replace(low=self.holds())

    def restarted(self) -> "Held":
        """Power off and on: only the latch's flag is kept."""
        return Held(self.guard.restarted())

    def wishes(self) -> "list[tuple[str, Wish]]":
        """Each grant that may arrive now."""
        mark, new = self.guard.mark, max(self.guard.mark, self.newest) + 1
        found = []
        for kind, said in ((NONE, "without stand-by"), (SAME, "for the batch"), (OTHER, "for another batch")):
            ways = [
                ("seen before", Wish(max(0, mark), 0, kind)),
                ("of another boot", Wish(new, 0, kind, boot=False)),
                ("of another hub", Wish(new, 0, kind, hub=False)),
                ("retained", Wish(new, 0, kind, retained=True)),
            ]
            for age_ms in (0, LIFE_MS // 2, LIFE_MS):
                ways.append((f"{age_ms} ms old", Wish(new, age_ms, kind)))
                if mark < self.newest:
                    ways.append((f"{age_ms} ms old and overtaken", Wish(self.newest, age_ms, kind)))
            found += [(f"a grant {said}, {how}", wish) for how, wish in ways]
        return found
