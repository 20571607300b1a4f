"""Stands before MicroPython's own `time` in a simulated kit: ticks of a board's period 2^30, scaled, with a start.

  FIFTYOVER_SPEED         the kit's clock runs so many times as fast as real time (default 1)
  FIFTYOVER_TICKS_START   what ticks_ms() begins at (default 0), so that a test can meet the wrap at once

asyncio keeps real time: it takes its ticks from here while they are still the true ones, below. So the link's timers
stay in real seconds, and a task that waits for kit time divides its sleep by `machine.SPEED`.
"""

import os

try:
    import utime as _real
except ImportError:  # CPython: run_cpython.py loads this file under another name
    import time as _real

PERIOD = 1 << 30
SPEED = float(os.getenv("FIFTYOVER_SPEED") or "1")
START = int(os.getenv("FIFTYOVER_TICKS_START") or "0")

if hasattr(_real, "ticks_ms"):
    from utime import *  # noqa: F403

    ticks_ms, ticks_add, ticks_diff = _real.ticks_ms, _real.ticks_add, _real.ticks_diff
    import asyncio.core  # noqa: F401  takes the true ticks

    _real_us = _real.ticks_us
    _since = _real.ticks_diff
else:

    def _real_us():
        return _real.monotonic_ns() // 1000

    def _since(later, earlier):
        return later - earlier


_zero = _real_us()


def _elapsed_us():
    return int(_since(_real_us(), _zero) * SPEED)


def ticks_ms():
    return (START + _elapsed_us() // 1000) & (PERIOD - 1)


def ticks_us():
    return (START * 1000 + _elapsed_us()) & (PERIOD - 1)


ticks_cpu = ticks_us


def ticks_add(ticks, delta):
    return (ticks + delta) & (PERIOD - 1)


def ticks_diff(later, earlier):
    return ((later - earlier + PERIOD // 2) & (PERIOD - 1)) - PERIOD // 2


def sleep(seconds):
    _real.sleep(seconds / SPEED)


def sleep_ms(ms):
    _real.sleep(ms / 1000 / SPEED)


def sleep_us(us):
    _real.sleep(us / 1000000 / SPEED)
