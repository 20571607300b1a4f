"""The kit's arithmetic for converters: exact, within a board's small integers, without heap; and a bus that fails."""

import subprocess
from fractions import Fraction
from pathlib import Path

import pytest

from fiftyover_kit import converter
from fiftyover_kit.converter import CHIP_INPUTS, RAIL_INPUT, RailAdc, corrected, correction, share_sum

FULL_64 = 64 * 65535


@pytest.mark.parametrize("rail", [16000, 26240, 26400, 32767])
def test_share_of_the_supply_is_exact_to_a_part_in_a_million(rail):
    for code in range(0, rail + 1, 37):
        exact = Fraction(code, rail) * FULL_64
        assert abs(share_sum(code, rail, 64) - exact) <= 4


def test_no_supply_or_a_code_below_ground_reads_as_short_and_one_above_as_open():
    assert share_sum(12000, 15999, 64) == 0
    assert share_sum(-3, 26400, 64) == 0
    assert share_sum(26400, 26400, 64) == FULL_64
    assert share_sum(26411, 26400, 64) == FULL_64


def test_fewer_reads_are_a_part_of_64():
    assert share_sum(13200, 26400, 16) == pytest.approx(share_sum(13200, 26400, 64) / 4, abs=16)


@pytest.mark.parametrize("gain_ppm", [-20000, -2500, 0, 1, 3000, 20000])
@pytest.mark.parametrize("offset_ppm", [-20000, 0, 2197, 20000])
def test_correction_is_that_of_real_numbers_to_two_parts_in_a_hundred_thousand(gain_ppm, offset_ppm):
    gain, offset = correction(gain_ppm, offset_ppm)
    for total in range(0, FULL_64 + 1, 99_991):
        exact = total * (1 + Fraction(gain_ppm, 10**6)) + FULL_64 * Fraction(offset_ppm, 10**6)
        wanted = min(FULL_64, max(0, exact))
        assert abs(corrected(total, 64, gain, offset) - wanted) <= 84  # 2e-5 of the whole


def _held(name):
    plain = getattr(int, name)

    def step(self, other):
        found = plain(self, other)
        assert -(2**30) <= found < 2**30, f"{name} of {int(self)} and {int(other)} gives {found}"
        return Small(found)

    return step


class Small(int):
    """A whole number that says so when a step leaves a board's 31 bits."""


for _name in ("add", "radd", "sub", "rsub", "mul", "rmul", "lshift", "rshift", "floordiv"):
    setattr(Small, f"__{_name}__", _held(f"__{_name}__"))


def test_every_step_of_the_arithmetic_is_a_boards_small_integer():
    for code in (0, 1, 15999, 26399, 32766):
        share_sum(Small(code), Small(32767), 64)
    for total in (0, 1, FULL_64 - 1, FULL_64):
        for ppm in (-20000, 20000):
            gain, offset = correction(Small(ppm), Small(ppm))
            corrected(Small(total), 64, Small(gain), Small(offset))
    with pytest.raises(AssertionError, match="lshift"):
        share_sum(Small(70000), Small(80000), 64)


def test_the_arithmetic_takes_no_heap_on_micropython_and_gives_the_same(micropython):
    program = (
        "import micropython\n"
        "from fiftyover_kit.converter import corrected, share_sum\n"
        "def work():\n"
        " micropython.heap_lock()\n"
        " a = share_sum(13207, 26311, 64)\n"
        " b = corrected(a, 64, 2099, -8388)\n"
        " micropython.heap_unlock()\n"
        " print(a, b)\n"
        "work()\n"
    )
    folder = Path(converter.__file__).parents[1]
    ran = subprocess.run(
        [micropython, "-c", program], cwd=folder, capture_output=True, text=True, timeout=20, check=False
    )
    assert ran.stdout.split() == [
        str(n) for n in (share_sum(13207, 26311, 64), corrected(share_sum(13207, 26311, 64), 64, 2099, -8388))
    ], ran.stderr


class Bus:
    """Chips that answer with codes set by hand; `script` notes which input was converted."""

    def __init__(self, codes):
        self.codes = codes
        self.script = []
        self.broken = False
        self._pointer = {}

    def writeto(self, address, data):
        if self.broken or address not in self.codes:
            raise OSError(5)
        if data[0] == 1:
            high, low = data[1], data[2]
            assert high & 0x80  # start
            assert high & 0x40  # against ground
            assert high & 0x0E == 0x02  # +-4.096 V
            assert high & 0x01  # single shot
            assert low == 0xE3  # 860 a second, comparator off
            self._pointer[address] = (high >> 4) & 3
            self.script.append((address, (high >> 4) & 3))

    def readfrom_into(self, address, into):
        code = self.codes[address][self._pointer[address]] & 0xFFFF
        into[0], into[1] = code >> 8, code & 0xFF


@pytest.fixture
def quick(monkeypatch):
    monkeypatch.setattr(converter.time, "sleep_us", lambda us: None, raising=False)


def test_each_input_is_read_beside_the_supply_of_its_own_chip(quick):
    bus = Bus({72: [13200, 6600, 100, 26400], 73: [5000, -2, 20000, 25000]})
    chips = RailAdc(bus, [72, 73])
    assert chips.read_sum(0, 64) == pytest.approx(FULL_64 / 2, abs=4)
    assert chips.read_sum(1, 64) == pytest.approx(FULL_64 / 4, abs=4)
    assert chips.read_sum(CHIP_INPUTS, 64) == pytest.approx(FULL_64 / 5, abs=4)
    assert chips.read_sum(CHIP_INPUTS + 1, 64) == 0
    assert bus.script[:2] == [(72, RAIL_INPUT), (72, 0)]
    assert bus.script[4:6] == [(73, RAIL_INPUT), (73, 0)]


def test_a_bus_that_does_not_answer_is_a_short_and_no_exception(quick):
    bus = Bus({72: [13200, 0, 0, 26400]})
    bus.broken = True
    assert RailAdc(bus, [72]).read_sum(0, 64) == 0
