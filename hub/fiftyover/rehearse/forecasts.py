"""The forecasts of a rehearsal: looked at every minute, judged afterwards at three moments of each chub's own cook.

What the hub knew is kept once a minute (states are never changed, means only added); the forecasts that are judged are
then computed from what was known at their moment, and from nothing later.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from fiftyover.batch.outlook import Memory, Outlook, outlook
from fiftyover.batch.state import BatchState
from fiftyover.rehearse.measure import Array
from fiftyover_kit.contract.units import degC_from_degF

EVERY_S = 60.0
FRACTIONS = (0.25, 0.5, 0.75)
WHOLE_DEGC = degC_from_degF(152.0)  # a chub's own time is that to a true core of 152 °F


class Moment(NamedTuple):
    """What the hub knew at a second: its state, and how many of the means."""

    now_s: float
    state: BatchState
    rows: int


class Notebook:
    """Keeps moments while the rehearsal runs and makes the forecasts that are asked for, each once."""

    def __init__(self) -> None:
        self.memory = Memory()
        self.moments: list[Moment] = []
        self._made: dict[int, Outlook | None] = {}

    def note(self, state: BatchState, now_s: float) -> None:
        """Take what the hub knows after a frame."""
        self.memory.heed(state)
        if not self.moments or now_s - self.moments[-1].now_s >= EVERY_S:
            self.moments.append(Moment(now_s, state, len(self.memory.rows)))

    def judged(self, times_s: Sequence[float], cores_degC: Array, foot_degC: float) -> list[list[dict[str, Any]]]:
        """Return each chub's forecasts under the keys of the plant protocol; none for a chub that never got there.

        `times_s` (seconds,), `cores_degC` (seconds, chubs) are the true world, `foot_degC` the foot of the band.
        """
        found = []
        for index in range(cores_degC.shape[1]):
            whole_s = first_s(times_s, cores_degC[:, index], WHOLE_DEGC)
            true_s = first_s(times_s, cores_degC[:, index], foot_degC)
            fractions = FRACTIONS if whole_s is not None else ()
            found.append([self._one(index + 1, share, share * (whole_s or 0.0), true_s) for share in fractions])
        return found

    def _one(self, chub: int, share: float, at_s: float, true_s: float | None) -> dict[str, Any]:
        number = max((i for i, moment in enumerate(self.moments) if moment.now_s <= at_s), default=None)
        told = None if number is None else self._at(number)
        prospect = None if told is None else told.of(chub)
        return {
            "at_fraction": share,
            "made_s": None if number is None else self.moments[number].now_s,
            "predicted_s": None if prospect is None else prospect.done_s,
            "low_s": None if prospect is None else prospect.low_s,
            "high_s": None if prospect is None else prospect.high_s,
            "true_s": true_s,
        }

    def _at(self, number: int) -> Outlook | None:
        if number not in self._made:
            moment = self.moments[number]
            self._made[number] = outlook(moment.state, self.memory.rows[: moment.rows])
        return self._made[number]


def first_s(times_s: Sequence[float], core_degC: Array, level_degC: float) -> float | None:
    """Return the second at which a true core first comes to a level [degC], or None."""
    over = np.flatnonzero(core_degC >= level_degC)
    return float(times_s[int(over[0])]) if over.size else None
