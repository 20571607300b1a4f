"""The hub inside a rehearsal: frame bytes in, decision, grant bytes out. All its parts are the real ones."""

from collections.abc import Callable

from fiftyover.batch import decide as batch
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Plan
from fiftyover.errors import HubError
from fiftyover.heater import Heater
from fiftyover.store.frames import DatedFrame
from fiftyover_kit.contract import limits, messages

HUB_ID = "hub-rehearsal"
KIT = "kit-rehearsal"
ACK_PERIOD_S = 10.0

Deliver = Callable[[str, bytes], None]  # topic below the kit's own, payload


class HubSide:
    """Decides on every frame, publishes heat through `Heater`, acknowledges; the person's marks come in by `mark`.

    `deliver` takes what is published to the kit; `grants` says whether heat is this hub's at all (a baseline's is not).
    """

    def __init__(self, plan: Plan, kit_cap_degC: float, start_utc_ms: int, deliver: Deliver, *, grants: bool) -> None:
        self.plan = plan
        self.state = batch.new_state(plan)
        self.chamber_degC: float | None = None
        self.reading: batch.Reading | None = None
        self.decision: batch.Decision | None = None
        self.refused: list[str] = []
        self._start_utc_ms = start_utc_ms
        self._deliver = deliver
        self._grants = grants
        self._heater = Heater(HUB_ID, 1, self._publish)
        trouble = self._heater.set_caps(KIT, kit_cap_degC, plan.cap_degC)
        if trouble:
            raise HubError(f"There would be no heat: {trouble}.")
        self._acked_s = 0.0
        self._unacked: tuple[str, int, int] | None = None

    def frame(self, payload: bytes, now_s: float) -> list[Event]:
        """Take one live frame; return what happened by it."""
        frame = messages.decode_frame(payload)
        self._acknowledge(frame["boot"], frame["seq"], now_s)
        degC = frame["t"]
        self.chamber_degC = degC[0]
        self.reading = reading = batch.Reading(
            at_s=now_s,
            utc_ms=self._utc_ms(now_s),
            chamber_degC=degC[0],
            probe_degC=tuple(degC),
            status=tuple(frame["s"]),
            on=frame["on"],
            duty=frame["duty"],
            why=frame["why"],
            seq=frame["seq"],
            boot=frame["boot"],
        )
        self.decision = decision = batch.decide(self.state, reading)
        self.state = decision.state
        if self._grants:
            self._heat(frame, decision, now_s)
        return list(decision.events)

    def mark(self, kind: str, data: dict[str, object], now_s: float) -> list[Event]:
        """Take a person's mark; return what happened by it."""
        decision = batch.on_mark(self.state, kind, data, now_s, self._utc_ms(now_s))
        self.state = decision.state
        return list(decision.events)

    def _heat(self, frame: dict[str, object], decision: batch.Decision, now_s: float) -> None:
        heater = self._heater
        if not decision.heat:
            if not heater.stopped(KIT):
                heater.stop(KIT, str(frame["boot"]), now_s)
            return
        if heater.stopped(KIT):
            heater.resume(KIT)
        if decision.fresh:
            trouble = heater.grant(KIT, self._dated(frame, now_s), decision.duty, now_s)
            if trouble:
                self.refused.append(trouble)

    def _dated(self, frame: dict[str, object], now_s: float) -> DatedFrame:
        words = {key: frame[key] for key in ("boot", "seq", "t", "s", "on", "duty", "why")}
        up_ms, utc_ms = frame["up"], self._utc_ms(now_s)
        return DatedFrame(kit=KIT, up_ms=up_ms, utc_ms=utc_ms, at_s=now_s, live=True, **words)  # type: ignore[arg-type]

    def _acknowledge(self, boot: str, seq: int, now_s: float) -> None:
        first = seq if self._unacked is None or self._unacked[0] != boot else self._unacked[1]
        self._unacked = (boot, first, seq)
        if now_s - self._acked_s >= ACK_PERIOD_S:
            ack = {"v": limits.V, "hub": HUB_ID, "boot": boot, "got": [[first, seq]]}
            self._deliver("frame/ack/set", messages.encode_ack(ack))
            self._acked_s, self._unacked = now_s, None

    def _publish(self, topic: str, payload: bytes, _qos: int, _retain: bool) -> bool:
        self._deliver(topic.split("/", 3)[3], payload)
        return True

    def _utc_ms(self, now_s: float) -> int:
        return self._start_utc_ms + int(now_s * 1000.0)
