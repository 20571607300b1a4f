"""What a converter's counts become before `sense` has them; integers only and no heap: this is on the guard's path.

`corrected` takes out a converter's own gain and offset (settings.json `converter`).

`RailAdc` is external 16-bit converters on I2C, for boards without a good one of their own. Each chip has four inputs:
0, 1, 2 for probes, 3 wired to the supply of the dividers. A probe's reading is its share of that supply, so neither the
supply nor the chip's reference matters. A setting's `input` is chip x 4 + 0, 1 or 2. Registers, ranges and times are
those of the ADS1115 (TI document SBAS444E): single shot, +-4.096 V, 860 a second. A bus that does not answer is a
reading of 0: "short".
"""

import time

CHIP_INPUTS = 4
RAIL_INPUT = 3
RAIL_MIN_CODE = 16000  # 2.0 V of 125 uV each: below, the supply of the dividers is not there
_CONVERSION, _CONFIG = 0, 1  # registers
_WAIT_US = 1500  # one conversion at 860 a second, 10 % slow, and waking up
_CONFIG_HIGH = 0xC3  # start, input 0 against ground, +-4.096 V, single shot; the input's number goes to bits 4 and 5
_CONFIG_LOW = 0xE3  # 860 a second, comparator off


def correction(gain_ppm, offset_ppm):
    """(gain, offset) for `corrected`: the gain in units of 2^-20, the offset in counts of 64 reads."""
    return gain_ppm * 1049 // 1000, offset_ppm * 4194 // 1000


def corrected(total, n, gain, offset):
    """A sum of n reads (at most 64) with gain and offset taken out, within 0..n x 65535."""
    total += ((total >> 8) * gain >> 12) + offset * n // 64
    if total < 0:
        return 0
    top = 65535 * n
    return top if total > top else total


def share_sum(code, rail_code, n):
    """Sum of n (at most 64) reads 0..65535 that a probe's code has beside the supply's; both 15 bits, 0 if no supply.

    Every intermediate value fits a board's 31-bit small integer.
    """
    if rail_code < RAIL_MIN_CODE or code < 0:
        return 0
    if code >= rail_code:
        return 65535 * n
    scaled = code << 14
    whole = scaled // rail_code
    share = (whole << 8) + ((scaled - whole * rail_code) << 8) // rail_code  # of 2^22
    if n == 64:
        return share - (share >> 16)
    return (share - (share >> 16)) // 64 * n


class RailAdc:
    """The chips on one bus. `read_sum(number, n)` as the board's own; converts the supply, then the probe."""

    def __init__(self, i2c, addresses):
        """`i2c`: a bus with writeto and readfrom_into; `addresses`: 72..75, one for each chip."""
        self._i2c = i2c
        self._addresses = addresses
        self._ask = bytearray(3)
        self._point = bytearray(1)
        self._point[0] = _CONVERSION
        self._got = bytearray(2)

    def read_sum(self, number, n):
        """Sum of n reads 0..65535 of an input (chip x 4 + 0, 1, 2); 0 if the chip does not answer."""
        address = self._addresses[number // CHIP_INPUTS]
        try:
            rail = self._convert(address, RAIL_INPUT)
            code = self._convert(address, number % CHIP_INPUTS)
        except OSError:
            return 0
        return share_sum(code, rail, n)

    def _convert(self, address, which):
        ask = self._ask
        ask[0] = _CONFIG
        ask[1] = _CONFIG_HIGH | which << 4
        ask[2] = _CONFIG_LOW
        self._i2c.writeto(address, ask)
        time.sleep_us(_WAIT_US)  # type: ignore[attr-defined]  # MicroPython's
        self._i2c.writeto(address, self._point)
        self._i2c.readfrom_into(address, self._got)
        code = self._got[0] << 8 | self._got[1]
        return code - 65536 if code > 32767 else code
