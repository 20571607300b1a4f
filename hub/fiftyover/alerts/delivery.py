"""Telling people's phones: a thread that looks at what the page shows and sends what the ledger says.

Nothing that keeps anybody safe depends on it: a network may be away. What could not be sent is said on the page.
"""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple
from urllib.parse import quote, urlsplit

from .contacts import Contacts
from .ledger import FIRST, Ledger, Tell
from .rules import ACT, Alert
from .sounder import OfOne, Sounder

LOG = logging.getLogger("fiftyover.alerts")
LOOK_S = 1.0
TEST_TEXT = "Alarm test: the smoker will call you like this. Press “I heard it”, here or on the page behind this link"
NOT_HEARD = "The phone has not been heard: answer the alarm test from it, locked as it lies, or stay with the smoker."
NOBODY = "Nobody's phone is told of alarms: add an address under Settings, or stay with the smoker."
SENT, NO_ONE, HEARD = "sent", "nobody", "heard"  # of the test, as the batch's record has it

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


def with_buttons(url: str, page: str, answer: str) -> str:
    """An ntfy address with a tap that opens `page` and, with `answer`, a button in the message that answers the test.

    The button works on a locked phone (ntfy's documentation, "HTTP action"). Other kinds of address get the link alone.
    """
    if urlsplit(url).scheme not in ("ntfy", "ntfys") or not page:
        return url
    more = f"click={quote(answer or page, safe='')}"
    if answer:
        more += f"&actions={quote(f'http, I heard it, {answer}, method=POST, clear=true', safe='')}"
    return f"{url}{'&' if '?' in url else '?'}{more}"


@dataclass(slots=True)
class _Test:
    code: str = ""
    heard: bool = False


class Look(NamedTuple):
    """What the page shows: alarms, whether meat hangs, how the alarm test of this batch stands ("" not sent)."""

    alerts: Sequence[Alert]
    hung: bool
    phone: str = ""


class Notebook:
    """Where the ledger outlives the program, and where the batch's record hears of the test. This one forgets."""

    def load(self) -> Mapping[str, Any]:
        """What was kept; empty when there is none or it is damaged."""
        return {}

    def save(self, kept: Mapping[str, Any]) -> None:
        """Keep this; a disk that cannot be written only costs a message told twice."""

    def tested(self, told: str) -> None:
        """The test was sent, there was nobody to send it to, or it was answered."""


class Delivery:
    """`look` is what the page shows (alarms, whether meat hangs); `tell` puts a standing sentence on the page."""

    def __init__(
        self,
        contacts: Callable[[], Contacts],
        send: Send,
        now_s: Callable[[], float],
        look: Callable[[], Look],
        tell: Callable[[str, str | None], None],
        address: str = "",
        notebook: Notebook | None = None,
        sounder: Sounder | OfOne | None = None,
        name: str = "",
    ) -> None:
        """`name`: of the smoker, where there are several."""
        self._contacts = contacts
        self._send = send
        self._now_s = now_s
        self._look = look
        self._tell = tell
        self._address = address
        self._notebook = notebook or Notebook()
        self._sounder = sounder
        self._title = f"Smoker {name}" if name else "Smoker"
        self._ledger = Ledger()
        self._ledger.take_up(self._notebook.load(), now_s())
        self._test = _Test()
        self._hung = False
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="delivery", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def end(self) -> None:
        """Say that it is to end; `stop` waits for it."""
        self._stop.set()

    def stop(self) -> None:
        """End; a message that is on its way is not waited for long."""
        self.end()
        if self._thread.ident is not None:
            self._thread.join(3.0)
        if self._sounder is not None:
            self._sounder.silence()

    def test(self) -> tuple[bool, str]:
        """Send the alarm test to the first person; (done, sentence)."""
        contacts = self._contacts()
        if not contacts.first:
            return False, "There is nobody to tell yet: add an address first."
        with self._lock:
            self._test = _Test(secrets.token_urlsafe(16))
            code = self._test.code
        link = f"{self._address}heard/{code}" if self._address else ""
        urls = [with_buttons(url, self._address, link) for url in contacts.first]
        wrong = self._send(urls, f"{self._title}: alarm test", TEST_TEXT + (f": {link}" if link else "."))
        self._tell("delivery", wrong or None)
        return (False, wrong) if wrong else (True, "Sent. Lock the phone and answer it from there.")

    def heard(self, code: str | None = None) -> bool:
        """Somebody heard: of the test's own link (its code serves once), or a person at the page. False: a wrong code.

        Only the link answers the test: that the page sounds in the kitchen says nothing of the phone in a pocket.
        """
        with self._lock:
            if code is not None and not (self._test.code and secrets.compare_digest(code, self._test.code)):
                return False
            if code is not None:
                self._test = _Test("", heard=True)
            self._ledger.heard()
            kept = self._ledger.kept()
        self._notebook.save(kept)
        if code is not None:
            self._notebook.tested(HEARD)
            self._tell("phone", None)
        return True

    def step(self) -> None:
        """One look: send the alarm test at hanging, tell what is new, say what was not heard."""
        contacts, now_s = self._contacts(), self._now_s()
        alerts, hung, phone = self._look()
        begins, self._hung = hung and not self._hung, hung
        if begins and phone != HEARD:
            self._begin(contacts)
        with self._lock:
            told = self._ledger.step(alerts, now_s, contacts.escalate_after_s)
            loud = self._ledger.unanswered(alerts)
            kept = self._ledger.kept() if told else None
            heard = self._test.heard or phone == HEARD
        self._tell("phone", None if heard or not hung else NOT_HEARD if contacts.first else NOBODY)
        if self._sounder is not None:
            self._sounder.step(loud.text if loud else None, now_s)
        if kept is not None:
            self._notebook.save(kept)
        for one in told:
            self._deliver(one, contacts)

    def _begin(self, contacts: Contacts) -> None:
        """A batch hangs: its alarm test goes out, and what it answered to is another matter than the last one's."""
        with self._lock:
            self._test = _Test()
        self._notebook.tested(SENT if contacts.first else NO_ONE)
        if contacts.first:
            self.test()

    def _deliver(self, one: Tell, contacts: Contacts) -> None:
        urls = contacts.first if one.to == FIRST else contacts.second
        if not urls:
            return
        urls = tuple(with_buttons(url, self._address, "") for url in urls)
        wrong = self._send(urls, f"{self._title}: act now" if one.priority == ACT else self._title, one.text)
        self._tell("delivery", wrong or None)
        if wrong:
            LOG.warning("%s", wrong)

    def _work(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.step()
            except Exception:  # nothing else may suffer from a phone that cannot be reached
                LOG.exception("telling people failed this time")


def alerts_shown(snapshot: Mapping[str, Any]) -> Look:
    """What the page shows, for `Delivery`: its alarms, whether meat hangs, how the alarm test stands."""
    alerts = [Alert(one["key"], one["priority"], one["text"]) for one in snapshot.get("alarms", [])]
    hung = any(chub["state"] in ("hanging", "called", "check") for chub in snapshot.get("chubs", []))
    return Look(alerts, hung, snapshot.get("phone", ""))
