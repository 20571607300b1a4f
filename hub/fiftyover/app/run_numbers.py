"""Run numbers of permits: four days of permits use up the count of a run, and a new, committed run begins."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..errors import HubError
from ..heater import Heater
from ..store import Store

AGAIN_S = 5.0


class RunNumbers:
    """Looks after the heaters' run number; `tell` puts a standing sentence on the page, or ends it (None)."""

    def __init__(self, store: Store, heaters: Sequence[Heater], tell: Callable[[str | None], None]) -> None:
        self._store = store
        self._heaters = heaters
        self._tell = tell
        self._tried_s = -AGAIN_S

    def look(self, now_s: float) -> None:
        """Take a new run number if one is due."""
        if not any(one.needs_run for one in self._heaters) or 0.0 <= now_s - self._tried_s < AGAIN_S:
            return
        self._tried_s = now_s
        try:
            run = self._store.next_run()
            for one in self._heaters:
                one.new_run(run)
            self._tell(None)
        except HubError as fault:
            self._tell(f"No heat, for want of a new permit number: {fault}")
