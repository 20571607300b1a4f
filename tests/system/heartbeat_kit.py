"""Runs in MicroPython: the firmware's link beside a 100 ms heartbeat, with a stand-in for the kit's loop.

Called as: micropython heartbeat_kit.py SETTINGS.json   Prints one JSON line a second:
{"gap": longest time between two beats so far in ms, "sessions":, "pushed":, "held":, "thinned":,
"dropped":, "heap": free bytes}
"""

import asyncio
import gc
import json
import sys

from fiftyover_kit import link
from fiftyover_kit.backlog import Backlog
from fiftyover_kit.contract import limits
from fiftyover_kit.contract.messages import decode_ack, encode_frame

BOOT = "9f3c1a02b7e4"
CHANNELS = 9


class Settings:
    def __init__(self, given):
        self.kit = given["kit"]
        self.broker = given["broker"]
        self.wifi = None
        self.channels = [None] * CHANNELS


class Board:
    def ticks_ms(self):
        return link.link_ms()


class Kit:
    """A loop that senses nothing: frames that change, acknowledgements taken, nothing heated."""

    def __init__(self):
        self.boot = BOOT
        self.backlog = Backlog(CHANNELS)
        self.alerts = {"heartbeat": "a test is running"}
        self.seq = 0
        self.ups = 0
        self.grants = []

    def record(self, now_ms):
        wave = self.seq % 40
        self.backlog.push(self.seq, now_ms, [6000 + 15 * wave + n for n in range(CHANNELS)], [0] * CHANNELS, 0, 0, 1)
        self.seq += 1

    def live(self):
        frame = {"v": limits.V, "boot": BOOT, "left": 0}
        frame["thinned"] = self.backlog.thinned
        frame["dropped"] = self.backlog.dropped
        frame.update(self.backlog.newest())
        return encode_frame(frame)

    def homie_values(self):
        values = {"heater/state": "off", "sys/uptime": str(self.seq), "sys/heap": str(gc.mem_free())}
        for n in range(1, CHANNELS + 1):
            values[f"probe-{n}/temperature"] = f"{60 + 0.15 * (self.seq % 40):.2f}"
            values[f"probe-{n}/status"] = "ok"
        return values

    def on_message(self, rest, payload, retained, now_ms):
        if rest == "frame/ack/set" and not retained:
            self.backlog.ack(decode_ack(payload)["got"])
        else:
            self.grants.append((rest, retained))

    def on_link(self, up, now_ms):
        self.ups += up


async def beat(worst):
    last = asyncio.ticks()
    while True:
        await asyncio.sleep_ms(100)
        now = asyncio.ticks()
        worst[0] = max(worst[0], asyncio.ticks_diff(now, last))
        last = now


async def main(path):
    with open(path) as file:
        settings = Settings(json.load(file))
    kit = Kit()
    worst = [0]
    asyncio.create_task(beat(worst))
    asyncio.create_task(link.run(kit, Board(), settings))
    while True:
        kit.record(link.link_ms())
        line = {"gap": worst[0], "sessions": kit.ups, "pushed": kit.seq, "held": len(kit.backlog)}
        line["thinned"] = kit.backlog.thinned
        line["dropped"] = kit.backlog.dropped
        line["grants"] = kit.grants
        line["heap"] = gc.mem_free()
        print("state", json.dumps(line))
        await asyncio.sleep_ms(1000)


asyncio.run(main(sys.argv[1]))
