"""A board that is a circuit on paper: the same methods as `fiftyover_kit.board`, no hardware.

What it emulates is the circuit, not the call: a true temperature becomes the thermistor's ohms, these and the series
resistor a voltage ratio, and that a 16-bit reading with noise. So whoever uses it runs the real conversions, bands and
fault detection. Faults are made where they happen: `lead_open`, `lead_short`, `freeze` (the converter repeats itself),
`drift`, `weld_relay`, `burn_out_element`, each undone by `mend`.

Every change of the relay is recorded as (ms, 0 or 1) in `relay_log`; `expect_relay` holds a sequence against it.
Nothing is kept on the class: two boards know nothing of each other. Time is set from outside (`now_ms`).

    board = FakeBoard([Circuit(22000.0, thermistor)], seed=1)
    board.true_degC[0] = 60.0
    board.read_sum(0, 64)
"""

import random
from collections.abc import Sequence
from typing import Protocol

from fiftyover_kit.contract.limits import TICK_MASK, WATCHDOG_MS

FULL_SCALE = 65535
READ_NOISE_COUNTS = 19.0  # one read: 1.2 of 4096 steps, as measured for on-chip converters (our thermistor study)
GRID_PER_KELVIN = 10
GRID_FROM_DEGC = -60
GRID_TO_DEGC = 260


class Curve(Protocol):
    """Anything with the resistance of a thermistor."""

    def ohms(self, degC: float) -> float:
        """Return the resistance at a temperature."""


class Circuit:
    """One divider: a series resistor to the reference, the thermistor to ground."""

    def __init__(self, series_ohm: float, thermistor: Curve) -> None:
        self.series_ohm = series_ohm
        grid = range(GRID_FROM_DEGC * GRID_PER_KELVIN, GRID_TO_DEGC * GRID_PER_KELVIN + 1)
        ohms = [thermistor.ohms(step / GRID_PER_KELVIN) for step in grid]
        # The ratio on a grid of 0.1 K; straight lines between are within 1e-6 of it and ten times as quick.
        self._ratios = [r / (r + series_ohm) for r in ohms]

    def ratio(self, degC: float) -> float:
        """Return the share of the reference voltage over the thermistor, 0..1."""
        place = (degC - GRID_FROM_DEGC) * GRID_PER_KELVIN
        ratios = self._ratios
        if place <= 0.0:
            return ratios[0]
        below = int(place)
        if below >= len(ratios) - 1:
            return ratios[-1]
        low = ratios[below]
        return low + (ratios[below + 1] - low) * (place - below)


class FakeBoard:
    """A board without hardware; see the module's docstring.

    Parameters
    ----------
    circuits : one for each channel, channel 0 being the chamber
    seed : of the noise and of the boot id
    noise_kelvin : what flutters at the probe itself, per reading
    read_noise_counts : of one read of the converter
    """

    def __init__(
        self,
        circuits: Sequence[Circuit],
        seed: int = 0,
        noise_kelvin: float = 0.06,
        read_noise_counts: float = READ_NOISE_COUNTS,
    ) -> None:
        self._circuits = list(circuits)
        self._random = random.Random(f"board {seed}")
        self._gauss = self._random.gauss
        self._noise_kelvin = noise_kelvin
        self._read_noise = read_noise_counts
        count = len(self._circuits)
        self.true_degC = [20.0] * count
        self._fault: list[tuple[str, float, float] | None] = [None] * count
        self.simulated = True
        self.now_ms = 0
        self.relay_state = 0
        self.relay_log: list[tuple[int, int]] = []
        self.sounder_state = 0
        self.lamp_code = 0
        self.button_down = 0
        self.late_feeds = 0
        self._fed_ms: int | None = None
        self._welded = False
        self._burnt_out = False
        self._latch = 0
        self._boot = f"{self._random.getrandbits(48):012x}"
        self._cause = "power-on"

    # -- what the firmware calls

    def read_sum(self, channel: int, n: int) -> int:
        """Return the sum of n reads, 0..65535 each."""
        degC = self.true_degC[channel]
        fault = self._fault[channel]
        if fault is not None:
            kind, value, since_ms = fault
            if kind == "open":
                return FULL_SCALE * n - self._random.randrange(8 * n)
            if kind == "short":
                return self._random.randrange(8 * n)
            if kind == "frozen":
                return int(value * n)
            degC += value * (self.now_ms - since_ms) / 3.6e6
        ratio = self._circuits[channel].ratio(degC + self._gauss(0.0, self._noise_kelvin))
        total = int(n * FULL_SCALE * ratio + self._gauss(0.0, self._read_noise) * n**0.5 + 0.5)
        return min(max(total, 0), FULL_SCALE * n)

    def relay(self, on: int, until_ms: int = 0) -> None:  # noqa: ARG002  a hard timer is the board's
        """Drive the relay's pin."""
        if on != self.relay_state:
            self.relay_state = 1 if on else 0
            self.relay_log.append((self.now_ms, self.relay_state))

    def feed(self) -> None:
        """Feed the watchdog; late ones are counted, for this board does not reset."""
        if self._fed_ms is not None and self.now_ms - self._fed_ms > WATCHDOG_MS:
            self.late_feeds += 1
        self._fed_ms = self.now_ms

    def ticks_ms(self) -> int:
        """Return the milliseconds since start, masked as on a board."""
        return self.now_ms & TICK_MASK

    def button(self) -> int:
        """Return 1 while the button is held."""
        return self.button_down

    def sounder(self, on: int) -> None:
        """Drive the sounder."""
        self.sounder_state = 1 if on else 0

    def lamp(self, code: int) -> None:
        """Show a code."""
        self.lamp_code = code

    def boot_id(self) -> str:
        """Return 12 hex digits, new at each start."""
        return self._boot

    def reset_cause(self) -> str:
        """Return why the board started."""
        return self._cause

    def heap_free(self) -> int:
        """Return a heap that never runs short."""
        return 100_000

    def rssi(self) -> int | None:
        """Return the radio's signal: this board has none."""
        return None

    def latch_read(self) -> int:
        """Return the flag that survives a restart."""
        return self._latch

    def latch_write(self, on: int) -> None:
        """Keep a flag over a restart."""
        self._latch = 1 if on else 0

    def wifi_start(self, ssid: str, password: str) -> None:
        """Do nothing: the link is always there."""

    def wifi_up(self) -> int:
        """Return that the link is there."""
        return 1

    def soft_reset_safe(self) -> None:
        """Drop the relay, as every way out must."""
        self.relay(0)

    # -- what the rehearsal does to it

    @property
    def element_on(self) -> bool:
        """Whether current flows: what the relay says, unless it is welded or the element burnt out."""
        return not self._burnt_out and (self._welded or self.relay_state == 1)

    def lead_open(self, channel: int) -> None:
        """Break a probe's lead."""
        self._fault[channel] = ("open", 0.0, 0.0)

    def lead_short(self, channel: int) -> None:
        """Short a probe's lead."""
        self._fault[channel] = ("short", 0.0, 0.0)

    def freeze(self, channel: int) -> None:
        """Let the converter repeat its present value for ever, without noise."""
        self._fault[channel] = None
        self._fault[channel] = ("frozen", self.read_sum(channel, 64) // 64, 0.0)

    def drift(self, channel: int, kelvin_per_h: float) -> None:
        """Let a probe read hotter (or, if negative, colder) by so much each hour from now."""
        self._fault[channel] = ("drift", kelvin_per_h, self.now_ms)

    def weld_relay(self) -> None:
        """Weld the contact: the element stays on whatever the pin says."""
        self._welded = True

    def burn_out_element(self) -> None:
        """Break the element: it stays cold."""
        self._burnt_out = True

    def mend(self) -> None:
        """Undo every fault."""
        self._fault = [None] * len(self._circuits)
        self._welded = self._burnt_out = False

    def restart(self, cause: str) -> None:
        """Start again: relay low, a new boot id, the latch kept."""
        self.relay(0)
        self._boot = f"{self._random.getrandbits(48):012x}"
        self._cause = cause
        self._fed_ms = None

    def expect_relay(self, changes: Sequence[tuple[int, int]], within_ms: int = 0) -> None:
        """Hold the recorded relay changes against (ms, state) pairs.

        Raises
        ------
        AssertionError
            Saying the first difference.
        """
        for index, (wanted, seen) in enumerate(zip(changes, self.relay_log, strict=False)):
            if wanted[1] != seen[1] or abs(wanted[0] - seen[0]) > within_ms:
                raise AssertionError(f"Relay change {index}: expected {wanted} within {within_ms} ms, saw {seen}.")
        if len(changes) != len(self.relay_log):
            raise AssertionError(f"Expected {len(changes)} relay changes, saw {len(self.relay_log)}.")
