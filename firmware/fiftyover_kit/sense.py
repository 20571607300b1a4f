"""A probe: integer sums of ADC reads to a status word, and - only for frames - to a temperature.

A sum is 64 reads of 16 bits, 0..4 194 240, thermistor to ground: hotter is fewer counts. All thresholds are turned into
counts once, when the probe is made, so `sample` needs no float and no heap. Faults are values (index in
contract.limits.STATUS), never exceptions:
    short, open   outside 0.5..99.5 % of the supply, at the first sample that shows it
    range         outside -20..150 °C
    jump          more than 15 K from one sample to the next (a bare tip moved from ice into boiling water changes by
                  12 K in the second between two samples of a core; the chamber is read four times a second)
    stuck         not one count of change in 60 s: a living input shows noise even in a bath (64 reads, +- some 10)
    uncalibrated  good, but the settings say that the probe was never calibrated
A fault ends after 8 samples without one, judged by bands drawn in a little: a doubtful contact stays a fault.
"""

from array import array

from .contract import thermistor
from .contract.errors import ContractError
from .contract.limits import (
    CAP_CLEAR_BELOW_KELVIN,
    RANGE_MAX_DEGC,
    RANGE_MIN_DEGC,
    RATIO_OPEN,
    RATIO_SHORT,
    ticks_diff,
)

READS = 64
OK, OPEN, SHORT, RANGE, JUMP, STUCK, UNCALIBRATED = range(7)  # indices in contract.limits.STATUS
SETTLE_SAMPLES = 8
JUMP_CENTIKELVIN = 1500
STUCK_MS = 60000
_INNER_RATIO = 0.002  # how far the bands of open and short are drawn in while a fault lasts
_INNER_KELVIN = 2.0  # and those of the range
_SHIFT = 16  # the table has a node every 2^16 counts: 64 segments
_MASK = (1 << _SHIFT) - 1
_COLDEST, _HOTTEST = -6000, 30000  # centi-degC at the ends of the table
_AVERAGED = 4  # sums in one frame; four still are exact in single precision


def _counts(channel, degC):
    return thermistor.counts_from_degC(channel.thermistor, degC, channel.series_ohm, READS)


def _bands(channel, ratio_in, kelvin_in):
    """(short, hot, cold, open) as rising counts; a reading outside the first and last has no number."""
    short = thermistor.counts_from_ratio(RATIO_SHORT + ratio_in, READS)
    open_ = thermistor.counts_from_ratio(RATIO_OPEN - ratio_in, READS)
    hot = max(short, _counts(channel, RANGE_MAX_DEGC - kelvin_in))
    try:
        cold = min(open_, _counts(channel, RANGE_MIN_DEGC + kelvin_in))
    except ContractError:  # a curve is held to no more than -10..150 °C
        cold = open_
    return short, hot, cold, open_


def guard_limits(channel, cap_degC):
    """(cap, cold, clear) in counts for `guard.new_state`.

    ContractError if the divider cannot tell the cap from a shorted lead (series resistor far too large).
    """
    short, _, cold, open_ = _bands(channel, 0.0, 0.0)
    cap = _counts(channel, cap_degC)
    clear = _counts(channel, cap_degC - CAP_CLEAR_BELOW_KELVIN)
    if not short < cap < clear < cold <= open_:
        raise ContractError(
            f"channel input {channel.input}: {cap_degC} °C cannot be told from a fault with series_ohm "
            f"{channel.series_ohm}; use a resistor near the thermistor's own ohms at 60 °C."
        )
    return cap, cold, clear


def _centi_at(channel, counts):
    try:
        ratio = thermistor.ratio_from_counts(counts, READS)
        degC = channel.thermistor.degC(thermistor.ohms_from_ratio(ratio, channel.series_ohm))
    except ContractError:  # at the very ends, or beyond the curve
        degC = 1000.0 if counts < 32 << _SHIFT else -1000.0
    return max(_COLDEST, min(_HOTTEST, int(degC * 100)))


class Probe:
    """One channel. `sample` on the guard's path; `degC_x100` and `calibrated` outside it."""

    def __init__(self, channel):
        """`channel`: an entry of Settings.channels. ContractError if its curve and divider make no sense."""
        self._channel = channel
        self._good = OK if channel.calibrated else UNCALIBRATED
        self._outer = _bands(channel, 0.0, 0.0)
        self._inner = _bands(channel, _INNER_RATIO, _INNER_KELVIN)
        top = READS * thermistor.READ_FULL_SCALE
        self._table = array("h", [_centi_at(channel, min(top, node << _SHIFT)) for node in range(65)])
        self.status = RANGE  # until the first samples
        self.counts = 0
        self.centi_degC = 0  # of the last sample that had a number; good for slopes, not for frames
        self._fault = RANGE
        self._wait = 1  # the first good sample is believed
        self._known = 0  # 1: centi_degC is that of the sample before
        self._same_at = 0
        self._frozen = 0
        self._total = 0
        self._summed = 0
        self._last = 0

    def sample(self, now_ms, counts):
        """Take one sum of READS reads; the status word's index. No float, no heap."""
        fault = self._look(now_ms, counts)
        self.counts = counts
        if fault != OK:
            self._fault = fault
            self._wait = SETTLE_SAMPLES
        elif self._wait > 0:
            self._wait -= 1
        if self._wait > 0:
            self.status = self._fault
            self._summed = 0
        else:
            self.status = self._good
            if self._summed == 0 or self._summed == _AVERAGED:
                self._total = counts
                self._summed = 1
            else:
                self._total += counts
                self._summed += 1
        return self.status

    def _look(self, now_ms, counts):
        low, hot, cold, high = self._inner if self._wait > 0 else self._outer
        frozen = self._look_frozen(now_ms, counts)
        if low <= counts <= high and hot <= counts <= cold:
            before = self.centi_degC
            at = counts >> _SHIFT
            node = self._table[at]
            # Two bits are let go so that the product of a steep end segment stays a small integer.
            centi = node + (((self._table[at + 1] - node) * ((counts & _MASK) >> 2)) >> (_SHIFT - 2))
            self.centi_degC = centi
            if self._known == 1 and not -JUMP_CENTIKELVIN <= centi - before <= JUMP_CENTIKELVIN:
                return JUMP
            self._known = 1
            return STUCK if frozen else OK
        self._known = 0
        if counts < low:
            return SHORT
        return OPEN if counts > high else RANGE

    def _look_frozen(self, now_ms, counts):
        if counts != self.counts:
            self._same_at = now_ms
            self._frozen = 0
        elif not 0 <= ticks_diff(now_ms, self._same_at) < STUCK_MS:
            self._frozen = 1
        return self._frozen

    def degC_x100(self):
        """Centi-degC of the mean of the last sums, for a frame; None while the probe is at fault. Uses floats."""
        if self.status != self._good:
            return None
        if self._summed == 0:  # a late beat: two frames since the last sample
            return self._last
        ratio = thermistor.ratio_from_counts(self._total, READS * self._summed)
        self._summed = 0
        degC = self._channel.thermistor.degC(thermistor.ohms_from_ratio(ratio, self._channel.series_ohm))
        self._last = int(degC * 100 + (0.5 if degC >= 0 else -0.5))
        return self._last
