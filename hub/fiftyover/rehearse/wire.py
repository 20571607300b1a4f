"""The plant of a demo on a UDP port of this machine, for firmware that runs in a process of its own.

The datagrams are described once, in `unix/machine.py`. Here the plant's world goes on in real seconds times `speed`,
stepped up to the very moment at which a relay pin changes. The converter's own noise is added at the other end, so the
board here should be made with `read_noise_counts=0`.
"""

import math
import socket
import struct
import threading
import time
from collections.abc import Callable

from fiftyover.rehearse.fake_board import FakeBoard
from fiftyover.rehearse.scenario import World

READS = 16
INPUTS, NO_INPUT = 64, 65535
SEND_KIT_S = 0.2  # of kit time: five datagrams a second of it
SEND_REAL_MIN_S = 0.002
CATCH_UP_REAL_S = 5.0  # made up after the machine slept; the rest never happened


class PlantServer:
    """Runs a plant beside a simulated kit until `stop`.

    Parameters
    ----------
    plant : the world; touched only under this object's lock from `start` on
    board : the circuit; its `true_degC`, channel 0 the chamber and k the core of chub k, are kept up to date here
    speed : kit seconds per real second
    relay_pin, sounder_pin : pin numbers of the kit's settings
    monotonic_s : a clock, real seconds
    """

    def __init__(
        self,
        plant: World,
        board: FakeBoard,
        speed: float,
        *,
        relay_pin: int,
        sounder_pin: int | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.plant = plant
        self.board = board
        self.speed = speed
        self.now_s = 0.0
        self.button = 0
        self._relay_pin, self._sounder_pin = relay_pin, sounder_pin
        self._clock_s = monotonic_s
        self._lock = threading.Lock()
        self._kit: tuple[str, int] | None = None
        self._ending = threading.Event()
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(max(SEND_KIT_S / speed, SEND_REAL_MIN_S))
        self._thread = threading.Thread(target=self._serve, name="plant", daemon=True)
        self._at_s = 0.0

    @property
    def port(self) -> int:
        """UDP port for FIFTYOVER_PLANT_PORT."""
        return int(self._socket.getsockname()[1])

    def start(self) -> None:
        """Let time run from now."""
        self._at_s = self._clock_s()
        self._thread.start()

    def stop(self) -> None:
        """End the world and close the port."""
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join()
        self._socket.close()

    def pull(self, index: int) -> None:
        """Take chub `index` (from 0) out."""
        with self._lock:
            self.plant.pull(index)

    def open_door(self, seconds: float) -> None:
        """Open the door for so many kit seconds."""
        with self._lock:
            self.plant.open_door(seconds)

    def truth(self) -> tuple[float, float, float, list[float]]:
        """Return (kit seconds since the start, true air, chamber probe, true cores), all of one moment."""
        with self._lock:
            plant = self.plant
            return self.now_s, float(plant.air_degC), float(plant.chamber_degC), list(plant.core_degC)

    def _serve(self) -> None:
        due_s = self._at_s
        while not self._ending.is_set():
            try:
                pins, self._kit = self._socket.recvfrom(512)
            except TimeoutError:
                pins = b""
            except OSError:  # what the kit's end of loopback says when it is gone
                continue
            now_s = self._clock_s()
            with self._lock:
                self._advance(now_s)
                switched = self._take(pins)
            if switched or now_s >= due_s:
                due_s = now_s + max(SEND_KIT_S / self.speed, SEND_REAL_MIN_S)
                self._send()

    def _advance(self, now_s: float) -> None:
        left_s = min(now_s - self._at_s, CATCH_UP_REAL_S) * self.speed
        self._at_s = now_s
        while left_s > 0.0:
            dt_s = min(left_s, 1.0)
            self.plant.step(dt_s, self.board.element_on)
            self.now_s += dt_s
            left_s -= dt_s
        self.board.now_ms = int(self.now_s * 1000.0)

    def _take(self, pins: bytes) -> bool:
        """Take in pin levels as (pin, level) pairs; whether the relay changed."""
        before = self.board.relay_state
        for pin, level in zip(pins[0::2], pins[1::2], strict=False):
            if pin == self._relay_pin:
                self.board.relay(level)
            elif pin == self._sounder_pin:
                self.board.sounder(level)
        return before != self.board.relay_state

    def _send(self) -> None:
        if self._kit is None:
            return
        degC = self.board.true_degC
        with self._lock:
            degC[0] = self.plant.chamber_degC
            for channel in range(1, len(degC)):
                core = self.plant.core_degC[channel - 1]
                degC[channel] = core if core is not None and math.isfinite(core) else degC[channel]
        codes = [self.board.read_sum(channel, READS) // READS for channel in range(len(degC))]
        codes += [NO_INPUT] * (INPUTS - len(codes))  # always of one length, see unix/machine.py
        datagram = struct.pack(f"<{INPUTS}H", *codes) + (b"\x01" if self.button else b"\x00")
        try:
            self._socket.sendto(datagram, self._kit)
        except OSError:  # the kit is gone; its next datagram says where it is
            self._kit = None
