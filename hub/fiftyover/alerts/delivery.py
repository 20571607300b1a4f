"""Telling people's phones: a thread that looks at what the page shows and sends what the ledger says.

Nothing that keeps anybody safe depends on it: a network may be away. What could not be sent is said on the page.
"""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from .contacts import Contacts
from .ledger import FIRST, Ledger, Tell
from .rules import ACT, Alert

LOG = logging.getLogger("fiftyover.alerts")
LOOK_S = 1.0
TEST_WAIT_S = 120.0
TEST_TEXT = "Alarm test: the smoker will call you like this. Open the page and press “I heard it”"
NOT_HEARD = "The phone has not been heard: answer the alarm test, or stay with the smoker."
TITLES = {ACT: "Smoker: act now"}

# addresses, title, text -> one sentence about what failed, "" when it was handed over
Send = Callable[[Sequence[str], str, str], str]


def send_by_apprise(urls: Sequence[str], title: str, text: str) -> str:
    """Hand a message to every address; the sentence names what to do."""
    try:
        import apprise
    except ImportError:
        return "Telling phones needs one more package: install fiftyover[notify] on the hub, then try again."
    sender = apprise.Apprise()
    for url in urls:
        if not sender.add(url):
            return "One of the addresses is of no kind that can be told: look at it under Settings."
    return "" if sender.notify(body=text, title=title) else "A message could not be handed over: look at its address."


@dataclass(slots=True)
class _Test:
    code: str = ""
    sent_s: float = 0.0
    heard: bool = False


class Delivery:
    """`look` is what the page shows (alarms, whether meat hangs); `tell` puts a standing sentence on the page."""

    def __init__(
        self,
        contacts: Callable[[], Contacts],
        send: Send,
        now_s: Callable[[], float],
        look: Callable[[], tuple[list[Alert], bool]],
        tell: Callable[[str, str | None], None],
        address: str = "",
    ) -> None:
        self._contacts = contacts
        self._send = send
        self._now_s = now_s
        self._look = look
        self._tell = tell
        self._address = address
        self._ledger = Ledger()
        self._test = _Test()
        self._hung = False
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="delivery", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """End; a message that is on its way is not waited for long."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(3.0)

    def test(self) -> tuple[bool, str]:
        """Send the alarm test to the first person; (done, sentence)."""
        contacts = self._contacts()
        if not contacts.first:
            return False, "There is nobody to tell yet: add an address first."
        with self._lock:
            self._test = _Test(secrets.token_urlsafe(16), self._now_s())
            code = self._test.code
        where = f": {self._address}heard/{code}" if self._address else "."
        wrong = self._send(contacts.first, "Smoker: alarm test", TEST_TEXT + where)
        self._tell("delivery", wrong or None)
        return (False, wrong) if wrong else (True, "Sent. Lock the phone and answer it from there.")

    def heard(self, code: str | None = None) -> bool:
        """Somebody heard: of the test's own link (with its code), or a person at the page. False: a wrong code."""
        with self._lock:
            if code is not None and not (self._test.code and secrets.compare_digest(code, self._test.code)):
                return False
            self._test.heard = bool(self._test.code)
            self._ledger.heard()
        return True

    def step(self) -> None:
        """One look: send the alarm test at hanging, tell what is new, say what was not heard."""
        contacts, now_s = self._contacts(), self._now_s()
        alerts, hung = self._look()
        begins, self._hung = hung and not self._hung, hung
        if begins and contacts.first:
            self.test()
        with self._lock:
            told = self._ledger.step(alerts, now_s, contacts.escalate_after_s)
            waiting = bool(self._test.code) and not self._test.heard and now_s - self._test.sent_s >= TEST_WAIT_S
        self._tell("phone", NOT_HEARD if hung and waiting else None)
        for one in told:
            self._deliver(one, contacts)

    def _deliver(self, one: Tell, contacts: Contacts) -> None:
        urls = contacts.first if one.to == FIRST else contacts.second
        if not urls:
            return
        wrong = self._send(urls, TITLES.get(one.priority, "Smoker"), one.text)
        self._tell("delivery", wrong or None)
        if wrong:
            LOG.warning("%s", wrong)

    def _work(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.step()
            except Exception:  # nothing else may suffer from a phone that cannot be reached
                LOG.exception("telling people failed this time")


def alerts_shown(snapshot: dict[str, Any]) -> tuple[list[Alert], bool]:
    """What the page shows, for `Delivery`: its alarms, and whether meat hangs."""
    alerts = [Alert(one["key"], one["priority"], one["text"]) for one in snapshot.get("alarms", [])]
    return alerts, any(chub["state"] in ("hanging", "called", "check") for chub in snapshot.get("chubs", []))
