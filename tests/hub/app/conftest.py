"""A hub with a clock that stands still and a broker that only remembers; the test plays the kit and the threads."""

import queue
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fiftyover.app.hub import Hub
from fiftyover.app.parts import Parts
from fiftyover.batch.plan import Chub, Plan
from fiftyover.broker.notes import Counters, Link, Message
from fiftyover.clock import VirtualClock
from fiftyover.heater import Heater
from fiftyover.ingest import Inbox
from fiftyover.store import Store
from fiftyover.web.live import Live
from fiftyover_kit.contract import messages

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"
ZERO_MS = 1_764_028_800_000  # 2025-11-25 00:00 UTC
LIMIT_DEGC, CUT_OFF_DEGC = 85.0, 95.0


class Broker:
    """What was handed to the broker; `taken` False: there is no session."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes]] = []
        self.taken = True
        self.taken_over = False
        self.counters = Counters()

    def publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        assert not retain
        if self.taken:
            self.sent.append((topic, payload))
        return self.taken

    def grants(self) -> list[dict[str, Any]]:
        return [messages.decode_grant(payload) for topic, payload in self.sent if topic.endswith("heater/grant/set")]

    def stops(self) -> list[dict[str, Any]]:
        return [messages.decode_stop(payload) for topic, payload in self.sent if topic.endswith("heater/stop/set")]

    def acks(self) -> list[dict[str, Any]]:
        return [messages.decode_ack(payload) for topic, payload in self.sent if topic.endswith("frame/ack/set")]


class Rig:
    """A hub, and a kit played by hand: its ticks began at zero with the clock's `began_s`."""

    def __init__(self, path: Path, clock: VirtualClock, kit: str = KIT, began_s: float | None = None, **more: Any):
        self.clock = clock
        self.broker = Broker()
        self.inbox: queue.Queue[Message | Link] = queue.Queue()
        self.store = Store(path, clock, reserve_bytes=0)
        heater = Heater(self.store.hub_id, self.store.run_number, self.broker.publish)
        taken = Inbox(self.store, clock, more.pop("kits", {kit} if kit else None))
        parts = Parts(clock, self.store, taken, self.broker, heater, Live(), kit, **more)  # type: ignore[arg-type]
        self.hub = Hub(parts, self.inbox)
        self.began_s = clock.monotonic_s() if began_s is None else began_s
        self.seq = -1

    def message(self, rest: str, payload: bytes | str, retained: bool = False, kit: str = KIT) -> Message:
        raw = payload.encode() if isinstance(payload, str) else payload
        return Message(f"homie/5/{kit}/{rest}", raw, retained, self.clock.monotonic_s())

    def say(self, rest: str, text: str, kit: str = KIT) -> None:
        """The kit says something of itself, retained."""
        self.hub.step(self.message(rest, text, retained=True, kit=kit))

    def content(self, seq: int, age_s: float = 0.0, **given: Any) -> dict[str, Any]:
        up_ms = round((self.clock.monotonic_s() - age_s - self.began_s) * 1000)
        core = round(20.0 + up_ms / 100_000, 2)  # rises by 0.6 K a minute
        fields = {"t": [60.0, core, core], "s": ["ok"] * 3, "on": 0, "duty": 0.0, "why": "off"}
        return {"seq": seq, "up": up_ms, **fields, **given}

    def sample(self, seq: int | None = None, age_s: float = 0.0, boot: str = BOOT, **given: Any) -> bytes:
        """A live frame as bytes; the next number unless one is given, read `age_s` ago."""
        self.seq = self.seq + 1 if seq is None else seq
        raw = {"v": 1, "boot": boot, "left": 0, "thinned": 0, "dropped": 0, **self.content(self.seq, age_s, **given)}
        return messages.encode_frame(raw)

    def live(self, **given: Any) -> None:
        """The hub takes one live frame."""
        self.hub.step(self.message("frame/sample", self.sample(**given)))

    def run(self, seconds: int, **given: Any) -> None:
        """One frame a second, each a second later than the one before."""
        for _ in range(seconds):
            self.clock.advance(1.0)
            self.live(**given)

    def shown(self) -> dict[str, Any]:
        """What the page shows now."""
        self.hub._show(self.clock.monotonic_s())
        import json

        return json.loads(self.hub.parts.live.latest()[1])

    def told(self) -> str:
        """All alarms as one text."""
        return " | ".join(alarm["text"] for alarm in self.shown()["alarms"])

    def die(self) -> None:
        """A kill: nothing more is written, and the file's lock goes with the process."""
        self.store._lock.release()
        self.store.reader.close()
        if self.store._connection is not None:
            self.store._connection.close()


MakeRig = Callable[..., Rig]


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(at_s=5000.0, utc_zero_ms=ZERO_MS)


@pytest.fixture
def make_rig(tmp_path: Path, clock: VirtualClock) -> Iterator[MakeRig]:
    """A hub on the test's record; each later one finds what the earlier left."""
    made: list[Rig] = []

    def make(**options: Any) -> Rig:
        made.append(Rig(tmp_path / "record.sqlite", options.pop("clock", clock), **options))
        return made[-1]

    yield make
    for one in made:
        one.die()


@pytest.fixture
def rig(make_rig: MakeRig) -> Rig:
    """A hub whose kit has said its cut-off."""
    made = make_rig()
    made.say("sys/cap", f"{CUT_OFF_DEGC:.2f}")
    return made


def plan_of(chubs: int = 2, probes: int = 2, **given: Any) -> Plan:
    """Slim chubs, the first `probes` of them with a probe."""
    hung = tuple(Chub(n, "slim", 45.0, f"place {n}", n if n <= probes else None) for n in range(1, chubs + 1))
    return Plan(batch_id="7f2c0001", name="Test batch", chubs=hung, cap_degC=given.pop("cap_degC", LIMIT_DEGC), **given)


@pytest.fixture
def plan() -> Plan:
    return plan_of()


@pytest.fixture(scope="session")
def planned() -> Callable[..., Plan]:
    """Make other plans."""
    return plan_of


@pytest.fixture
def cooking(rig: Rig, plan: Plan) -> Rig:
    """The same with two chubs hung."""
    rig.hub.start_batch(plan)
    return rig
