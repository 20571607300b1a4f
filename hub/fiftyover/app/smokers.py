"""Several smokers at one hub: each one's desk and its telling of phones, and the list of them all for the page."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..alerts.delivery import Send, send_by_apprise
from ..alerts.rules import ACT, KNOW, ORDER, ranked
from ..alerts.sounder import Shared, Sounder
from ..web.live import Live
from .desk import HubDesk
from .hub import Hub
from .yard import Yard

LOG = logging.getLogger("fiftyover.hub")
LIST_S = 1.0
HUNG = ("hanging", "called", "check")
FOLDER = "smokers"  # beside the record: what is one smoker's alone, in a folder of its name


class Smokers:
    """The desks by the name of their kit, and `live`, which shows all smokers in short.

    Contacts and schedules are the house's; what was told and each kit's calibrations are the smoker's own.
    """

    def __init__(
        self, yard: Yard, folder: Path, accounts: Path | None, address: str, send: Send = send_by_apprise
    ) -> None:
        self._yard = yard
        self.live = Live()
        self.desks: dict[str, HubDesk] = {}
        sounder = Shared(Sounder(yard.parts.client.publish))
        self.deliveries = []
        for kit, hub in yard.smokers.items():
            own = folder / FOLDER / kit
            own.mkdir(mode=0o700, parents=True, exist_ok=True)
            desk = HubDesk(hub, folder, accounts, f"{address}smokers/{kit}/", own)
            self.deliveries.append(desk.open_delivery(send, sounder.of(kit), kit))
            self.desks[kit] = desk
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._list_for_ever, name="list", daemon=True)
        self.show()

    @property
    def pages(self) -> dict[str, tuple[Live, HubDesk]]:
        """What the page needs of each smoker."""
        return {kit: (self._yard.smokers[kit].parts.live, desk) for kit, desk in self.desks.items()}

    def start(self) -> None:
        """Begin to tell phones, and to list."""
        for delivery in self.deliveries:
            delivery.start()
        self._thread.start()

    def stop(self) -> None:
        """End both."""
        self._ended.set()
        if self._thread.ident is not None:
            self._thread.join(3.0)
        for delivery in self.deliveries:
            delivery.end()
        for delivery in self.deliveries:
            delivery.stop()

    def _list_for_ever(self) -> None:
        while not self._ended.wait(LIST_S):
            try:
                self.show()
            except Exception:  # the smokers' own pages go on
                LOG.exception("the list of the smokers could not be made this time")

    def show(self) -> None:
        """Publish the list as it is now."""
        shown = {kit: hub.parts.live.snapshot() for kit, hub in self._yard.smokers.items()}
        rows = [row(kit, self._yard.smokers[kit], shown[kit]) for kit in shown]
        ages = [one["age_s"] for one in rows if one["age_s"] is not None]
        heard = {"id": f"{len(ages)} of {len(rows)} kits", "age_s": min(ages, default=None), "simulated": False}
        house = self._yard.troubles.told(self._yard.parts.clock.monotonic_s())
        self.live.publish({"kit": heard, "alarms": alarms(house, shown), "smokers": rows})


def row(kit: str, hub: Hub, shown: Mapping[str, Any]) -> dict[str, Any]:
    """A smoker in short: batch, temperatures [°C], what is most urgent or comes next. `shown`: what its page shows."""
    urgent = sorted((one for one in shown.get("alarms", ()) if one["priority"] != KNOW), key=_urgency)
    hanging = [one for one in shown.get("chubs", ()) if one["state"] in HUNG]
    cores = [one["core_degC"] for one in hanging if one["core_degC"] is not None]
    return {
        "smoker": kit,
        "batch": shown.get("name", "") if hub.state is not None else "",
        "hanging": len(hanging),
        "chamber_degC": shown.get("chamber_degC"),
        "core_degC": min(cores, default=None),
        "alarm": {"priority": urgent[0]["priority"], "text": urgent[0]["text"]} if urgent else None,
        "more": max(0, len(urgent) - 1),
        "next": hub.gate.why or shown.get("next", ""),
        "age_s": shown.get("kit", {}).get("age_s"),
    }


def alarms(house: list[str], shown: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What sounds at the list: the house's own sentences, and what has to be acted on at which smoker, each once."""
    found = [asdict(ranked(sentence)) for sentence in house]
    told: dict[str, list[str]] = {}
    for kit, page in shown.items():
        for one in page.get("alarms", ()):
            if one["priority"] == ACT and one["text"] not in house:
                told.setdefault(one["text"], []).append(kit)
    for text, kits in told.items():
        who = kits[0] if len(kits) == 1 else f"{len(kits)} smokers, {kits[0]} among them"
        found.append({"key": f"{' '.join(kits)} {ranked(text).key}", "priority": ACT, "text": f"{who}: {text}"})
    return sorted(found, key=_urgency)


def _urgency(alarm: Mapping[str, Any]) -> int:
    return ORDER.index(alarm["priority"])
