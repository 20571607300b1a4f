"""Runs in MicroPython: days of the kit's loop on a virtual clock across the wrap of its ticks.

Called as: micropython -X heapsize=190k soak_kit.py HOURS START_MS
One JSON line a simulated hour: {"hour":, "free": heap after a collection, "on": seconds the relay was on,
"violations": relay on without a permit that could allow it, "wraps":, "seq":}
"""

import gc

room = bytearray(16000)  # as main.py has it: the backlog's room in one piece, before the imports

import json  # noqa: E402
import sys  # noqa: E402

from fiftyover_kit.contract import messages  # noqa: E402
from fiftyover_kit.contract.limits import TICK_MASK, ticks_add, ticks_diff  # noqa: E402
from fiftyover_kit.loop import Kit  # noqa: E402
from fiftyover_kit.settings import load  # noqa: E402

HUB = "c01d0001"
CHANNELS = 3
CODE = 30000  # of 65535: some 45 °C on the divider below


class Board:
    simulated = True
    speed = 1

    def __init__(self):
        self.noise = 1
        self.on = 0

    def read_sum(self, channel, n):
        self.noise = (self.noise * 75 + 74) % 65537
        return n * CODE + (self.noise & 255)

    def relay(self, on, until_ms=0):
        self.on = on

    def feed(self):
        pass

    def button(self):
        return 0

    def sounder(self, on):
        pass

    def lamp(self, code):
        pass

    def boot_id(self):
        return "9f3c1a02b7e4"

    def reset_cause(self):
        return "power-on"

    def heap_free(self):
        return gc.mem_free()

    def rssi(self):
        return None

    def latch_read(self):
        return 0

    def latch_write(self, on):
        pass


def settings():
    curve = {"points": [[0, 353700.0], [50, 33490.0], [100, 5556.0]]}
    channel = {"series_ohm": 22000, "thermistor": curve, "calibrated": True}
    told = {
        "kit": "kit-3f2a",
        "hub": "",
        "relay": "solid-state",
        "wifi": None,
        "broker": {"host": "127.0.0.1", "port": 1883, "user": "", "password": "", "tls": False, "ca": ""},
        "pins": {},
        "channels": [dict(channel, input=n) for n in range(CHANNELS)],
    }
    return load(json.dumps(told))


def main(hours, start_ms):
    global room
    now = start_ms
    board = Board()
    told = settings()
    size = len(room)
    room = None
    gc.collect()
    kit = Kit(told, board, now, size)
    kit.on_link(True, now)
    seq = acked = on_s = violations = wraps = 0
    granted_at, granted = now, False
    for second in range(hours * 3600):
        for _ in range(4):
            before = now
            now = ticks_add(now, 250)
            wraps += now < before
            kit.tick(now)
            if board.on and not (granted and 0 <= ticks_diff(now, granted_at) <= 15250):
                violations += 1
        on_s += board.on
        kit.record(now)
        kit.live()
        # A hub that falls silent for a minute and a half each quarter of an hour, and acknowledges every ten seconds.
        if second % 5 == 0 and second % 900 < 810:
            seq += 1
            grant = {"v": 1, "hub": HUB, "boot": kit.boot, "seq": seq, "up": now & TICK_MASK, "ttl": 15, "duty": 0.6}
            kit.on_message("heater/grant/set", messages.encode_grant(grant), False, now)
            granted_at, granted = now, True
        if second % 10 == 9:
            ack = {"v": 1, "hub": HUB, "boot": kit.boot, "got": [[acked, kit.seq]]}
            kit.on_message("frame/ack/set", messages.encode_ack(ack), False, now)
            acked = kit.seq + 1
        if second % 3600 == 3599:
            kit.homie_values()
            gc.collect()
            line = {"hour": second // 3600 + 1, "free": gc.mem_free(), "on": on_s, "violations": violations}
            line["wraps"] = wraps
            line["seq"] = kit.seq
            line["held"] = len(kit.backlog)
            print(json.dumps(line))


main(int(sys.argv[1]), int(sys.argv[2]))
