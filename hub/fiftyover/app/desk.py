"""The hub's counter for the pages: what `web.desk.Desk` asks for, put together from hub, record, people and phones."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..alerts import contacts as who_is_told
from ..alerts.contacts import Contacts
from ..alerts.delivery import Delivery, Look, Notebook, Send, alerts_shown, send_by_apprise
from ..alerts.sounder import OfOne, Sounder
from ..broker import people
from ..broker.address import write_secret
from ..errors import HubError
from . import day_errands, desk_kit, desk_plan, desk_record, schedules
from .desk_calibration import Calibrations
from .hub import Hub

HISTORY_KEPT_S = 5.0  # twenty open pages ask for the same curves


class HubDesk:
    """See `web.desk.Desk`. `folder` is where contacts are kept; `accounts` is None until `setup` ran.

    `own`: where this smoker's own files are, if there are several at the hub; else `folder`.
    """

    def __init__(self, hub: Hub, folder: Path, accounts: Path | None, address: str, own: Path | None = None) -> None:
        self._hub = hub
        self._contacts_file = folder / "contacts.json"
        self._schedules = folder / "schedules"
        self._calibrations = Calibrations((own or folder) / "calibrations.json", hub.parts.clock.utc_ms)
        self._told_file = (own or folder) / "told.json"
        self._accounts = accounts
        self._address = address
        self._lock = threading.Lock()
        self._practising = threading.Lock()
        self._progress = (0, 0)
        self._kept: dict[int, tuple[float, str | None, dict[str, Any]]] = {}
        self.delivery: Delivery | None = None
        self.forget: Callable[[str], None] = lambda _: None  # ends a person's sessions; the page sets it

    def open_delivery(
        self, send: Send = send_by_apprise, sounder: Sounder | OfOne | None = None, name: str = ""
    ) -> Delivery:
        """The telling of phones, not started yet; `sounder` and `name` where several smokers share the house."""

        def look() -> Look:
            return alerts_shown(self._hub.parts.live.snapshot())

        now_s = self._hub.parts.clock.monotonic_s
        notebook = _Told(self._hub, self._told_file)
        sounder = sounder or Sounder(self._hub.parts.client.publish)
        given = (self._hub.tell, self._address, notebook, sounder, name)
        self.delivery = Delivery(self.contacts, send, now_s, look, *given)
        return self.delivery

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """See `Hub.mark`."""
        return self._hub.mark(kind, data, who)

    def history(self, points: int) -> dict[str, Any]:
        """See `Hub.history`; the same answer for some seconds, unless something was marked."""
        state = self._hub.state
        mark = None if state is None else f"{state.plan.batch_id} {len(state.book.log)}"
        now_s = time.monotonic()
        with self._lock:
            kept = self._kept.get(points)
            if kept is None or now_s - kept[0] > HISTORY_KEPT_S or kept[1] != mark:
                self._kept = {points: (now_s, mark, self._hub.history(points))}
            return self._kept[points][2]

    def clocks(self) -> dict[str, Any]:
        """The cooling and hold clocks of the batch on the page, and what can be marked about its days."""
        state = self._hub.state
        try:
            coming = self._hub.days.on_their_way()
        except HubError:
            coming = []
        nothing = {"chill": [], "hold_left_s": None, "after": None, "coming": coming}
        if state is None:
            return nothing
        try:
            look = self._hub.days.look(state.plan.batch_id)
            found = desk_record.opened_batch(self._hub.parts.store, state.plan.batch_id)
        except HubError:
            return nothing
        return nothing | {
            "chill": look["chill"],
            "hold_left_s": look["hold_left_s"],
            "after": day_errands.after(found.day, state.book),
        }

    # -- record

    def batches(self) -> list[dict[str, Any]]:
        """See `desk_record.batches`."""
        return desk_record.batches(self._hub.parts.store, self._hub.parts.record_of)

    def batch(self, batch_id: str, units: str) -> dict[str, Any] | None:
        """See `desk_record.batch`."""
        return desk_record.batch(self._hub.parts.store, batch_id, units)

    def past(self, batch_id: str, points: int) -> dict[str, Any]:
        """See `desk_record.past`."""
        return desk_record.past(self._hub.parts.store, batch_id, points)

    def compared(self, first: str, second: str, units: str) -> dict[str, Any] | None:
        """See `desk_record.compared`."""
        return desk_record.compared(self._hub.parts.store, first, second, units)

    def export(self, batch_id: str, form: str, units: str) -> tuple[str, str, str] | None:
        """See `desk_record.export`."""
        return desk_record.export(self._hub.parts.store, batch_id, form, units)

    # -- plan

    def recipes(self) -> list[str]:
        """See `desk_plan.names`."""
        return desk_plan.names()

    def schedules(self) -> list[str]:
        """The shipped schedules, and the household's own: files in `schedules/` beside the record."""
        return schedules.names(self._schedules)

    def recipe(self, name: str) -> dict[str, Any] | None:
        """See `desk_plan.recipe`."""
        try:
            told = desk_plan.recipe(name)
        except HubError:
            return None
        if response_s := self.contacts().response_s:
            told.setdefault("rig", {}).setdefault("response", f"{response_s / 60:g} min")
        return told

    def sheet(self, data: dict[str, Any], practice: bool) -> dict[str, Any]:
        """See `desk_plan.sheet` and `desk_plan.practice`; one practice cook at a time."""
        try:
            if not practice:
                return desk_plan.sheet(data, self._schedules)
            if not self._practising.acquire(blocking=False):
                return {"sentence": "Another practice cook is running: try again in a minute."}
            try:
                return desk_plan.practice(data, self._schedules, self._cooked)
            finally:
                self._progress = (0, 0)
                self._practising.release()
        except HubError as fault:
            return {"sentence": str(fault)}

    def _cooked(self, done: int, of: int) -> None:
        self._progress = (done, of)

    def practised(self) -> dict[str, int]:
        """How many of how many practice cooks are done; 0 of 0 while none runs."""
        done, of = self._progress
        return {"done": done, "of": of}

    def sheet_page(self, data: dict[str, Any]) -> dict[str, Any]:
        """See `desk_plan.page`."""
        try:
            name, text = desk_plan.page(data, self._schedules)
        except HubError as fault:
            return {"sentence": str(fault)}
        return {"name": name, "text": text}

    def begin(self, data: dict[str, Any]) -> tuple[bool, str]:
        """See `desk_plan.begin`."""
        return desk_plan.begin(self._hub, data, self._schedules)

    def hang(self, data: dict[str, Any]) -> tuple[bool, str]:
        """See `desk_plan.hang`."""
        return desk_plan.hang(self._hub, data, self._schedules)

    # -- kit

    def kit(self) -> dict[str, Any]:
        """See `desk_kit.kit`."""
        return desk_kit.kit(self._hub, self._address, self._calibrations)

    def calibrate(self, data: dict[str, Any]) -> tuple[bool, str]:
        """See `Calibrations.take`."""
        with self._lock:
            return self._calibrations.take(self._hub.watch.kit, data)

    # -- settings

    def contacts(self) -> Contacts:
        """Who is told; nobody while the file cannot be read (the page of the settings says why)."""
        try:
            return who_is_told.load(self._contacts_file)
        except HubError:
            return Contacts()

    def settings(self) -> dict[str, Any]:
        """Contacts without their secrets, and who has an account."""
        trouble = ""
        try:
            told = who_is_told.load(self._contacts_file)
        except HubError as fault:
            told, trouble = Contacts(), str(fault)
        shown = {
            "first": [who_is_told.masked(url) for url in told.first],
            "second": [who_is_told.masked(url) for url in told.second],
            "escalate_after_s": told.escalate_after_s,
            "response_s": told.response_s,
            "trouble": trouble,
            "people": None,
        }
        if self._accounts is not None:
            listed = people.load(self._accounts)
            shown["people"] = [{"name": name, "role": one["role"]} for name, one in sorted(listed.items())]
        return shown

    def choose(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Change contacts: `add` one address or `remove` one by its place (`to`: first or second), or the times."""
        try:
            told = who_is_told.load(self._contacts_file)
            fresh = {
                "first": list(told.first),
                "second": list(told.second),
                "escalate_after_s": data.get("escalate_after_s", told.escalate_after_s),
                "response_s": data.get("response_s", told.response_s),
            }
            urls = fresh[data["to"]] if data.get("to") in ("first", "second") else []
            if isinstance(data.get("add"), str) and data.get("to") in ("first", "second"):
                urls.append(data["add"].strip())
            place = data.get("remove")
            if isinstance(place, int) and 0 <= place < len(urls):
                urls.pop(place)
            who_is_told.save(self._contacts_file, who_is_told.read(fresh))
        except HubError as fault:
            return False, str(fault)
        return True, "Saved."

    def try_alarm(self) -> tuple[bool, str]:
        """Send the alarm test."""
        if self.delivery is None:
            return False, "This hub tells nobody's phone (a demo)."
        return self.delivery.test()

    def heard(self, code: str | None) -> bool:
        """Somebody heard the alarm: at the page (None), or by the test's own link."""
        return self.delivery is not None and self.delivery.heard(code)

    def account(self, data: dict[str, Any]) -> tuple[bool, str]:
        """Add a person (`add` name, `role`) or take one away (`remove` name); a new code is told once, here."""
        if self._accounts is None:
            return False, "Accounts begin with `fiftyover setup` on the hub."
        try:
            if isinstance(data.get("add"), str):
                code = people.add(self._accounts, data["add"].strip(), str(data.get("role", "")))
                return True, f"The code of {data['add'].strip()} is {code}. Write it down: it is not shown again."
            people.remove(self._accounts, str(data.get("remove", "")))
            self.forget(str(data.get("remove", "")))
        except HubError as fault:
            text = str(fault)
            return False, text[0].upper() + text[1:] + ("" if text.endswith(".") else ".")
        return True, "Removed."


class _Told(Notebook):
    """What was told lies in one file; the batch's record hears of its alarm test."""

    def __init__(self, hub: Hub, file: Path) -> None:
        self._hub = hub
        self._file = file

    def load(self) -> dict[str, Any]:
        try:
            kept = json.loads(self._file.read_text("utf-8"))
        except (OSError, ValueError):
            return {}
        return kept if isinstance(kept, dict) else {}

    def save(self, kept: Mapping[str, Any]) -> None:
        with contextlib.suppress(OSError):
            write_secret(self._file, json.dumps(kept) + "\n")

    def tested(self, told: str) -> None:
        self._hub.note_test(told)
