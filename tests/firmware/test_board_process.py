"""main.py and board.py themselves, in the real MicroPython, on the stand-in of a board's `machine`."""

import json
import socket
import struct
import time

import pytest

from fiftyover.rehearse.kit_process import KitOptions, KitProcess
from firmware.kit_rig import counts, settings_text

PINS = {"relay": 16, "button": 17, "sounder": 18, "lamp": 19, "adc": [26, 27, 28]}
SPEED = 10


def given(**changed):
    wanted = json.loads(settings_text(**({"pins": PINS} | changed)))
    if "channels" not in changed:
        wanted["channels"] = wanted["channels"][:3]
    wanted["broker"]["port"] = 1  # nobody listens there
    return wanted


class Circuit:
    """A plant that answers the kit's datagrams with fixed codes and notes its pins."""

    def __init__(self, chamber_degC=60.0):
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(5)
        self.port = self._socket.getsockname()[1]
        self.codes = [counts(chamber_degC) // 64, counts(20.0) // 64, counts(20.0) // 64]
        self.pins = {}

    def exchange(self):
        """Hear the kit once, and answer."""
        heard, kit = self._socket.recvfrom(512)
        self.pins.update(zip(heard[::2], heard[1::2], strict=True))
        self._socket.sendto(struct.pack(f"<{len(self.codes)}H", *self.codes), kit)

    def until(self, reached, limit_s=10.0):
        end = time.monotonic() + limit_s
        while not reached(self.pins):
            assert time.monotonic() < end, self.pins
            self.exchange()

    def close(self):
        self._socket.close()


@pytest.fixture
def circuit():
    made = Circuit()
    yield made
    made.close()


@pytest.fixture
def started(micropython, circuit):
    running = []

    def start(**changed):
        kit = KitProcess(KitOptions(given(**changed), circuit.port, speed=SPEED))
        running.append(kit)
        assert kit.runtime == "MicroPython"
        return kit

    yield start
    for kit in running:
        kit.close()


def test_kit_starts_with_the_relay_open_shows_its_beat_and_leaves_with_it_open(started, circuit):
    kit = started()
    kit.start()
    circuit.until(lambda pins: pins.get(PINS["lamp"]) == 1)
    circuit.until(lambda pins: pins.get(PINS["lamp"]) == 0)
    assert circuit.pins[PINS["relay"]] == 0
    assert kit.alive()
    assert kit.stop() == 0
    assert kit.log_tail()[-1] == "Interrupted: the element is off."


def test_chamber_over_the_cap_leaves_the_flag_file_and_a_restart_finds_it(started, circuit):
    circuit.codes[0] = counts(110.0) // 64
    kit = started()
    kit.start()
    flag = kit.folder / "latched"
    end = time.monotonic() + 10
    while not flag.exists():
        assert time.monotonic() < end, kit.log_tail()
        circuit.exchange()
    kit.kill()
    kit.start()
    circuit.until(lambda pins: pins.get(PINS["lamp"]) == 1)
    assert kit.alive()
    assert flag.exists()


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"relay": "ssr"}, "relay is 'ssr'"),
        ({"pins": PINS | {"relay": 15}}, "pins.relay is 15, on this board it must be one of GPIO 0, 1"),
        ({"pins": PINS | {"relay": 17}}, "GPIO17 is used twice"),
        ({"pins": PINS | {"adc": [26, 29]}}, "pins.adc is 29"),
        ({"pins": PINS | {"adc": 26}}, "pins.adc must be a list"),
        ({"pins": PINS | {"adc": [26, 27]}}, "channels[2].input is 2, it must be a whole number 0 to 1"),
        ({"pins": PINS | {"led": 1}}, "'led' is not a key"),
        ({"pins": {key: value for key, value in PINS.items() if key != "button"}}, "'button' is missing"),
    ],
)
def test_settings_that_do_not_fit_are_named_and_the_relay_stays_open(started, circuit, changed, named):
    kit = started(**changed)
    kit.start()
    end = time.monotonic() + 10
    while kit.alive():
        assert time.monotonic() < end
        time.sleep(0.02)
    assert len(kit.log_tail()) == 1
    assert kit.log_tail()[0].startswith("The kit does not start: settings.json: ")
    assert named in kit.log_tail()[0]


# -- the second switch: it stays closed while its pin goes on changing

LIMIT = 20


def beats(circuit, kit_s):
    """How often the limit's pin changed within so many seconds of the kit."""
    changes, last, end = 0, circuit.pins.get(LIMIT), time.monotonic() + kit_s / SPEED
    while time.monotonic() < end:
        circuit.exchange()
        changes += circuit.pins.get(LIMIT) != last
        last = circuit.pins.get(LIMIT)
    return changes


def test_second_switch_hears_no_beat_without_a_permit_nor_over_the_cap(started, circuit):
    kit = started(pins=PINS | {"limit": LIMIT})
    kit.start()
    circuit.until(lambda pins: pins.get(PINS["lamp"]) == 1)
    assert beats(circuit, 20.0) == 0, "boot hold, then no hub: the second switch stays open"
    assert circuit.pins[LIMIT] == 0
    circuit.codes[0] = counts(110.0) // 64
    assert beats(circuit, 20.0) == 0
    assert kit.alive()
