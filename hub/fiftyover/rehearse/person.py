"""The simulated person: goes out so long after each call or request, pulls what was called, checks what was asked."""

from dataclasses import dataclass, field

from fiftyover.batch import events
from fiftyover.batch.events import Event

PULL = "pull"
CHECK = "check"
_ERRAND = {
    events.CALLED: PULL,
    events.CHECK_ASKED: CHECK,
}


@dataclass
class Person:
    """Errands still to be run, by the second at which the person stands at the smoker."""

    response_s: float
    errands: list[tuple[float, str, int]] = field(default_factory=list)
    called_s: dict[int, float] = field(default_factory=dict)

    def hear(self, event: Event, now_s: float) -> None:
        """Take note of what the hub asks; a call repeated is the same errand."""
        errand = _ERRAND.get(event.kind)
        if errand is None:
            return
        number = int(event.data["chub"])
        if errand == PULL:
            if number in self.called_s:
                return
            self.called_s[number] = now_s
        self.errands.append((now_s + self.response_s, errand, number))

    def due(self, now_s: float) -> list[tuple[str, int]]:
        """Take the errands whose time has come, in the order of their numbers."""
        if not self.errands:
            return []
        now = sorted((errand, number) for when, errand, number in self.errands if when <= now_s)
        self.errands = [left for left in self.errands if left[0] > now_s]
        return now
