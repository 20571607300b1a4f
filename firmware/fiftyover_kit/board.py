"""The hardware: the only file that imports `machine` or `network`. For RP2 (Pico W) and ESP32 boards.

Facts behind it, from emulated boards and the makers' documents: a soft reset leaves a pin as it was, so the relay is
dropped first thing (`make_safe`) and on every way out; GPIO15 of the RP2040 moves by itself when USB starts, so it is
no relay pin; the RP2040's watchdog ends at 8388 ms and cannot be stopped; a Pico W has three free analogue inputs
(GPIO26-28), more go through an analogue multiplexer; the ESP32 measures only with ADC1 (GPIO32-39) while Wi-Fi is on.
settings.json `pins`, numbers of GPIOs: relay, button (to ground), sounder, lamp, adc (a list in which a channel's
`input` counts), and, where fitted: mux (select lines of a multiplexer, lowest bit first; `input` is its address),
mux_known (its inputs with known resistors, [address, thousandths of the supply]: if one reads otherwise, no select line
is trusted and every probe reads 0, "short"), i2c ([sda, scl]) and adc16 (addresses of external converters, see
converter.py), limit (it changes at every guard tick while nothing is wrong; a second switch falls open without that).
"""

import gc
import os
import sys
import time
from array import array

import machine

from .contract.limits import TICK_MASK, WATCHDOG_MS, ticks_diff
from .contract.limits import WHY as _WHY
from .converter import CHIP_INPUTS, RAIL_INPUT, RailAdc, corrected, correction
from .settings import KitError, only, whole

try:
    import network
except ImportError:  # a plain Pico has no radio; a kit on it is still a guard that never heats
    network = None  # type: ignore[assignment]

_PINS = ("relay", "button", "sounder", "lamp", "adc", "mux", "mux_known", "i2c", "adc16", "limit")
_MAY_MISS = ("mux", "mux_known", "i2c", "adc16", "limit")
_OUTPUTS = ("relay", "sounder", "lamp")
_IS_ESP32 = sys.platform == "esp32"
_CHIP = os.uname().machine if hasattr(os, "uname") else ""
_LET_GO_MS = 100  # how often the hard timer looks
# GPIOs that may drive something: none that boots high, straps the chip, or belongs to flash, USB or the radio.
# S3, C3: Espressif's tables of pins (ESP-IDF, GPIO; data sheets); JTAG, UART0 and octal-PSRAM pins are left alone too.
if _IS_ESP32 and "S3" in _CHIP:
    _MAY_DRIVE = [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 21, 38]
    _MAY_MEASURE = [1, 2, 4, 5, 6, 7, 8, 9, 10]
elif _IS_ESP32 and "C3" in _CHIP:
    _MAY_DRIVE = [0, 1, 3, 4, 5, 6, 7, 10]
    _MAY_MEASURE = [0, 1, 3, 4]
elif _IS_ESP32:
    _MAY_DRIVE = [4, 13, 14, 16, 17, 18, 19, 21, 22, 23, 25, 26, 27, 32, 33]
    _MAY_MEASURE = [32, 33, 34, 35, 36, 39]
else:
    _MAY_DRIVE = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16, 17, 18, 19, 20, 21, 22]
    _MAY_MEASURE = [26, 27, 28]
_LATCH_FILE = "latched"  # it being there is the flag: a torn write cannot lose it
_NO_SUCH_FILE = 2  # errno
_KNOWN_OFF_PER_MILLE = 15  # a known resistor may read so far off before the select lines are doubted
_MUX_SETTLE_US = 100  # ten times 100 kohm x 100 pF
_WATCHDOG_REASON = 0x40058008  # RP2040: bit 0 timer, bit 1 forced (RP2040 data sheet, WATCHDOG: REASON)
_CAUSES = {
    machine.PWRON_RESET: "power-on",
    machine.WDT_RESET: "watchdog",
}
# Lamp: guard ticks lit and dark, by the reason. Steady: on. Slow: waiting. Fast: a person is needed.
_STEADY = (_WHY.index("on"), _WHY.index("standby"))
_PULSED = _STEADY + (_WHY.index("off"),)  # the second switch stays closed while the hub asks for no heat
_FAST = (_WHY.index("cap"), _WHY.index("probe-fault"), _WHY.index("latched"))


def make_safe():
    """Let go of every pin that can be the relay's, before settings.json is read: its driver is then pulled low."""
    for number in _MAY_DRIVE:
        machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_DOWN)


def _checked_pins(settings):
    pins = settings.pins
    where = "settings.json: pins"
    only(pins, _PINS, _MAY_MISS, where)
    for name in _OUTPUTS + ("button",):
        _allowed(pins[name], _MAY_DRIVE, f"{where}.{name}")
    for name in ("adc", "mux", "mux_known", "i2c", "adc16"):
        if not isinstance(pins.get(name, []), list):
            raise KitError(f"{where}.{name} must be a list.")
    for number in pins["adc"]:
        _allowed(number, _MAY_MEASURE, where + ".adc")
    mux, i2c = pins.get("mux", []), pins.get("i2c", [])
    free = mux + i2c + ([pins["limit"]] if "limit" in pins else [])
    for number in free:
        _allowed(number, _MAY_DRIVE, where)
    used = [pins[name] for name in _OUTPUTS] + [pins["button"]] + pins["adc"] + free
    for number in used:
        if used.count(number) > 1:
            raise KitError(f"{where}: GPIO{number} is used twice, give each its own.")
    _check_inputs(settings, pins, mux, i2c)
    return pins


def _check_inputs(settings, pins, mux, i2c):
    chips = pins.get("adc16", [])
    if (len(i2c) != 2) if chips else i2c:
        raise KitError("settings.json: pins.i2c must be [sda, scl] if adc16 is given, else left out.")
    for address in chips:
        whole(address, 72, 75, "settings.json: pins.adc16")
    inputs = CHIP_INPUTS * len(chips) or (1 << len(mux) if mux else len(pins["adc"]))
    known = pins.get("mux_known", [])
    for pair in known:
        if not mux or not isinstance(pair, list) or len(pair) != 2:
            raise KitError("settings.json: pins.mux_known must list [address, thousandths of the supply] of the mux.")
        whole(pair[0], 0, inputs - 1, "settings.json: pins.mux_known address")
        whole(pair[1], 20, 980, "settings.json: pins.mux_known thousandths")
    for index, channel in enumerate(settings.channels):
        where = f"settings.json: channels[{index}].input"
        whole(channel.input, 0, inputs - 1, where)
        if channel.input in [pair[0] for pair in known]:
            raise KitError(f"{where} is {channel.input}, there sits a known resistor; take another.")
        if chips and channel.input % CHIP_INPUTS == RAIL_INPUT:
            raise KitError(f"{where} is {channel.input}, that input reads the supply; take another.")


def _allowed(number, numbers, where):
    if isinstance(number, bool) or number not in numbers:
        text = ", ".join([str(one) for one in numbers])
        raise KitError(f"{where} is {number!r}, on this board it must be one of GPIO {text}.")


class Board:
    """One board, wired as `settings.pins` says. KitError if that cannot be."""

    def __init__(self, settings):
        pins = _checked_pins(settings)
        self._relay = machine.Pin(pins["relay"], machine.Pin.OUT, value=0)
        self._sounder = machine.Pin(pins["sounder"], machine.Pin.OUT, value=0)
        self._lamp = machine.Pin(pins["lamp"], machine.Pin.OUT, value=0)
        self._button = machine.Pin(pins["button"], machine.Pin.IN, machine.Pin.PULL_UP)
        self._inputs = [channel.input for channel in settings.channels]
        self._select = [machine.Pin(number, machine.Pin.OUT, value=0) for number in pins.get("mux", [])]
        self._gain, self._offset = correction(settings.converter["gain_ppm"], settings.converter["offset_ppm"])
        self._known = array("i", [number for pair in pins.get("mux_known", []) for number in pair])
        self._lost = 0  # 1: a known resistor was not found at its address
        self._limit = machine.Pin(pins["limit"], machine.Pin.OUT, value=0) if "limit" in pins else None
        self._rail_adc = None
        if pins.get("adc16"):
            sda, scl = [machine.Pin(number) for number in pins["i2c"]]
            self._rail_adc = RailAdc(machine.SoftI2C(scl=scl, sda=sda, freq=400000, timeout=5000), pins["adc16"])
        if _IS_ESP32:
            self._adcs = [machine.ADC(machine.Pin(n), atten=machine.ADC.ATTN_11DB) for n in pins["adc"]]
        else:
            self._adcs = [machine.ADC(machine.Pin(n)) for n in pins["adc"]]
        self._wlan = None
        self._watchdog = None
        self._blink = 0
        self._until = array("i", [0])  # tick at which the hard timer opens the relay
        self._timer = None
        # A simulated kit's `machine` has a clock of its own; a board's has no such name.
        self.simulated = hasattr(machine, "SPEED")
        self.speed = getattr(machine, "SPEED", 1)

    # -- the guard's path: no heap ---------------------------------------------------------------------------

    def read_sum(self, channel, n):
        """Sum of n (at most 64) reads, 0..65535 each, of a channel's input, the converter's own error taken out."""
        number = self._inputs[channel]
        if self._rail_adc is not None:
            return corrected(self._rail_adc.read_sum(number, n), n, self._gain, self._offset)
        adc = self._adcs[0]
        if self._select:
            if channel == 0:
                self._look_for_known(adc)
            if self._lost:
                return 0
            self._point(number)
        else:
            adc = self._adcs[number]
        total = 0
        left = n
        while left > 0:
            total += adc.read_u16()
            left -= 1
        return corrected(total, n, self._gain, self._offset)

    def _look_for_known(self, adc):
        """A broken select line shows another input than was asked for: find the known resistors at their addresses."""
        self._lost = 0
        at = 0
        while at < len(self._known):
            self._point(self._known[at])
            off = (adc.read_u16() * 1000 >> 16) - self._known[at + 1]
            if not -_KNOWN_OFF_PER_MILLE <= off <= _KNOWN_OFF_PER_MILLE:
                self._lost = 1
            at += 2

    def _point(self, number):
        at = 0
        while at < len(self._select):
            self._select[at].value((number >> at) & 1)
            at += 1
        time.sleep_us(_MUX_SETTLE_US)

    def relay(self, on, until_ms):
        """Close (1) or open (0) the relay; closed, it stays so until tick `until_ms` at the longest, come what may."""
        self._until[0] = until_ms
        self._relay.value(on)

    def _let_go(self, timer):  # noqa: ARG002  called by the hard timer, in the middle of anything: no heap here
        if ticks_diff(self.ticks_ms(), self._until[0]) >= 0:
            self._relay.value(0)

    def feed(self):
        """Feed the watchdog, once it runs."""
        if self._watchdog is not None:
            self._watchdog.feed()

    def ticks_ms(self):
        """Milliseconds since some start, of the contract's tick period."""
        return time.ticks_ms() & TICK_MASK  # type: ignore[operator]  # the stubs make ticks no number

    def button(self):
        """1 while the button is pressed."""
        return 0 if self._button.value() else 1

    def sounder(self, on):
        """Sound (1) or be quiet (0)."""
        self._sounder.value(on)

    def lamp(self, code):
        """Show a reason (index in contract.limits.WHY); called at every guard tick."""
        self._blink = (self._blink + 1) & 7
        if self._limit is not None and code in _PULSED:  # else it stands still, and the second switch falls open
            self._limit.value(self._blink & 1)
        if code in _STEADY:
            self._lamp.value(1)
        elif code in _FAST:
            self._lamp.value(self._blink & 1)
        else:
            self._lamp.value(1 if self._blink < 4 else 0)

    # -- beside it -------------------------------------------------------------------------------------------

    def watchdog_start(self):
        """From now on the board resets unless fed within 5 s, which cannot be stopped; and the hard timer looks.

        A TLS step may hold the program for seconds; the timer's interrupt comes through, and opens the relay when the
        guard's word for it has run out.
        """
        self._timer = machine.Timer(0 if _IS_ESP32 else -1)
        try:
            self._timer.init(period=_LET_GO_MS, callback=self._let_go, hard=True)
        except TypeError:  # a port whose timer calls back one way only
            self._timer.init(period=_LET_GO_MS, callback=self._let_go)
        self._watchdog = machine.WDT(timeout=WATCHDOG_MS)

    def boot_id(self):
        """12 hex digits, new at each start."""
        return "".join(["%02x" % byte for byte in os.urandom(6)])

    def reset_cause(self):
        """Why the board started: power-on, watchdog, restart or other."""
        cause = _CAUSES.get(machine.reset_cause(), "other")
        # On the RP2040 machine.reset() too is made by the watchdog; the register tells them apart.
        if cause == "watchdog" and sys.platform == "rp2" and "RP2040" in os.uname().machine:
            return "watchdog" if machine.mem32[_WATCHDOG_REASON] & 1 else "restart"
        return cause

    def heap_free(self):
        """Bytes free; 0 where the interpreter does not tell."""
        return gc.mem_free() if hasattr(gc, "mem_free") else 0

    def rssi(self):
        """Strength of the radio's signal in dBm; None without a link."""
        if self._wlan is None or not self._wlan.isconnected():
            return None
        return self._wlan.status("rssi")

    def latch_read(self):
        """1 if the latch's flag file is there or cannot be looked for, 0 if it surely is not."""
        try:
            os.stat(_LATCH_FILE)
        except OSError as error:
            return 0 if error.args and error.args[0] == _NO_SUCH_FILE else 1
        return 1

    def latch_write(self, on):
        """Make or remove the flag file; OSError if the flash fails. Never while the relay is closed."""
        if on:
            with open(_LATCH_FILE, "w") as file:
                file.write("over the cap\n")
        else:
            os.remove(_LATCH_FILE)

    def wifi_start(self, ssid, password):
        """Begin to join a network; does not wait. Again: drop the old try and begin anew."""
        if network is None:
            return
        if self._wlan is None:
            self._wlan = network.WLAN(network.STA_IF)
            self._wlan.active(True)
            self._wlan.config(pm=network.WLAN.PM_NONE)  # power saving delays messages by up to a second
        else:
            self._wlan.disconnect()
        self._wlan.connect(ssid, password)

    def wifi_up(self):
        """1 while the board has an address."""
        return 1 if self._wlan is not None and self._wlan.isconnected() else 0

    def soft_reset_safe(self):
        """To be called on every way out: the pins outlive the program."""
        if self._timer is not None:
            self._timer.deinit()
        self._relay.value(0)
        self._sounder.value(0)
        if self._limit is not None:
            self._limit.value(0)
