"""The real hub and its real page on a free port; kit, meat and clock are played by a script, as fast as it is told."""

from __future__ import annotations

import math
import queue
from pathlib import Path
from typing import Any

from fiftyover.app.desk import HubDesk
from fiftyover.app.hub import Hub
from fiftyover.app.page import Page
from fiftyover.app.parts import Parts
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker import people
from fiftyover.broker.notes import Counters, Link, Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live
from fiftyover_kit.contract import messages

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ZERO_MS = 1_795_600_000_000  # a November morning of 2026
PLACES = ("back left", "back right", "middle left", "middle right", "front left", "front right")


class Broker:
    """Takes everything and keeps it."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes]] = []
        self.taken_over = False
        self.counters = Counters()

    def publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        self.sent.append((topic, payload))
        return True


def plan_of(chubs: int = 6, probes: int = 5, batch_id: str = "7f2c0001", **given: Any) -> Plan:
    hung = tuple(
        Chub(n, "slim" if n % 3 else "stout", 45.0 if n % 3 else 64.0, PLACES[(n - 1) % 6], n if n <= probes else None)
        for n in range(1, chubs + 1)
    )
    name = given.pop("name", "Pork and beef with garlic")
    return Plan(batch_id=batch_id, name=name, chubs=hung, cap_degC=given.pop("cap_degC", 87.8), **given)


class Smokehouse:
    """One hub, its page at `address`, and the kit's words as the test says them."""

    def __init__(self, folder: Path, accounts: Any = None, port: int = 0, clock: VirtualClock | None = None) -> None:
        self.clock = clock or VirtualClock(at_s=5000.0, utc_zero_ms=ZERO_MS)
        self.began_s = 5000.0
        self.folder = folder
        self.store = Store(folder / "record.sqlite", self.clock, reserve_bytes=0)
        self.broker, self.live = Broker(), Live()
        heater = Heater(self.store.hub_id, self.store.run_number, self.broker.publish)
        inbox = Inbox(self.store, self.clock, {KIT})
        parts = Parts(self.clock, self.store, inbox, self.broker, heater, self.live, KIT)  # type: ignore[arg-type]
        self.hub = Hub(parts, queue.Queue[Message | Link]())
        self.hub.take_up()
        self.page = Page("127.0.0.1", port, frozenset(), accounts)
        self.people = folder / "accounts.json"
        self.desk = HubDesk(self.hub, folder, self.people if self.people.exists() else None, self.page.address)
        self.messages: list[tuple[list[str], str, str]] = []
        self.delivery = self.desk.open_delivery(self._send)
        self.page.start(self.live, self.desk, self.clock.monotonic_s, people.SessionFile(folder / "sessions.json"))
        self.desk.forget = self.page.entry.forget  # type: ignore[union-attr]
        self.seq = round(self.clock.monotonic_s() - self.began_s)
        self.say("sys/cap", "95.00")

    def _send(self, urls: Any, title: str, text: str) -> str:
        self.messages.append((list(urls), title, text))
        return ""

    @property
    def address(self) -> str:
        return self.page.address

    def say(self, rest: str, text: str) -> None:
        message = Message(f"homie/5/{KIT}/{rest}", text.encode(), True, self.clock.monotonic_s())
        self.hub.step(message)
        self.show()

    def show(self) -> None:
        self.hub._show(self.clock.monotonic_s())

    def frame(self, t: list[float | None], s: list[str] | None = None, why: str = "on", after_s: float = 1.0) -> None:
        """One live frame, `after_s` later than the one before."""
        self.clock.advance(after_s)
        self.seq += 1
        content = {
            "v": 1, "boot": BOOT, "seq": self.seq, "up": round((self.clock.monotonic_s() - self.began_s) * 1000),
            "t": [None if v is None else round(v, 2) for v in t], "s": s or ["ok"] * len(t),
            "on": int(why == "on"), "duty": 0.4, "why": why, "left": 12, "thinned": 0, "dropped": 0,
        }  # fmt: skip
        raw = messages.encode_frame(content)
        self.hub.step(Message(f"homie/5/{KIT}/frame/sample", raw, False, self.clock.monotonic_s()))

    def hang(self, plan: Plan | None = None) -> None:
        self.hub.start_batch(plan or plan_of())

    def cores(self, hours: float, channels: int) -> list[float | None]:
        """Chamber and cores so long after hanging: from 8 °C, the chamber a lift above, each probe its own pace."""
        warm = [72.0 - 64.0 * math.exp(-hours / (2.2 + 0.22 * n)) for n in range(1, channels)]
        lift = 27.8 * (1.0 - math.exp(-hours / 0.12))  # the empty smoker was cold: the start check sees it answer
        return [min([84.0, *(core + lift for core in warm)]), *warm]

    def cook(self, hours: float, from_hours: float = 0.0, step_s: float = 5.0, channels: int = 6) -> None:
        """Frames from `from_hours` to `hours` after hanging, then what follows is on the disk and on the page."""
        for number in range(1, round((hours - from_hours) * 3600 / step_s) + 1):
            self.frame(self.cores(from_hours + number * step_s / 3600, channels), after_s=step_s)
        self.hub.write()
        self.show()

    def call(self, chub: int, core_degC: float = 66.2) -> None:
        """The tool calls a chub (as `batch.calls` would)."""
        self._tell("called", chub=chub, core_degC=core_degC, predicted_degC=67.3, response_s=0.0)

    def check(self, chub: int, core_degC: float = 63.0) -> None:
        """The tool asks for a reading by hand."""
        self._tell("check-asked", chub=chub, core_degC=core_degC)

    def _tell(self, kind: str, **data: Any) -> None:
        from fiftyover.batch import events as ev

        assert self.hub.state is not None
        event = ev.Event(kind, self.clock.monotonic_s(), self.clock.utc_ms(), data)
        self.store.add_event(self.hub.state.plan.batch_id, event)
        self.hub.state = self.hub.state._replace(book=ev.apply(self.hub.state.book, event))
        self.show()

    def close(self) -> None:
        self.page.stop()
        self.store.close()
