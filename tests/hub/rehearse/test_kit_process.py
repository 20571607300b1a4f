"""The firmware in a process of its own on the shims: wire protocol, scaled ticks, watchdog, ways out."""

import contextlib
import json
import os
import socket
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fiftyover.errors import HubError
from fiftyover.rehearse import kit_process
from fiftyover.rehearse.kit_process import KitOptions, KitProcess

SHIMS = Path(kit_process.__file__).parent / "unix"
RELAY, BUTTON, SOUNDER, LAMP, MUX = 2, 3, 4, 5, [10, 11]
RELAY_OFF, MILD = 0, 20000


def settings(channels=3):
    curve = {"points": [[0, 32650.0], [50, 3602.0], [100, 678.0]]}
    one = {"series_ohm": 10000, "thermistor": curve, "calibrated": True}
    return {
        "kit": "kit-3f2a",
        "relay": "solid-state",
        "wifi": None,
        # port 9 is the discard service: nobody listens, the kit goes on without a link
        "broker": {"host": "127.0.0.1", "port": 9, "user": "", "password": "", "tls": False, "ca": ""},
        "pins": {"relay": RELAY, "button": BUTTON, "sounder": SOUNDER, "lamp": LAMP, "adc": [26], "mux": MUX},
        "channels": [{"input": number, **one} for number in range(channels)],
    }


class Plant:
    """The far end of the wire protocol, as unix/machine.py's docstring says it."""

    def __init__(self):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(0.02)
        self.port = self.socket.getsockname()[1]
        self.address = None
        self.heard = []

    def exchange(self, seconds, codes, button=b"", until=lambda levels: False):
        """Send the codes 20 times a second for so long, or until a datagram satisfies `until`; the last levels."""
        end = time.monotonic() + seconds
        levels, due = {}, 0.0
        while time.monotonic() < end and not until(levels):
            if self.address and time.monotonic() >= due:
                due = time.monotonic() + 0.05
                self.socket.sendto(struct.pack(f"<{len(codes)}H", *codes) + button, self.address)
            with contextlib.suppress(TimeoutError):
                said, self.address = self.socket.recvfrom(512)
                levels = dict(zip(said[::2], said[1::2], strict=True))
                self.heard.append(levels)
        return levels


@pytest.fixture
def plant():
    plant = Plant()
    yield plant
    plant.socket.close()


@pytest.fixture(params=["MicroPython", "CPython"])
def kit(request, plant, micropython):
    options = KitOptions(settings(), plant.port, speed=2, force_cpython=request.param == "CPython")
    kit = KitProcess(options)
    assert kit.runtime == request.param
    yield kit
    kit.close()
    assert not kit.folder.exists()


def test_firmware_starts_drives_its_pins_and_leaves_with_the_relay_open(kit, plant):
    kit.start()
    levels = plant.exchange(8, [MILD] * 3, until=lambda levels: {RELAY, SOUNDER, LAMP} <= levels.keys())
    assert levels[RELAY] == RELAY_OFF
    lamps = {levels[LAMP] for _ in range(20) if (levels := plant.exchange(0.1, [MILD] * 3)) and LAMP in levels}
    assert lamps == {0, 1}  # the guard's tick blinks it
    assert kit.alive()
    assert (kit.peak_kib() or 0) > 1000
    kit.stop()
    assert not kit.alive()
    assert not any("Traceback" in line or "MemoryError" in line for line in kit.log_tail()), kit.log_tail()


def test_killed_kit_starts_again_on_the_same_flash(kit, plant):
    kit.start()
    plant.exchange(8, [MILD] * 3, until=lambda levels: LAMP in levels)
    first = plant.address
    kit.kill()
    assert not kit.alive()
    kit.start()
    end = time.monotonic() + 8
    while plant.address == first and time.monotonic() < end:
        plant.exchange(0.2, [MILD] * 3)
    assert plant.address != first
    assert (kit.folder / "settings.json").exists()


def test_interpreter_that_does_not_start_is_a_sentence(plant, monkeypatch, tmp_path):
    monkeypatch.setattr(kit_process, "micropython", lambda: tmp_path / "absent")
    kit = KitProcess(KitOptions(settings(), plant.port))
    try:
        with pytest.raises(HubError, match="did not start"):
            kit.start()
        assert kit.exit_code() is None
    finally:
        kit.close()


def run_shim(interpreter, code, **environment):
    """Run a piece of code on the shims under MicroPython; its JSON output, or its exit code if it says none."""
    given = {f"FIFTYOVER_{key.upper()}": str(value) for key, value in environment.items()}
    done = subprocess.run(
        [str(interpreter), "-c", code],
        env={**os.environ, **given, "MICROPYPATH": f"{SHIMS}:.frozen"},
        capture_output=True,
        text=True,
        timeout=20,
    )
    lines = done.stdout.splitlines()
    return json.loads(lines[-1]) if lines and lines[-1][:1] in "[{" else done.returncode


def test_ticks_wrap_at_a_boards_period_and_run_as_fast_as_told(micropython):
    code = (
        "import time, utime, json\n"
        "a = time.ticks_ms(); utime.sleep(0.2); b = time.ticks_ms()\n"
        "print(json.dumps([a, b, time.ticks_diff(b, a), time.ticks_diff(5, (1 << 30) - 5),"
        " time.ticks_add(a, 1 << 29)]))"
    )
    first, second, elapsed, across, far = run_shim(micropython, code, speed=50, ticks_start=(1 << 30) - 5000)
    assert (1 << 30) - 5000 <= first < 1 << 30
    assert second < 1 << 29  # it has wrapped
    assert 10000 <= elapsed <= 30000
    assert across == 10
    assert far == (first + (1 << 29)) % (1 << 30)


def test_asyncio_keeps_real_time_beside_scaled_ticks(micropython):
    code = (
        "import time, asyncio, utime, json\n"
        "async def main():\n"
        "    a = time.ticks_ms(); r = utime.ticks_ms(); await asyncio.sleep(0.2)\n"
        "    print(json.dumps([time.ticks_diff(time.ticks_ms(), a), utime.ticks_ms() - r]))\n"
        "asyncio.run(main())"
    )
    scaled, real = run_shim(micropython, code, speed=100)
    assert 195 <= real <= 1000
    assert 80 * real <= scaled <= 120 * real


WATCHDOG = "import machine, utime\nw = machine.WDT(timeout=100)\nw.feed()\nutime.sleep(0.3)\nw.feed()\n"


@pytest.mark.parametrize(("speed", "code"), [(1, 70), (20, 70), (21, 0)])
def test_watchdog_fed_late_ends_the_kit_unless_the_clock_is_too_fast_for_it(micropython, speed, code):
    assert run_shim(micropython, WATCHDOG, speed=speed) == code


def test_watchdog_longer_than_a_board_has_is_refused(micropython):
    code = (
        "import machine\ntry:\n    machine.WDT(timeout=8389)\nexcept ValueError:\n    print('[1]')\n"
        "machine.WDT(timeout=8388)\n"
    )
    assert run_shim(micropython, code) == [1]


def test_resets_have_exit_codes_of_their_own(micropython):
    assert run_shim(micropython, "import machine; machine.reset()") == 71
    assert run_shim(micropython, "import machine; machine.soft_reset()") == 72


def test_converter_reads_the_plants_code_with_a_little_noise_and_rails_without(micropython, plant):
    code = (
        "import machine, utime, json\n"
        "out = machine.Pin(2, machine.Pin.OUT, value=1)\n"
        "button = machine.Pin(3, machine.Pin.IN)\n"
        "adc = [machine.ADC(machine.Pin(26 + k)) for k in range(4)]\n"
        "while adc[0].read_u16() == 65535: utime.sleep(0.01)\n"
        "sums = [[one.read_u16() for _ in range(64)] for one in adc]\n"
        "print(json.dumps([[min(one), max(one), sum(one)] for one in sums] + [button.value()]))\n"
    )
    process = subprocess.Popen(
        [str(micropython), "-c", code],
        env={
            **os.environ,
            "MICROPYPATH": f"{SHIMS}:.frozen",
            "FIFTYOVER_PLANT_PORT": str(plant.port),
            "FIFTYOVER_BUTTON_PIN": "3",
        },
        stdout=subprocess.PIPE,
        text=True,
    )
    levels = plant.exchange(5, [MILD, 0, 65535, MILD + 1], b"\x01", until=lambda levels: process.poll() is not None)
    said, _ = process.communicate(timeout=5)
    mild, low, high, other, pressed = json.loads(said)
    assert levels == {2: 1}
    assert {} in plant.heard  # the first datagram tells the port only
    assert MILD - 8 <= mild[0] < mild[1] <= MILD + 8
    assert abs(mild[2] - 64 * MILD) < 200
    assert (low, high[:2]) == ([0, 0, 0], [65535, 65535])
    assert abs(other[2] - 64 * (MILD + 1)) < 200
    assert pressed == 0  # to ground


def test_datagrams_that_queued_up_press_no_button(micropython, plant):
    """A kit that was held up finds many at once; MicroPython reads on over their ends until its buffer is full."""
    code = (
        "import machine, json, utime\n"
        "button = machine.Pin(3, machine.Pin.IN)\n"
        "seen = []\n"
        "for _ in range(12):\n"
        "    utime.sleep(0.1)\n"
        "    seen.append([button.value(), machine.ADC(machine.Pin(26)).read_u16()])\n"
        "print(json.dumps(seen[2:]))\n"
    )
    given = {"FIFTYOVER_PLANT_PORT": str(plant.port), "FIFTYOVER_BUTTON_PIN": "3", "MICROPYPATH": f"{SHIMS}:.frozen"}
    command = [str(micropython), "-c", code]
    process = subprocess.Popen(command, env={**os.environ, **given}, stdout=subprocess.PIPE, text=True)
    plant.socket.settimeout(5.0)
    _, kit = plant.socket.recvfrom(512)
    datagram = struct.pack("<64H", *[MILD] * 8, *[65535] * 56) + b"\x00"
    burst = 0
    while process.poll() is None:
        burst += 1
        for _ in range(burst % 7 + 5):
            plant.socket.sendto(datagram, kit)
        time.sleep(0.08)
    seen = json.loads(process.communicate(timeout=5)[0])
    assert {value for value, _ in seen} == {1}, "not pressed"
    assert all(MILD - 8 <= code <= MILD + 8 for _, code in seen), seen


def test_shims_load_under_the_running_cpython_too(tmp_path):
    script = tmp_path / "main.py"
    script.write_text("import time, machine, network\nprint(time.ticks_diff(5, (1 << 30) - 5), machine.SPEED)\n")
    done = subprocess.run(
        [sys.executable, str(SHIMS / "run_cpython.py"), str(script)],
        env={**os.environ, "FIFTYOVER_SPEED": "3"},
        capture_output=True,
        text=True,
        timeout=20,
    )
    assert done.stdout.split() == ["10", "3.0"], done.stderr
