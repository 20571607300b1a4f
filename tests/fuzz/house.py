"""A whole hub in this process for the fuzzers: no broker, no socket; time goes on by a second with each message."""

import asyncio
import json
import logging
import queue
import tempfile
from pathlib import Path

from fiftyover.app import desk_kit, desk_plan
from fiftyover.app.desk import HubDesk
from fiftyover.app.hub import Hub
from fiftyover.app.parts import Parts
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker.notes import Counters, Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.entry import Entry
from fiftyover.web.live import Live
from fiftyover.web.site import application

KIT = "kit-3f2a"
FRESH_AFTER = 2000  # messages or requests: then a new hub, so that a long run stays quick
MADE = {}


def quick(put=setattr):
    """Put stand-ins where a run of many inputs would lose its time; `put` as setattr, or what undoes it afterwards."""
    put(logging.getLogger("fiftyover.hub"), "disabled", True)  # it says what it refuses, which here is much
    put(desk_kit, "square", lambda text: {"side": len(text), "path": ""})  # the same picture each time, slow to make
    put(desk_plan, "practice", lambda data, own, told: desk_plan.sheet(data, own))  # a process of its own, seconds


class Broker:
    """Takes everything."""

    def __init__(self):
        self.taken_over = False
        self.counters = Counters()

    def publish(self, *_, **__):
        return True


class Whole:
    """A hub with a batch in the smoker."""

    def __init__(self):
        self._folder = tempfile.TemporaryDirectory(prefix="fuzz-")
        folder = Path(self._folder.name)
        self.clock = VirtualClock(at_s=5000.0, utc_zero_ms=1_795_600_000_000)
        self.store = Store(folder / "record.sqlite", self.clock, reserve_bytes=0)
        self.live = Live()
        broker = Broker()
        heater = Heater(self.store.hub_id, self.store.run_number, broker.publish)
        parts = Parts(self.clock, self.store, Inbox(self.store, self.clock, {KIT}), broker, heater, self.live, KIT)
        self.hub = Hub(parts, queue.Queue())
        chubs = tuple(Chub(n, "slim", 45.0, f"hook {n}", n) for n in (1, 2))
        self.hub.start_batch(Plan(batch_id="7f2c0001", name="Pork", chubs=chubs, cap_degC=87.8))
        self.desk = HubDesk(self.hub, folder, None, "http://127.0.0.1/")
        self.desk.open_delivery(lambda *_: "")
        self.count = 0

    def hear(self, topic, payload):
        """One message; what the page shows afterwards."""
        self.clock.advance(1.0)
        self.count += 1
        now_s = self.clock.monotonic_s()
        self.hub.step(Message(topic, payload, False, now_s))
        if self.count % 20 == 0:
            self.store.commit()
        self.hub._show(now_s)
        return [json.loads(self.live.latest()[1]), self.desk.kit()]

    def close(self):
        self.store.close()
        self._folder.cleanup()


def hub():
    """The hub of this process."""
    if "hub" not in MADE or MADE["hub"].count > FRESH_AFTER:
        if "hub" in MADE:
            MADE.pop("hub").close()
        MADE["hub"] = Whole()
    return MADE["hub"]


def caller():
    """The application of this process and who calls it."""
    if "caller" not in MADE or MADE["caller"].count > FRESH_AFTER:
        if "caller" in MADE:
            MADE.pop("caller").close()
        MADE["caller"] = Caller()
    return MADE["caller"]


ROLES = {("anna", "right"): "cook", ("bo", "right"): "watcher"}
OPEN = ("/sign-in", "/api/openapi.json", "/api/v1/session", "/static", "/heard/")
WATCHER_MAY = {"stop-heat"}


class Caller:
    """One request a call: JSON {m: method, p: path and query, k: 0 nobody, 1 cook, 2 watcher, t: token, h, b: body}.

    What is no such JSON is itself the body of a mark, sent by the cook.
    """

    def __init__(self):
        self.house = Whole()
        self.entry = Entry(frozenset({"hub.test"}), lambda n, c: ROLES.get((n, c)), self.house.clock.monotonic_s)
        self.app = application(self.house.live, self.house.desk, self.entry)
        self.keys = {1: "", 2: ""}
        self.loop = asyncio.new_event_loop()
        self.marks = []
        mark = self.house.desk.mark

        def counted(kind, data, who):
            self.marks.append((kind, who))
            return mark(kind, data, who)

        self.house.desk.mark = counted
        self.count = 0

    def close(self):
        self.loop.run_until_complete(self.loop.shutdown_default_executor())
        self.loop.close()
        self.house.close()

    def ask(self, data):
        self.count += 1
        self.house.clock.advance(40.0)  # longer than the back-off of a wrong code
        try:
            wish = json.loads(data)
        except (ValueError, RecursionError):
            wish = None
        if not isinstance(wish, dict):
            wish = {"m": "POST", "p": "/mark", "k": 1, "t": 1, "b": data.decode("latin-1")}
        method, path, query, headers, body = self.request(wish)
        self.marks.clear()
        status, answer = self.loop.run_until_complete(self.call(method, path, query, headers, body))
        who = wish.get("k") if wish.get("k") in (1, 2) else 0
        self.judge(wish, who, path, status, answer)

    def request(self, wish):
        method = str(wish.get("m", "GET")).upper()[:10]
        where = str(wish.get("p", "/"))
        # As the server hands it over: percent signs read, and never half of a surrogate pair (uvicorn).
        path, _, query = where.encode("utf-8", "replace").decode().partition("?")
        headers = {"host": "hub.test", "content-type": "application/json"}
        if wish.get("k") in (1, 2):
            key = self.key(wish["k"])
            headers["cookie"] = f"fiftyover_session={key}"
            if wish.get("t"):
                headers["x-fiftyover-token"] = self.entry.session_of(key).token
        for name, value in wish["h"].items() if isinstance(wish.get("h"), dict) else ():
            headers[str(name).lower()] = str(value)
        body = wish.get("b", "")
        raw = body.encode("utf-8", "replace") if isinstance(body, str) else json.dumps(body).encode()
        return method, path if path.startswith("/") else f"/{path}", query, headers, raw

    def key(self, who):
        """The key of the cook (1) or the watcher (2), a new one after a sign-out."""
        if self.entry.session_of(self.keys[who]) is None:
            self.keys[who] = self.entry.sign_in({1: "anna", 2: "bo"}[who], "right", "x")
        return self.keys[who]

    async def call(self, method, path, query, headers, body):
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "scheme": "http", "method": method,
            "path": path, "raw_path": path.encode("utf-8", "replace"), "root_path": "",
            "query_string": query.encode("utf-8", "replace"), "client": ("127.0.0.1", 5), "server": ("hub.test", 80),
            "headers": [(k.encode("latin-1", "replace"), v.encode("latin-1", "replace")) for k, v in headers.items()],
        }  # fmt: skip
        coming = [{"type": "http.request", "body": body, "more_body": False}]
        sent = []

        async def receive():
            return coming.pop(0) if coming else {"type": "http.disconnect"}

        async def send(message):
            sent.append(message)

        await asyncio.wait_for(self.app(scope, receive, send), 20)
        begun = [one for one in sent if one["type"] == "http.response.start"]
        return (
            (begun[0]["status"], {k.decode(): v.decode("latin-1") for k, v in begun[0]["headers"]})
            if begun
            else (0, {})
        )

    def judge(self, wish, who, path, status, answer):
        def promise(kept, what):
            if not kept:
                raise AssertionError(f"{what}: {wish!r} -> {status}")

        promise(status < 500, "a fault of the server")
        if not status:
            return  # a stream whose reader is gone
        promise("default-src 'none'" in answer.get("content-security-policy", ""), "no policy")
        headers = {str(k).lower(): str(v) for k, v in wish["h"].items()} if isinstance(wish.get("h"), dict) else {}
        proved = bool(wish.get("t")) or "x-fiftyover-token" in headers or "authorization" in headers
        if self.marks:
            promise(who and proved, "a mark by nobody, or without the token")
            promise(who == 1 or {kind for kind, _ in self.marks} <= WATCHER_MAY, "a mark that a watcher may not make")
        if not who and status == 200 and "cookie" not in headers and "authorization" not in headers:
            promise(path.startswith(OPEN), "something for nobody")
        if "host" in headers and headers["host"].partition(":")[0].lower() != "hub.test":
            promise(status == 421, "answered under another name")


REST = (
    "$description", "$state", "$alert/cap", "probe-1/temperature", "probe-2/status", "heater/state", "sys/cap",
    "sys/simulated", "sys/rssi", "sys/switchings", "sys/uptime", "frame/sample", "frame/backlog", "sys/relay",
)  # fmt: skip


def description(data):
    """What a kit says of itself, to a whole hub: its description, states, alerts, figures and frames."""
    if not data:
        return
    place = data[0] % (len(REST) + 1)
    rest, payload = (REST[place], data[1:]) if place < len(REST) else (None, data[1:])
    topic = f"homie/5/{KIT}/{rest}" if rest else payload[:80].decode("utf-8", "replace")
    told = hub().hear(topic, payload)
    json.dumps(told, allow_nan=False)  # what the page gets is JSON, with no number that is none


def http(data):
    """One request to the whole application, with or without a key; see `Caller`."""
    caller().ask(data)
