"""The demo's person: does what the hub asks, through the same marks as the page."""

from __future__ import annotations

from ..batch import events as ev
from ..rehearse.wire import PlantServer
from .hub import Hub


class DemoPerson:
    """Pulls what is called, reads by hand what is asked for and resumes after an outage, at once."""

    def __init__(self, hub: Hub, plant: PlantServer) -> None:
        self._hub = hub
        self._plant = plant

    def go_out(self, cores_degC: list[float]) -> list[tuple[int, float]]:
        """Run every errand there is; (chub, true core) of each that was pulled."""
        state = self._hub.state
        if state is None:
            return []
        if state.book.stopped == "outage":  # it has looked at the cores: they go on
            self._hub.mark(ev.RESUME_HEAT, {}, "demo")
        for number in list(state.book.checks):
            self._hub.mark(ev.HAND_READING, {"chub": number, "core_degC": round(cores_degC[number - 1], 2)}, "demo")
        pulled = []
        for number in list((self._hub.state or state).book.calls):
            done, _ = self._hub.mark(ev.PULLED, {"chub": number, "probe": "away"}, "demo")
            if done:
                self._plant.pull(number - 1)
                pulled.append((number, cores_degC[number - 1]))
        return pulled
