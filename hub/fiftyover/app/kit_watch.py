"""What is known of the kit beside its frames: its name, what it says of itself, its alerts."""

from __future__ import annotations

import math
from typing import Any

from ..ingest import KitNote

KITS_MAX, NAMES_MAX, ALERTS_MAX = 16, 400, 16  # kept of what kits say; a kit of 31 probes has about 80 properties
ALERT_MAX_LETTERS = 240


class KitWatch:
    """The one kit that this hub cooks with: the named one, else the first that is heard."""

    def __init__(self, kit: str, never: str = "") -> None:
        self.kit = kit
        self._never = never  # the small kit of the refrigerator
        self.notes: dict[str, str] = {}
        self.alerts: dict[str, str] = {}
        self._early: dict[str, dict[str, str]] = {}

    def choose(self, kit: str) -> None:
        """Take this kit unless another was named."""
        if kit and not self.kit and kit != self._never:
            self.kit = kit
            for name, text in self._early.pop(kit, {}).items():
                self._keep(name, text)
            self._early.clear()

    def note(self, note: KitNote) -> None:
        """Keep what the kit says of itself; before a kit was chosen, what each says."""
        if note.kit == self._never:
            return
        if not self.kit:
            if len(self._early) < KITS_MAX or note.kit in self._early:
                early = self._early.setdefault(note.kit, {})
                if len(early) < NAMES_MAX or note.property in early:
                    early[note.property] = note.text
        elif note.kit == self.kit:
            self._keep(note.property, note.text)

    def _keep(self, name: str, text: str) -> None:
        if not name.startswith("$alert/"):
            if len(self.notes) < NAMES_MAX or name in self.notes:
                self.notes[name] = text
        elif text:
            if len(self.alerts) < ALERTS_MAX or name in self.alerts:
                self.alerts[name] = f"The kit says: {text[:ALERT_MAX_LETTERS]}"
        else:
            self.alerts.pop(name, None)

    @property
    def cap_degC(self) -> float | None:
        """The kit's own limit, None until it said one that is a temperature."""
        try:
            degC = float(self.notes.get("sys/cap", ""))
        except ValueError:
            return None
        return degC if math.isfinite(degC) else None

    @property
    def simulated(self) -> bool:
        """True if the kit says that it is a simulated one."""
        return self.notes.get("sys/simulated") == "true"

    @property
    def armed(self) -> bool:
        """True if a person armed stand-by at the smoker: the kit then holds by itself while this hub is silent."""
        return self.notes.get("heater/armed") == "true"

    def described(self, age_s: float | None) -> dict[str, Any]:
        """For the page: id, age of its newest reading, whether it is simulated."""
        known = age_s is not None and math.isfinite(age_s)
        return {
            "id": self.kit,
            "age_s": round(age_s, 1) if known and age_s is not None else None,
            "simulated": self.simulated,
            "armed": self.armed,
        }
