"""The demo's plant on its UDP port, with a socket of the test in the kit's place and a clock that the test turns."""

import socket
import struct

import pytest

from fiftyover.rehearse.fake_board import FakeBoard
from fiftyover.rehearse.plant import Plant
from fiftyover.rehearse.scenario import circuit
from fiftyover.rehearse.wire import PlantServer

RELAY_PIN = 4


class Clock:
    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s


@pytest.fixture
def scene():
    plant = Plant(1, 2, 45.0, 800.0, 82.0, quiet=True)
    board = FakeBoard([circuit()] * 3, noise_kelvin=0.0, read_noise_counts=0.0)
    clock = Clock()
    server = PlantServer(plant, board, 60.0, relay_pin=RELAY_PIN, monotonic_s=clock)
    kit = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    kit.bind(("127.0.0.1", 0))
    kit.settimeout(5.0)
    server.start()
    yield server, clock, kit
    server.stop()
    kit.close()


def told(kit, server, *pins):
    """Send pin levels; return the codes of the answer to them (the relay changed) as a tuple."""
    kit.sendto(bytes(pins), ("127.0.0.1", server.port))
    datagram = kit.recv(512)
    assert len(datagram) == 129, "one length, so that a reader over the ends of datagrams stays in step"
    assert datagram[6:128] == b"\xff" * 122, "no input there"
    return struct.unpack("<3H", datagram[:6]), datagram[128:]


def test_codes_are_those_of_the_chamber_and_the_cores(scene):
    server, _, kit = scene
    codes, button = told(kit, server, RELAY_PIN, 1)
    # 18 degC of the cold smoker and 5 degC of the meat through the divider; a colder thermistor gives more counts.
    ratio = circuit().ratio
    assert codes == pytest.approx([65535 * ratio(18.0), 65535 * ratio(5.0), 65535 * ratio(5.0)], abs=2)
    assert button == b"\x00"


def test_world_runs_at_speed_and_the_relay_of_the_kit_heats_it(scene):
    server, clock, kit = scene
    told(kit, server, RELAY_PIN, 1)
    for _ in range(10):
        clock.now_s += 1.0
        told(kit, server, RELAY_PIN, 0)
        told(kit, server, RELAY_PIN, 1)
    seconds, air_degC, chamber_degC, cores = server.truth()
    assert seconds == pytest.approx(600.0)
    assert air_degC > chamber_degC > 40.0
    assert len(cores) == 2


def test_world_with_the_relay_off_stays_cold(scene):
    server, clock, kit = scene
    told(kit, server, RELAY_PIN, 1)
    told(kit, server, RELAY_PIN, 0)
    clock.now_s += 2.0
    told(kit, server, RELAY_PIN, 1)
    assert server.truth()[0] == pytest.approx(120.0)
    assert server.truth()[1] < 19.0


def test_only_the_relays_pin_is_the_relay_and_the_sounders_is_the_sounder(scene):
    server, _, kit = scene
    server._sounder_pin = 7
    told(kit, server, 9, 1, RELAY_PIN, 1)
    told(kit, server, 9, 1, RELAY_PIN, 0, 7, 1)
    assert [state for _, state in server.board.relay_log] == [1, 0]
    assert server.board.sounder_state == 1


def test_long_sleep_of_the_machine_is_not_made_up(scene):
    server, clock, kit = scene
    told(kit, server, RELAY_PIN, 1)
    clock.now_s += 3600.0
    told(kit, server, RELAY_PIN, 0)
    assert server.truth()[0] == pytest.approx(300.0)


def test_pull_and_door_reach_the_plant(scene):
    server, clock, kit = scene
    told(kit, server, RELAY_PIN, 1)
    server.pull(1)
    for _ in range(10):
        clock.now_s += 2.0
        told(kit, server, RELAY_PIN, 0)
        told(kit, server, RELAY_PIN, 1)
    _, before, _, cores = server.truth()
    assert cores[1] < cores[0] - 3.0
    server.open_door(60.0)
    clock.now_s += 1.0
    told(kit, server, RELAY_PIN, 0)
    assert server.truth()[1] < before - 15.0


def test_pressed_button_is_the_odd_byte_and_a_torn_datagram_does_no_harm(scene):
    server, _, kit = scene
    server.button = 1
    told(kit, server, RELAY_PIN, 1)
    kit.sendto(bytes([RELAY_PIN]), ("127.0.0.1", server.port))
    _, button = told(kit, server, RELAY_PIN, 0)
    assert button == b"\x01"
    assert server.board.relay_log[-1][1] == 0
