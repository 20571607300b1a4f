"""The numbers of grants and stops: each larger than the one before, over restarts too."""

from __future__ import annotations

from fiftyover_kit.contract import limits

from ..errors import HubError

RUN_MAX = limits.SEQ_MAX >> limits.GRANT_RUN_SHIFT
COUNT_MAX = (1 << limits.GRANT_RUN_SHIFT) - 1


class Numbers:
    """Sequence numbers of one run of the hub: run number × 2^16 + a counter, below 2^30."""

    def __init__(self, run_number: int) -> None:
        self.run_number = -1
        self.new_run(run_number)

    def new_run(self, run_number: int) -> None:
        """Go on with a larger run number, as after a start; HubError for one that is not larger or does not fit."""
        if not 0 <= run_number <= RUN_MAX:
            raise HubError(
                f"this hub was started {run_number} times, more than a permit's number can hold ({RUN_MAX}); "
                "make a fresh store with `fiftyover setup` and bind the kit to it"
            )
        if run_number <= self.run_number:
            raise HubError(f"run {run_number} of the hub is not newer than run {self.run_number}; restart the hub")
        self.run_number = run_number
        self._count = 0

    @property
    def used_up(self) -> bool:
        """True when no number is left in this run."""
        return self._count >= COUNT_MAX

    def take(self) -> int | None:
        """Give the next number, or None when none is left in this run."""
        if self.used_up:
            return None
        self._count += 1
        return (self.run_number << limits.GRANT_RUN_SHIFT) + self._count
