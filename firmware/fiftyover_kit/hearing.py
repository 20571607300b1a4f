"""The half of the kit that listens: whose word counts, what it is, and what follows from silence. See loop.py.

It may allocate, is beside the guard's path and can never switch the relay on. It is a class of its own, from which
`loop.Kit` is made, so that no file is too large to be compiled on a board.
"""

from . import guard, standby
from .contract import limits, messages
from .contract.errors import ContractError
from .contract.limits import ticks_diff

_GRANT, _STOP, _ACK = "heater/grant/set", "heater/stop/set", "frame/ack/set"
_SILENT_TEXT = "No hub is heard: the element is off, or held by stand-by if that was armed. Look at the meat."


class Hearing:
    """What a Kit hears of hubs; the attributes that are not set here are Kit's."""

    def _begin_to_hear(self, named_hub, now_ms):
        self._named_hub = named_hub
        board = self._board
        # The link's times are real seconds; a simulated kit may run on a faster clock (board.speed).
        speed = getattr(board, "speed", 1)
        self._silent_ms = int(limits.HUB_SILENT_MS * speed)
        self._standby = standby.new_state(now_ms, int(limits.STANDBY_AFTER_MS * speed))
        self._offered = ""  # hub and batch of the stand-by offered last
        self._armed = 0
        self._chirp = 0  # seconds for which the sounder says "armed"
        self._gone = 0  # 1: silent for 60 s
        self._heard = 1  # 1 heard lately, 0 silent: the sounder, 2 silent and the button was pressed
        self._heard_at = now_ms
        self._other_at = now_ms
        self.binding = named_hub
        self.refused = {}

    def on_link(self, up, _now_ms):
        """The session to the broker is up or down."""
        guard.on_link(self._guard, 1 if up else 0)

    def on_message(self, rest, payload, retained, now_ms):
        """One message; `rest` is the topic below homie/5/<kit>/. Never raises: what is wrong is refused and counted."""
        try:
            if rest == _GRANT:
                self._on_grant(messages.decode_grant(payload), 1 if retained else 0, now_ms)
            elif rest == _STOP:
                self._on_stop(messages.decode_stop(payload), retained, now_ms)
            elif rest == _ACK:
                self._on_ack(messages.decode_ack(payload), retained, now_ms)
            else:
                self._refuse("unreadable")
        except ContractError as error:
            self._refuse(_key_of(str(error)))
            if rest == _GRANT:
                guard.on_refused(self._guard)

    def _on_grant(self, grant, retained, now_ms):
        boot_ok = 1 if grant["boot"] == self.boot else 0
        ours = self._obeys(grant["hub"], retained, now_ms)
        seq = grant["seq"]
        power = int(grant["duty"] * 1000 + 0.5)
        code = guard.on_grant(self._guard, now_ms, boot_ok, ours, retained, seq, grant["up"], grant["ttl"], power)
        if code:
            self._refuse(limits.REFUSALS[code])
        same, centi_degC, limit_s, offered = -1, 0, 0, ""
        if "standby" in grant:
            wish = grant["standby"]
            offered = grant["hub"] + " " + wish["batch"]
            same, centi_degC, limit_s = 1 if offered == self._offered else 0, int(wish["degC"] * 100), wish["s"]
        taken = 0 if code else 1
        if standby.on_grant(
            self._standby, now_ms, boot_ok, ours, retained, seq, taken, same, centi_degC, limit_s, power
        ):
            self._offered = offered

    def _on_stop(self, stop, retained, now_ms):
        ours = self._obeys(stop["hub"], retained, now_ms)
        if guard.on_stop(self._guard, now_ms, 1 if stop["boot"] == self.boot else 0, ours, stop["seq"]):
            standby.on_stop(self._standby)
        else:
            self._refuse("other-hub")

    def _on_ack(self, ack, retained, now_ms):
        if retained:
            self._refuse("retained")
        elif not self._obeys(ack["hub"], retained, now_ms):
            self._refuse("other-hub")
        elif ack["boot"] != self.boot:
            self._refuse("other-boot")
        else:
            self.backlog.ack(ack["got"])

    def _refuse(self, name):
        self.refused[name] = self.refused.get(name, 0) + 1

    def _obeys(self, hub, retained, now_ms):
        """1 if `hub` is the one this kit is bound to. A retained message is no sign of life, and binds to nobody."""
        self._watch_silence(now_ms)
        if self.binding == "" and not retained:
            self.binding = hub
            if not self._offered.startswith(hub + " "):
                standby.on_stop(self._standby)
        if hub != self.binding:
            if not retained:
                self._other_at = now_ms
                self.alerts["other-hub"] = (
                    f"Hub {hub} also sends to this kit, which obeys {self.binding}. Stop it, or set the kit's hub anew."
                )
            return 0
        if not retained:
            self._heard_at = now_ms
            self._gone = 0
            standby.on_heard(self._standby, now_ms)
            if self._heard != 1:
                self._heard = 1
                self._board.sounder(0)
                self.alerts.pop("hub-silent", None)
        return 1

    def _watch_silence(self, now_ms):
        if self._gone == 0 and not 0 <= ticks_diff(now_ms, self._heard_at) < self._silent_ms:
            self._gone = 1
            self.binding = self._named_hub
        armed = standby.is_armed(self._standby)
        if self._heard == 2 and self._armed and not armed:  # its hours are over: the meat is without heat
            self._heard = 1
        self._armed = armed
        if self._heard == 1 and (self._gone or standby.holds(self._standby, now_ms)):
            self._heard = 0
            self._board.sounder(1)
            self.alerts["hub-silent"] = _SILENT_TEXT
        if self._chirp:
            self._chirp -= 1
            if self._chirp == 0 and self._heard:
                self._board.sounder(0)
        if "other-hub" in self.alerts and not 0 <= ticks_diff(now_ms, self._other_at) < self._silent_ms:
            del self.alerts["other-hub"]


def _key_of(text):
    """Which of limits.REFUSALS a contract error is: a grant's two limits that decoding finds already, or the rest."""
    for key in ("ttl", "duty"):
        if f"`{key}` is " in text:
            return key
    return "unreadable"
