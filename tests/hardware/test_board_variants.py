"""board.py wired as each settings example says, on a stand-in `machine`: known resistors, limit pin, converters."""

import importlib
import json
import sys
import types

import pytest

from fiftyover_kit import settings as kit_settings
from fiftyover_kit.contract.limits import WHY
from fiftyover_kit.settings import KitError
from hardware.test_drawings import HARDWARE, tables

FULL = 65535
PROBES = (1, 2, 3, 4, 5, 6, 7, 9)  # addresses of the multiplexer; 10 to 14 are at ground


class Pin:
    IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 1, 2
    levels = {}

    def __init__(self, number, mode=0, pull=0, value=None):
        self.number = number
        if value is not None:
            Pin.levels[number] = value

    def value(self, level=None):
        if level is None:
            return Pin.levels.get(self.number, 1)
        Pin.levels[self.number] = level
        return None


class ADC:
    ATTN_11DB = 3
    shares = {}  # input address -> share of the supply
    stuck = {}  # select pin -> level it really has

    def __init__(self, pin, atten=0):
        self.pin = pin

    def read_u16(self):
        select = [10, 11, 12, 13]
        levels = [ADC.stuck.get(pin, Pin.levels.get(pin, 0)) for pin in select]
        address = sum(level << bit for bit, level in enumerate(levels))
        return int(ADC.shares.get(address, 0.0) * FULL)


class Bus:
    codes = {}
    broken = False

    def __init__(self, scl, sda, freq, timeout):
        assert (sda.number, scl.number) == (21, 22)

    def writeto(self, address, data):
        if Bus.broken:
            raise OSError(110)
        if data[0] == 1:
            self.at = (address, (data[1] >> 4) & 3)

    def readfrom_into(self, address, into):
        code = Bus.codes.get(self.at, 0)
        into[0], into[1] = code >> 8, code & 255


@pytest.fixture
def board(monkeypatch):
    machine = types.ModuleType("machine")
    machine.Pin, machine.ADC, machine.SoftI2C, machine.WDT = Pin, ADC, Bus, object
    machine.PWRON_RESET, machine.WDT_RESET = 1, 3
    Pin.levels, ADC.stuck, Bus.broken, Bus.codes = {}, {}, False, {}
    ADC.shares = dict.fromkeys(PROBES, 0.6) | {0: 0.5, 8: 0.254, 15: 0.756}
    monkeypatch.setitem(sys.modules, "machine", machine)
    import time

    monkeypatch.setattr(time, "sleep_us", lambda us: None, raising=False)

    def make(variant, **pins):
        monkeypatch.setattr(sys, "platform", "esp32" if variant == "esp32" else "rp2")
        given = json.loads((HARDWARE / "settings" / f"{variant}.json").read_text("utf-8"))
        given["pins"] |= pins
        sys.modules.pop("fiftyover_kit.board", None)
        module = importlib.import_module("fiftyover_kit.board")
        return module.Board(kit_settings.load(json.dumps(given)))

    yield make
    sys.modules.pop("fiftyover_kit.board", None)


@pytest.mark.parametrize("variant", tables.KITS)
def test_firmware_takes_the_settings_of_each_kit(board, variant):
    assert board(variant).read_sum(0, 64) >= 0


def test_mux_kit_reads_each_probe_at_its_own_address(board):
    made = board("mux")
    ADC.shares |= {address: 0.1 * (at + 1) for at, address in enumerate(PROBES)}
    for channel in range(8):
        assert made.read_sum(channel, 64) == pytest.approx(64 * FULL * 0.1 * (channel + 1), rel=1e-3)


@pytest.mark.parametrize("pin", [10, 11, 12, 13])
@pytest.mark.parametrize("level", [0, 1])
def test_a_select_line_stuck_either_way_makes_every_probe_read_short(board, pin, level):
    made = board("mux")
    assert made.read_sum(0, 64) > 0
    ADC.stuck = {pin: level}
    assert made.read_sum(0, 64) == 0
    assert made.read_sum(5, 64) == 0
    ADC.stuck = {}
    assert made.read_sum(0, 64) > 0
    assert made.read_sum(5, 64) > 0


def test_limit_pin_changes_at_every_tick_only_while_heat_is_permitted(board):
    made = board("mux")

    def levels(reason, ticks=8):
        seen = []
        for _ in range(ticks):
            made.lamp(WHY.index(reason))
            seen.append(Pin.levels[20])
        return seen

    for reason in ("on", "off", "standby"):
        seen = levels(reason)
        assert all(a != b for a, b in zip(seen, seen[1:], strict=False)), reason
    for reason in ("cap", "probe-fault", "latched", "expired", "link-lost", "door", "boot-hold", "refused"):
        seen = levels(reason)
        assert len(set(seen)) == 1, reason
    made.soft_reset_safe()
    assert Pin.levels[20] == 0
    assert Pin.levels[16] == 0


def test_esp32_kit_reads_probes_beside_the_supply_and_a_dead_bus_as_short(board):
    made = board("esp32")
    Bus.codes = {(72, 3): 26400, (72, 0): 13200, (73, 3): 26000, (73, 2): 6500}
    assert made.read_sum(0, 64) == pytest.approx(64 * FULL / 2, rel=1e-5)
    assert made.read_sum(5, 64) == pytest.approx(64 * FULL / 4, rel=1e-5)
    Bus.broken = True
    assert made.read_sum(0, 64) == 0


def test_the_converters_own_error_is_taken_out_of_every_sum(board):
    made = board("direct")
    ADC.shares = {0: 0.5}
    plain = made.read_sum(0, 64)
    made._gain, made._offset = sys.modules["fiftyover_kit.board"].correction(4000, -2500)
    assert made.read_sum(0, 64) == pytest.approx(plain * 1.004 - 64 * FULL * 0.0025, abs=64)


@pytest.mark.parametrize(
    ("variant", "pins", "sentence"),
    [
        ("mux", {"mux_known": [[3, 254]]}, "there sits a known resistor"),
        ("mux", {"mux_known": [[16, 254]]}, "mux_known address"),
        ("mux", {"mux_known": [[8]]}, "must list"),
        ("mux", {"limit": 16}, "GPIO16 is used twice"),
        ("mux", {"limit": 15}, "must be one of GPIO"),
        ("direct", {"mux_known": [[1, 254]]}, "must list"),
        ("direct", {"i2c": [4, 5]}, "left out"),
        ("esp32", {"adc16": [71]}, "adc16"),
        ("esp32", {"adc16": [72]}, "input"),
        ("esp32", {"i2c": [21]}, "must be"),
    ],
)
def test_pins_that_cannot_be_are_refused_by_name(board, variant, pins, sentence):
    with pytest.raises(KitError, match=sentence):
        board(variant, **pins)
