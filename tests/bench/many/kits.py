"""Simulated kits by the hundred: python kits.py CONFIG.json; commands and answers are lines of JSON.

Each has an MQTT session of its own and speaks the contract as the firmware does: frames at 1 Hz (QoS 1), its properties
retained and at the firmware's pace, permits taken by the contract's rules, frames kept until they are acknowledged and
sent again after ten seconds. Behind each is a small smoker: an element, air, and a core for each probe.
"""

from __future__ import annotations

import json
import math
import random
import select
import selectors
import sys
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from fiftyover_kit.contract import limits, messages, topics
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.link import description

PROBES = 8  # the chamber and seven cores: a kit with a multiplexer
CAP_DEGC = 93.33  # 200 °F
WINDOW_S = 20.0  # of the duty
WATTS, AIR_J_PER_K, LOSS_W_PER_K, MEAT_W_PER_K = 800.0, 7000.0, 6.0, 0.6
CORE_S = 7200.0  # time constant of a core behind the chamber
SLOW_S = 10.0  # temperatures and slow properties go out so often, as `fiftyover_kit.link` has it
CHANGE_S = 1.0


class Smoker:
    """Air and cores; one step a second."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self.air_degC = 12.0 + self._random.uniform(-2.0, 2.0)
        self.yard_degC = self.air_degC
        self.cores_degC = [self._random.uniform(4.0, 7.0) for _ in range(PROBES - 1)]

    def step(self, watts: float, s: float) -> None:
        into_meat = sum(MEAT_W_PER_K * (self.air_degC - core) for core in self.cores_degC)
        losses = LOSS_W_PER_K * (self.air_degC - self.yard_degC)
        self.air_degC += s * (watts - losses - into_meat) / AIR_J_PER_K
        for index, core in enumerate(self.cores_degC):
            self.cores_degC[index] = core + s * (self.air_degC - core) / CORE_S

    def read(self) -> list[float]:
        noise = self._random.gauss
        return [round(degC + noise(0.0, 0.03), 2) for degC in (self.air_degC, *self.cores_degC)]


class Counts:
    """What one kit saw while it was watched."""

    def __init__(self) -> None:
        self.grants_s: list[float] = []  # when each permit was taken
        self.answered_s: list[float] = []  # from publishing the frame that it was decided on
        self.acked_s: list[float] = []  # from publishing a frame to its acknowledgement
        self.expired = 0
        self.refused: dict[str, int] = {}


class Kit:
    """One kit: `tick` once a second, `sock` to be read and written by the loop below."""

    def __init__(self, name: str, secret: str, port: int, seed: int) -> None:
        self.name = name
        self.counts = Counts()
        self.smoker = Smoker(seed)
        self.boot = f"{random.Random(seed + 1_000_000).getrandbits(48):012x}"
        self.seq = -1
        self.kept: dict[int, tuple[dict[str, Any], float]] = {}  # seq -> content, when it was last sent
        self.first_sent_s: dict[int, float] = {}
        self.published_s: dict[int, float] = {}  # up -> when
        self.again = 0  # frames sent again
        self.recording = True
        self._hub, self._newest, self._until_s, self._duty, self._why = "", -1, -math.inf, 0.0, "off"
        self._on = 0
        self._began_s = time.monotonic() - seed % 97  # each counts its ticks from another moment
        self._values: dict[str, tuple[str, float]] = {}
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=name, clean_session=True, protocol=paho.MQTTv311
        )
        client.username_pw_set(name, secret)
        client.will_set(topics.state(name), topics.STATES[-1], 1, True)
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.max_queued_messages_set(0)
        client.connect("127.0.0.1", port, 60)
        self.sock = client.socket()

    def _on_connect(self, client: paho.Client, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        if reason.is_failure:
            raise SystemExit(f"{self.name} was not let in: {reason}")
        client.subscribe([(topic, 1) for topic in topics.kit_hears(self.name)])
        client.publish(topics.state(self.name), topics.STATES[1], 1, True)
        client.publish(topics.description(self.name), b"".join(description(self.name, PROBES, 1)), 1, True)

    # -- the loop's side

    def read(self) -> None:
        if self._client.loop_read(20) != paho.MQTT_ERR_SUCCESS:
            raise SystemExit(f"{self.name} lost its session")

    def write(self) -> None:
        if self._client.want_write():
            self._client.loop_write()

    def misc(self) -> None:
        self._client.loop_misc()

    def close(self) -> None:
        self._client.disconnect()

    # -- once a second

    def tick(self, now_s: float, s: float) -> None:
        permitted = now_s < self._until_s
        if not permitted and self._why in ("on", "off") and self._until_s > -math.inf:
            self.counts.expired += 1
            self._why = "expired"
        duty = self._duty if permitted else 0.0
        self._on = int(permitted and (now_s % WINDOW_S) / WINDOW_S < duty)
        if permitted:
            self._why = "on" if self._on else "off"
        self.smoker.step(WATTS * self._on, s)
        read = self.smoker.read()
        if self.recording:
            self._frame(now_s, read, duty)
        self._again(now_s)
        self._properties(now_s, read)

    def _frame(self, now_s: float, read: list[float], duty: float) -> None:
        self.seq += 1
        up_ms = int((now_s - self._began_s) * 1000) & limits.TICK_MASK
        content = {"seq": self.seq, "up": up_ms, "t": read, "s": ["ok"] * PROBES}
        content |= {"on": self._on, "duty": round(duty, 4), "why": self._why}
        left_s = max(0, int(self._until_s - now_s)) if self._until_s > -math.inf else 0
        frame = {"v": limits.V, "boot": self.boot, **content, "left": left_s, "thinned": 0, "dropped": 0}
        self.kept[self.seq] = (content, now_s)
        self.first_sent_s[self.seq] = self.published_s[up_ms] = time.monotonic()
        self._client.publish(topics.frame_sample(self.name), messages.encode_frame(frame), 1)
        for old in [up for up, at_s in self.published_s.items() if now_s - at_s > 60.0][:5]:
            del self.published_s[old]

    def _again(self, now_s: float) -> None:
        if not self.kept or now_s - next(iter(self.kept.values()))[1] < limits.RESEND_MS / 1000:
            return
        due = [seq for seq in sorted(self.kept) if now_s - self.kept[seq][1] >= limits.RESEND_MS / 1000]
        lot = due[: limits.BACKLOG_MAX_FRAMES]
        frames = [self.kept[seq][0] for seq in lot]
        for seq in lot:
            self.kept[seq] = (self.kept[seq][0], now_s)
        self.again += len(lot)
        message = {"v": limits.V, "boot": self.boot, "frames": frames}
        self._client.publish(topics.frame_backlog(self.name), messages.encode_backlog(message), 1)

    def _properties(self, now_s: float, read: list[float]) -> None:
        values = {
            "heater/state": (self._why, 0.0),
            "heater/lease": (str(max(0, int(self._until_s - now_s)) if self._until_s > 0 else 0), SLOW_S),
            "heater/armed": ("false", 0.0),
            "heater/door": ("false", 0.0),
            "sys/uptime": (str(int(now_s - self._began_s)), SLOW_S),
            "sys/heap": ("61234", SLOW_S),
            "sys/reset-cause": ("power-on", 0.0),
            "sys/firmware": ("bench", 0.0),
            "sys/cap": (f"{CAP_DEGC:.2f}", 0.0),
            "sys/relay": ("solid-state", 0.0),
            "sys/switchings": (str(self.seq // 20), SLOW_S),
            "sys/simulated": ("true", 0.0),
            "sys/hub": (self._hub, 0.0),
        }
        for index, degC in enumerate(read):
            values[f"probe-{index + 1}/temperature"] = (f"{degC:.2f}", SLOW_S)
            values[f"probe-{index + 1}/status"] = ("ok", 0.0)
        for rest, (text, every_s) in values.items():
            known = self._values.get(rest)
            if known is None or known[0] != text and now_s - known[1] >= every_s:
                self._values[rest] = (text, now_s)
                self._client.publish(f"{topics.ROOT}/{self.name}/{rest}", text, 1, True)

    # -- what the hub says

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        now_s = time.monotonic()
        try:
            if message.topic == topics.ack_set(self.name):
                self._ack(messages.decode_ack(message.payload), now_s)
            elif message.topic == topics.grant_set(self.name):
                self._grant(messages.decode_grant(message.payload), now_s)
            elif message.topic == topics.stop_set(self.name):
                self._stop(messages.decode_stop(message.payload))
        except ContractError as fault:
            self._refuse(str(fault))

    def _refuse(self, why: str) -> None:
        self.counts.refused[why] = self.counts.refused.get(why, 0) + 1

    def _ack(self, ack: dict[str, Any], now_s: float) -> None:
        if ack["boot"] != self.boot or ack["hub"] != (self._hub or ack["hub"]):
            self._refuse("ack of another")
            return
        for first, last in ack["got"]:
            for seq in range(first, last + 1):
                if self.kept.pop(seq, None) is not None:
                    self.counts.acked_s.append(now_s - self.first_sent_s.pop(seq))

    def _grant(self, grant: dict[str, Any], now_s: float) -> None:
        self._hub = self._hub or grant["hub"]
        age_ms = limits.ticks_diff(int((now_s - self._began_s) * 1000), grant["up"])
        if grant["hub"] != self._hub:
            self._refuse("other-hub")
        elif grant["boot"] != self.boot:
            self._refuse("other-boot")
        elif grant["seq"] <= self._newest:
            self._refuse("not-newer")
        elif age_ms < 0:
            self._refuse("from-future")
        elif age_ms >= grant["ttl"] * 1000:
            self._refuse("too-old")
        else:
            self._newest = grant["seq"]
            self._until_s = now_s + grant["ttl"] - age_ms / 1000
            self._duty = grant["duty"]
            self.counts.grants_s.append(now_s)
            self.counts.answered_s.append(now_s - self.published_s.get(grant["up"], math.nan))

    def _stop(self, stop: dict[str, Any]) -> None:
        self._until_s = -math.inf
        self._newest = max(self._newest, stop["seq"])
        self._why = "off"


class Loop:
    """All kits in one thread, each at a moment of its own in the second."""

    def __init__(self, kits: list[Kit], together: bool) -> None:
        self.kits = kits
        self._selector = selectors.DefaultSelector()
        now_s = time.monotonic() + 1.0
        self._due = [now_s + (0.0 if together else index / len(kits)) for index in range(len(kits))]
        self.late_s = 0.0
        for kit in kits:
            self._selector.register(kit.sock, selectors.EVENT_READ, kit)
        self._selector.register(sys.stdin, selectors.EVENT_READ, None)
        self._next = 0

    def run(self) -> None:
        while True:
            wait_s = max(0.0, self._due[self._next] - time.monotonic())
            for key, _ in self._selector.select(wait_s):
                if key.data is None:
                    if not self._command(sys.stdin.readline()):
                        return
                else:
                    key.data.read()
                    key.data.write()
            while self._due[self._next] <= (now_s := time.monotonic()):
                kit = self.kits[self._next]
                self.late_s = max(self.late_s, now_s - self._due[self._next])
                kit.tick(now_s, 1.0)
                kit.write()
                if kit.seq % 10 == 0:
                    kit.misc()
                self._due[self._next] += 1.0
                self._next = (self._next + 1) % len(self.kits)

    def _command(self, line: str) -> bool:
        word = line.strip()
        if word == "watch":
            self.late_s = 0.0
            for kit in self.kits:
                kit.counts = Counts()
        elif word == "quiet":
            for kit in self.kits:
                kit.recording = False
        answer = {"watch": {}, "quiet": {}, "look": self.look, "report": self.report}.get(word)
        if answer is not None:
            sys.stdout.write(json.dumps(answer() if callable(answer) else answer) + "\n")
            sys.stdout.flush()
        return answer is not None

    def look(self) -> dict[str, Any]:
        """How many hold a permit, and how many frames are not acknowledged."""
        now_s = time.monotonic()
        return {
            "permitted": sum(now_s < kit._until_s for kit in self.kits),
            "kept": sum(len(kit.kept) for kit in self.kits),
            "air_degC": sum(kit.smoker.air_degC for kit in self.kits) / len(self.kits),
        }

    def report(self) -> dict[str, Any]:
        """Everything seen since `watch`."""
        counts = [kit.counts for kit in self.kits]
        refused: dict[str, int] = {}
        for one in counts:
            for why, times in one.refused.items():
                refused[why] = refused.get(why, 0) + times
        return {
            "intervals_s": [
                later - earlier
                for one in counts
                for earlier, later in zip(one.grants_s, one.grants_s[1:], strict=False)
            ],
            "answered_s": [s for one in counts for s in one.answered_s],
            "acked_s": [s for one in counts for s in one.acked_s],
            "grants": sum(len(one.grants_s) for one in counts),
            "expired": sum(one.expired for one in counts),
            "refused": refused,
            "again": sum(kit.again for kit in self.kits),
            "late_s": self.late_s,
            "cpu_s": time.process_time(),
            "frames": {f"{kit.name} {kit.boot}": kit.seq + 1 for kit in self.kits},
            "duty": sum(kit._duty for kit in self.kits) / len(self.kits),
            **self.look(),
        }


def main(config: dict[str, Any]) -> None:
    kits = []
    for index, (name, secret) in enumerate(config["kits"]):
        kits.append(Kit(name, secret, config["port"], config["seed"] + index))
        while kits[-1]._client._state != paho._ConnectionState.MQTT_CS_CONNECTED:
            select.select([kits[-1].sock], [], [], 5.0)
            kits[-1].read()
        kits[-1].write()
    sys.stdout.write(json.dumps({"connected": len(kits)}) + "\n")
    sys.stdout.flush()
    Loop(kits, config["together"]).run()
    for kit in kits:
        kit.close()


if __name__ == "__main__":
    main(json.loads(Path(sys.argv[1]).read_text("utf-8")))
