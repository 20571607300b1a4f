"""Stands for a board's `machine` in a simulated kit. The firmware runs unchanged on it; a plant answers over UDP.

Wire protocol between plant (CPython, rehearse/wire.py) and kit (this file), datagrams on 127.0.0.1
---------------------------------------------------------------------------------------------------
The plant binds a UDP port and gives it to the kit's process in FIFTYOVER_PLANT_PORT. The kit sends from a port of its
own; the plant answers to where the last datagram came from.

  kit -> plant   one pair of bytes (pin, level) for every output pin there is, all of them every time: at each change
                 of a level, and as the answer to each datagram of the plant. A pin that is missing is low. The first
                 one, at the start, is empty: it tells the plant the kit's port. Pins are those of settings.json.
  plant -> kit   struct "<nH": the ADC code 0..65535 of input 0, 1, .. n-1, without noise of the converter; at least 4
                 times a second of kit time, in any case again after each change of a relay. One more byte at the end
                 (so an odd length) is the board's button: 1 pressed, 0 not. Each datagram replaces the one before.
                 MicroPython reads on over the ends of datagrams until its buffer is full, so a plant that sends more
                 than one at a time fills up to 64 inputs (65535) and the button: 129 bytes, just the buffer.

Which input is read: ADC(k), k < 26, is input k; ADC(Pin(26 + k)) is input k (RP2 numbering); but if an analogue
multiplexer is fitted (FIFTYOVER_MUX_PINS) it is the one that its select pins say, whatever the ADC.
The converter's noise is added here, a few codes, the same at each start; codes at a rail stay there.

  FIFTYOVER_SPEED         as in time.py; above 20 the watchdog is off
  FIFTYOVER_MUX_PINS      numbers of the select pins, lowest bit first: "10,11,12,13"
  FIFTYOVER_BUTTON_PIN    number of the pin that reads the button of the datagram, pressed = low
  FIFTYOVER_RESET_CAUSE   number that reset_cause() gives (default 1, power on)
  FIFTYOVER_UNIQUE_ID     hex digits of unique_id()
  FIFTYOVER_HARD_TIMER    "1": Timer calls back, from a thread; else it does nothing (the heap of a test is too small)

Without FIFTYOVER_PLANT_PORT every input reads 65535: no probe in any socket.
Exit codes: 70 a watchdog fed late, 71 machine.reset(), 72 machine.soft_reset().
"""

# ruff: noqa: ARG001, ARG002, SIM105  a board's own signatures; MicroPython has no contextlib

import os
import socket
import sys
import time

SPEED = float(os.getenv("FIFTYOVER_SPEED") or "1")
WATCHDOG_SPEED_MAX = 20  # faster, a moment's wait for the processor is seconds of kit time
WATCHDOG_MAX_MS = 8388  # RP2040: MicroPython documentation, machine.WDT
LATE = 70
RESET = 71
SOFT_RESET = 72
PWRON_RESET, HARD_RESET, WDT_RESET, DEEPSLEEP_RESET, SOFT_RESET_CAUSE = 1, 2, 3, 4, 5

_FULL = 65535
_DATAGRAM_BYTES = 129
_NOISE_MASK = 15  # peak to peak, one step of a 12-bit converter
_outputs = {}  # pin number -> level
_mux = [int(pin) for pin in (os.getenv("FIFTYOVER_MUX_PINS") or "").split(",") if pin]
_button_pin = int(os.getenv("FIFTYOVER_BUTTON_PIN") or "-1")


class _Plant:
    """The non-blocking socket to the plant, and what it said last. hear() takes no heap: the guard's tick is there."""

    def __init__(self, port):
        self.said = bytearray(_DATAGRAM_BYTES)
        self.inputs = 0
        self.button = 0
        self._socket = None
        if port:
            self._address = socket.getaddrinfo("127.0.0.1", port)[0][-1]
            self._socket = plug = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            plug.connect(self._address)  # what another plant sends to a kit that had this port before is not for us
            plug.setblocking(False)
            self._read = plug.readinto if hasattr(plug, "readinto") else plug.recv_into  # CPython
            self.tell()

    def tell(self):
        if self._socket is None:
            return
        pairs = bytearray()
        for pin, level in _outputs.items():
            pairs.append(pin)
            pairs.append(level)
        try:
            self._socket.sendto(pairs, self._address)
        except OSError:
            pass  # the plant is gone or its buffer full: the next datagram says it all again

    def hear(self):
        """Take in what came since the last call; the newest counts."""
        length = 0
        try:
            while self._socket is not None:
                count = self._read(self.said)
                if not count:
                    break
                length = count
        except OSError:
            pass  # nothing there, or the plant has gone
        if length:
            self.inputs = length // 2
            if length & 1:
                self.button = self.said[length - 1]
            self.tell()

    def code(self, index):
        return self.said[2 * index] | self.said[2 * index + 1] << 8 if index < self.inputs else _FULL


_plant = _Plant(int(os.getenv("FIFTYOVER_PLANT_PORT") or "0"))


class Pin:
    IN, OUT, OPEN_DRAIN = 0, 1, 2
    PULL_UP, PULL_DOWN = 1, 2

    def __init__(self, number, mode=-1, pull=-1, value=None, drive=0, alt=-1):
        self.number = number
        self.init(mode, pull, value)

    def init(self, mode=-1, pull=-1, value=None):
        self._out = mode in (Pin.OUT, Pin.OPEN_DRAIN)
        if self._out:
            self.value(_outputs.get(self.number, 0) if value is None else value)
        elif mode == Pin.IN and _outputs.pop(self.number, 0):
            _plant.tell()  # let go: what it drove is pulled low

    def value(self, level=None):
        if level is None:
            if self._out:
                return _outputs[self.number]
            if self.number != _button_pin:
                return 1
            _plant.hear()
            return 0 if _plant.button else 1
        level = 1 if level else 0
        changed = _outputs.get(self.number) != level
        _outputs[self.number] = level
        # Select lines of the multiplexer change at every sample: no news to the plant.
        if changed and self.number not in _mux:
            _plant.tell()
        return None

    __call__ = value

    def on(self):
        self.value(1)

    def off(self):
        self.value(0)


class ADC:
    _noise = 1

    def __init__(self, pin, atten=0):
        number = getattr(pin, "number", pin)
        self._input = number - 26 if number >= 26 else number
        self._at = None

    def read_u16(self):
        # The first read after any pause looks for news; the rest of a burst of 64 does not pay for it again.
        index = self._input
        if _mux:
            index = 0
            for bit in range(len(_mux)):
                index |= _outputs.get(_mux[bit], 0) << bit
        now = time.ticks_ms()
        if now != self._at:
            self._at = now
            _plant.hear()
        code = _plant.code(index)
        ADC._noise = (ADC._noise * 75 + 74) % 65537  # Lehmer generator, period 65536
        if code < 64 or code > _FULL - 64:
            return code
        return code + (ADC._noise & _NOISE_MASK) - 8


class WDT:
    def __init__(self, id=0, timeout=5000):
        if timeout > WATCHDOG_MAX_MS:
            raise ValueError("timeout exceeds 8388")
        self._timeout = timeout
        self._fed = time.ticks_ms()

    def feed(self):
        now = time.ticks_ms()
        late = time.ticks_diff(now, self._fed)
        self._fed = now
        if late > self._timeout and SPEED <= WATCHDOG_SPEED_MAX:
            print("watchdog: fed after %d ms, limit %d ms" % (late, self._timeout))
            _leave(LATE)


class Timer:
    ONE_SHOT, PERIODIC = 0, 1

    def __init__(self, id=-1, **settings):
        if id not in (-1,):
            raise ValueError("Timer doesn't exist")

    def init(self, period=1000, callback=None, hard=False, **settings):
        """A thread stands for the interrupt: it runs while the program sleeps in C or spins in Python."""
        if not os.getenv("FIFTYOVER_HARD_TIMER"):
            return
        import _thread

        self._runs = True
        _thread.start_new_thread(self._beat, (period, callback))

    def _beat(self, period, callback):
        while self._runs:
            time.sleep_ms(period)
            callback(self)

    def deinit(self):
        self._runs = False


def _leave(code):
    for pin in _outputs:
        _outputs[pin] = 0  # a reset chip drives nothing
    _plant.tell()
    sys.exit(code)


def reset():
    _leave(RESET)


def soft_reset():
    # Unlike reset(): pins keep their level through a soft reset, so the firmware must have dropped the relay itself.
    sys.exit(SOFT_RESET)


def reset_cause():
    return int(os.getenv("FIFTYOVER_RESET_CAUSE") or "1")


def unique_id():
    digits = os.getenv("FIFTYOVER_UNIQUE_ID") or "e660000000000001"
    return bytes([int(digits[at : at + 2], 16) for at in range(0, len(digits), 2)])
