"""The sole publisher of heat: grants with a lifetime, each from a fresh decision, and stops.

A grant is sent only for a decision on a live frame not yet used, at most 5 s old, of the kit's running boot; nothing
here repeats one. A kit under a stop gets no grant until `resume`, whatever decision was on its way when it was given.
Every refusal is a sentence handed back, since the caller's loop has to go on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from fiftyover_kit.contract import limits, messages, topics

from ..store.frames import DatedFrame
from .permits import Numbers

Publish = Callable[[str, bytes, int, bool], bool]  # topic, payload, qos, retain -> taken by the broker

UNREACHED = "not delivered: go to the smoker"
STOP_AGAIN_S = 5.0
CAP_ROUNDING_KELVIN = 0.01
CLOCK_SLACK_S = 1.0  # a frame dated by the running minimum may lie this little ahead of the clock


@dataclass
class Counters:
    """What was sent and what was held back since the start."""

    grants: int = 0
    refused: int = 0
    undelivered: int = 0
    stops: int = 0


@dataclass
class _Kit:
    """What is known of one kit."""

    kit_cap_degC: float | None = None
    process_cap_degC: float | None = None
    boot: str = ""
    decided: dict[str, int] = field(default_factory=dict)  # boot -> newest frame that a decision was sent for
    granted_s: float | None = None
    heard_s: float | None = None
    stopped: bool = False
    stop_sent_s: float | None = None
    stop_seen: bool = False


class Heater:
    """Grants and stops for any number of kits; `publish` hands one message to the broker and says if it was taken."""

    def __init__(self, hub_id: str, run_number: int, publish: Publish) -> None:
        self.hub_id = hub_id
        self.counters = Counters()
        self._numbers = Numbers(run_number)
        self._publish = publish
        self._kits: dict[str, _Kit] = {}

    def new_run(self, run_number: int) -> None:
        """Take a new, larger, committed run number: asked for when the counter of this run is used up."""
        self._numbers.new_run(run_number)

    @property
    def needs_run(self) -> bool:
        """True when this run's numbers are used up and `new_run` is due."""
        return self._numbers.used_up

    def set_caps(
        self, kit: str, kit_cap_degC: float | None = None, process_cap_degC: float | None = None
    ) -> str | None:
        """Note the kit's own limit (its sys/cap) or the batch's process limit; gives `cap_trouble` of what is known."""
        one = self._kit(kit)
        one.kit_cap_degC = one.kit_cap_degC if kit_cap_degC is None else kit_cap_degC
        one.process_cap_degC = one.process_cap_degC if process_cap_degC is None else process_cap_degC
        return self.cap_trouble(kit)

    def cap_trouble(self, kit: str) -> str | None:
        """Say why the two limits forbid heat, or None: the process limit lies 5 °F or more below the kit's own."""
        one = self._kit(kit)
        if one.kit_cap_degC is None:
            return f"kit {kit} has not said its own limit (sys/cap) yet; no heat until it has"
        if one.process_cap_degC is None:
            return f"no smoker limit is set for kit {kit}; start a batch with a plan"
        # The kit says its limit in hundredths: exactly 5 °F apart is enough.
        if one.process_cap_degC <= one.kit_cap_degC - limits.CAP_GAP_KELVIN + CAP_ROUNDING_KELVIN:
            return None
        return (
            f"the smoker limit of {_both(one.process_cap_degC)} must lie 5 °F or more below the cut-off of kit {kit}, "
            f"{_both(one.kit_cap_degC)}: lower the plan's limit, or set the kit's higher over USB"
        )

    def hear(self, frame: DatedFrame, now_s: float) -> None:
        """Note a frame as it comes: a live one shows that the kit is in reach and whether a stop has worked."""
        if not frame.live:
            return
        one = self._kit(frame.kit)
        one.boot, one.heard_s = frame.boot, now_s
        if one.stop_sent_s is not None and frame.at_s >= one.stop_sent_s and not frame.on and frame.duty == 0:
            one.stop_seen = True

    def in_reach(self, kit: str, now_s: float) -> bool:
        """Say whether a live frame of the kit came within the last 5 s."""
        heard_s = self._kit(kit).heard_s
        return heard_s is not None and 0 <= now_s - heard_s <= limits.FRAME_MAX_AGE_S

    def due(self, kit: str, now_s: float) -> bool:
        """Say whether it is time for the next decision: one every 5 s."""
        granted_s = self._kit(kit).granted_s
        return granted_s is None or not 0 <= now_s - granted_s < limits.GRANT_PERIOD_S

    def grant(
        self, kit: str, frame: DatedFrame, duty: float, now_s: float, standby: dict[str, object] | None = None
    ) -> str | None:
        """Send one grant for the decision made on `frame`; None when the broker took it, else why it was not sent.

        `duty` 0..1 (ContractError outside); `now_s` and `frame.at_s` are on the hub's own clock.
        """
        trouble = self._trouble(kit, frame, now_s)
        number = None if trouble else self._numbers.take()
        if trouble or number is None:
            self.counters.refused += 1
            return trouble or "this run of the hub has no permit number left; it takes a new run number"
        message = {"v": limits.V, "hub": self.hub_id, "boot": frame.boot, "seq": number, "up": frame.up_ms}
        message |= {"ttl": limits.TTL_S, "duty": duty} | ({"standby": standby} if standby else {})
        payload = messages.encode_grant(message)
        one = self._kit(kit)
        one.decided = {**dict(list(one.decided.items())[-3:]), frame.boot: frame.seq}
        one.granted_s = now_s
        if not self._publish(topics.grant_set(kit), payload, 0, False):
            self.counters.undelivered += 1
            return f"the grant for kit {kit} was not delivered: no session with the broker"
        self.counters.grants += 1
        return None

    def stop(self, kit: str, boot: str, now_s: float) -> str | None:
        """End heat and keep it off until `resume`; None once on its way, else what the person has to do.

        The caller commits the stop as an event before it confirms it to anybody; `stop_seen` says that it has worked.
        """
        one = self._kit(kit)
        one.stopped, one.stop_seen = True, False
        return self._send_stop(kit, boot or one.boot, now_s)

    def stop_again(self, kit: str, now_s: float) -> str | None:
        """Send an unconfirmed stop once more when 5 s went by; call it as often as you like."""
        one = self._kit(kit)
        if not one.stopped or one.stop_seen:
            return None
        if one.stop_sent_s is not None and 0 <= now_s - one.stop_sent_s < STOP_AGAIN_S:
            return None if self.in_reach(kit, now_s) else UNREACHED
        return self._send_stop(kit, one.boot, now_s)

    def stop_seen(self, kit: str) -> bool:
        """Say whether a live frame read after the stop shows the element off."""
        return self._kit(kit).stop_seen

    def stopped(self, kit: str) -> bool:
        """Say whether the kit is under a stop."""
        return self._kit(kit).stopped

    def resume(self, kit: str) -> None:
        """Let grants through again: a cook resumed heat."""
        one = self._kit(kit)
        one.stopped, one.stop_sent_s, one.stop_seen = False, None, False

    def _send_stop(self, kit: str, boot: str, now_s: float) -> str | None:
        one = self._kit(kit)
        number = self._numbers.take()
        if not boot or number is None:
            self.counters.undelivered += 1
            return UNREACHED
        payload = messages.encode_stop({"v": limits.V, "hub": self.hub_id, "boot": boot, "seq": number})
        one.stop_sent_s = now_s
        self.counters.stops += 1
        if not self._publish(topics.stop_set(kit), payload, 1, False) or not self.in_reach(kit, now_s):
            self.counters.undelivered += 1
            return UNREACHED
        return None

    def _trouble(self, kit: str, frame: DatedFrame, now_s: float) -> str | None:
        """Say why no grant may be sent on this frame now, or None."""
        one = self._kit(kit)
        age_s = now_s - frame.at_s
        if frame.kit != kit or not frame.live:
            return f"a decision for kit {kit} needs a live frame of it"
        if one.stopped:
            return f"heat of kit {kit} is stopped; a cook has to resume it"
        if not -CLOCK_SLACK_S <= age_s <= limits.FRAME_MAX_AGE_S:
            return f"the newest reading of kit {kit} is {age_s:.0f} s old; no heat on readings older than 5 s"
        if frame.seq <= one.decided.get(frame.boot, -1):
            return f"the reading {frame.seq} of kit {kit} was decided on before; each grant needs a newer one"
        return self.cap_trouble(kit)

    def _kit(self, kit: str) -> _Kit:
        return self._kits.setdefault(kit, _Kit())


def _both(degC: float) -> str:
    return f"{degC * 1.8 + 32:.0f} °F ({degC:.1f} °C)"
