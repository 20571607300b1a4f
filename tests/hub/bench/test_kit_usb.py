"""`fiftyover kit` against a real MicroPython's raw REPL on a pseudo-terminal: each job, each fault, each cut."""

import json
import os
import pty
import time
import tty

import pytest

from fiftyover import cli
from fiftyover.bench import command, firmware, kit_settings, slots, usb
from fiftyover.bench.bench_test import check
from fiftyover.bench.readings import Bench
from fiftyover.errors import HubError
from hub.bench.usb_stage import SECRET, flashed, kit, script, settings

PINS = {"relay": 16, "button": 17, "sounder": 18, "lamp": 19}
EVERY = int(os.environ.get("FIFTYOVER_CUT_EVERY", "9"))  # 1 cuts at each step of an update: minutes


def small(folder):
    """A firmware of few files, so that every cut can be tried; it names its version as the real one does."""
    package = folder / "fiftyover_kit"
    package.mkdir(parents=True)
    texts = {
        "__init__.py": "",
        "board.py": "def make_safe(): pass\n",
        "link.py": "",
        "settings.py": "",
        "loop.py": f"FIRMWARE = {slots.FIRMWARE!r}\n",
    }
    files = {"main.py": folder / "main.py"}
    files["main.py"].write_text("print('started')\n")
    for name, text in texts.items():
        (package / name).write_text(text)
        files[f"fiftyover_kit/{name}"] = package / name
    return files


def starts(board):
    """Version of the firmware that the board starts, after its power came back."""
    with usb.Usb(board.port) as one:
        return slots.version(one, slots.slot_of(one))


def test_flash_verifies_starts_the_new_slot_and_keeps_the_old_one(board, tmp_path):
    old = small(tmp_path)
    with usb.Usb(board.port) as one:
        lines = []
        assert slots.flash(one, lines.append, old) == "slot_a"
        assert slots.flash(one, lines.append) == "slot_b"
    assert sum("verified by hash" in text for text in lines) == 2
    for slot, files in (("slot_a", old), ("slot_b", firmware.device_files())):
        for name, path in files.items():
            assert (board.folder / slot / name).read_bytes() == path.read_bytes()
    assert starts(board) == slots.FIRMWARE


def test_new_version_that_does_not_answer_leaves_the_old_one(board, tmp_path):
    good = small(tmp_path / "good")
    bad = small(tmp_path / "bad")
    (tmp_path / "bad" / "fiftyover_kit" / "loop.py").write_text("FIRMWARE = 1 / 0\n")
    with usb.Usb(board.port) as one:
        assert slots.flash(one, print, good) == "slot_a"
        with pytest.raises(usb.BenchError, match="ZeroDivisionError"):
            slots.flash(one, print, bad)
        assert slots.slot_of(one) == "slot_a"
    assert starts(board) == slots.FIRMWARE


class Counted(usb.Usb):
    """Counts what is run on the board, and cuts its power before or in the middle of one of them."""

    def __init__(self, board, cut_at=-1, bytes_in=0):
        super().__init__(board.port)
        self.board, self.cut_at, self.bytes_in, self.runs = board, cut_at, bytes_in, 0

    def run(self, code, limit_s=10.0):
        self.runs += 1
        if self.runs == self.cut_at:
            if self.bytes_in:
                self.board.cut_after_bytes = self.bytes_in
            else:
                self.board.power(False)
            self._transport.serial.timeout = 0.3  # nothing more comes: do not wait for it
        return super().run(code, 0.3 if self.runs == self.cut_at else limit_s)

    def connect(self, limit_s=10.0):
        super().connect(0.1 if 0 < self.cut_at <= self.runs else limit_s)


@pytest.mark.timeout(300 if EVERY > 1 else 1800)
def test_power_cut_at_each_step_of_an_update_leaves_the_old_or_the_new_firmware(board, tmp_path):
    """Every run on the board is cut before it, and 40 bytes into it; the board then starts a whole firmware."""
    old, new = small(tmp_path / "old"), small(tmp_path / "new")
    new["main.py"].write_text("print('started anew')\n")
    with Counted(board) as one:
        slots.flash(one, print, old)
        before = one.runs
        slots.flash(one, print, new)
        steps = one.runs - before
    slot_of_old = "slot_a"
    seen = set()
    for step in range(1, steps + 1, EVERY):
        for bytes_in in (0, 40):
            (board.folder / "main.py").write_text(slots.selector(slot_of_old))
            for path in (board.folder / "slot_b").rglob("*"):
                if path.is_file():
                    path.unlink()
            board.power(False)
            board.power(True)
            cut = Counted(board, step, bytes_in)
            with pytest.raises(HubError), cut:
                slots.flash(cut, print, new)
            board.power(False)
            board.power(True)
            assert starts(board) == slots.FIRMWARE
            seen.add(board.folder.joinpath("main.py").read_text().split('"')[7])
    assert steps > 30
    assert seen <= set(slots.SLOTS)


def test_power_cut_at_each_step_of_writing_settings_leaves_the_old_or_the_new(board):
    given = settings()
    changed = given | {"kit": "kit-other"}
    with Counted(board) as one:
        kit_settings.write(one, given)
        before = one.runs
        kit_settings.write(one, changed)
        steps = one.runs - before
    kits = set()
    for step in range(1, steps + 1):
        for bytes_in in (0, 30):
            (board.folder / "settings.json").write_text(json.dumps(given))
            board.power(False)
            board.power(True)
            cut = Counted(board, step, bytes_in)
            with pytest.raises(HubError), cut:
                kit_settings.write(cut, changed)
            kits.add(kit_settings.load((board.folder / "settings.json").read_text()).kit)
    assert kits <= {given["kit"], "kit-other"}
    assert steps >= 4


def test_find_setup_and_watch(board, monkeypatch, tmp_path, capsys):
    code, said = kit(board, monkeypatch, [], "find")
    assert code == 0
    assert "MicroPython" in said[0]
    flashed(board)
    secret = tmp_path / "secret"
    secret.write_text("pw\n")
    words = ["setup", "--kind", "direct", "--kit", "kit-one", "--host", "hub", "--ssid", "yard"]
    words += ["--password-file", str(secret)]
    with monkeypatch.context() as quick:
        quick.setattr(kit_settings, "JOIN_WITHIN_S", 2.0)
        code, _ = kit(board, monkeypatch, ["wrong"], *words)
    assert code == 2
    assert "does not get into the Wi-Fi" in capsys.readouterr().err
    assert not (board.folder / "settings.json").exists()
    assert kit(board, monkeypatch, [SECRET], *words)[0] == 0
    written = json.loads((board.folder / "settings.json").read_text())
    assert (written["kit"], written["relay"]) == ("kit-one", "mechanical")
    code, _ = kit(board, monkeypatch, [SECRET], *words, "--relay", "latching")
    assert code == 2
    assert "must be one of mechanical, solid-state" in capsys.readouterr().err
    assert kit(board, monkeypatch, [SECRET], *words, "--relay", "solid-state")[0] == 0
    assert json.loads((board.folder / "settings.json").read_text()) == written | {"relay": "solid-state"}
    code, said = kit(board, monkeypatch, [], "watch", "--lines", "2")
    assert code == 0
    assert said[-1] == "1: open   2: open   3: open"


def test_setup_asks_the_board_about_the_pins_before_it_writes(board, monkeypatch, tmp_path, capsys):
    """A kit of the other kind of board: GPIO25 is none that an RP2 board's firmware lets drive something."""
    flashed(board)
    before = json.dumps(settings())
    (board.folder / "settings.json").write_text(before)
    secret = tmp_path / "secret"
    secret.write_text("pw\n")
    words = ["setup", "--kind", "esp32", "--kit", "kit-one", "--host", "hub", "--ssid", "yard"]
    code, _ = kit(board, monkeypatch, [SECRET], *words, "--password-file", str(secret))
    assert code == 2
    said = capsys.readouterr().err
    assert "do not fit the board" in said
    assert "pins.relay is 25" in said
    assert "the settings on the board are as before" in said
    assert (board.folder / "settings.json").read_text() == before


def test_bench_test_left_at_the_relays_question_lets_the_relay_go(board):
    flashed(board)
    given = settings()

    def leave():
        raise KeyboardInterrupt

    who, _ = script("y", leave)
    with usb.Usb(board.port) as one:
        bench = Bench(one, slots.free(one), given)
        with pytest.raises(KeyboardInterrupt):
            check(one, bench, who, (7500, 68000), sockets=False)
        time.sleep(0.2)  # until the stand-in has said so
        assert (PINS["relay"], 1) in board.seen
        assert board.pins[PINS["relay"]] == 0


def test_bench_test_of_a_refrigerator_kit_asks_for_no_relay_box(board, monkeypatch):
    flashed(board)
    (board.folder / "settings.json").write_text(json.dumps(kit_settings.template("fridge")))

    def press():
        board.button = 1
        return ""

    code, said = kit(board, monkeypatch, ["n", "y", "y", press], "check", "--no-sockets")
    assert code == 0
    assert said[-1] == "Every row is ok."
    assert (PINS["relay"], 1) not in board.seen


def test_bench_test_works_every_part_and_the_watchdog_restarts_the_board(board, monkeypatch):
    flashed(board)
    given = settings()
    (board.folder / "settings.json").write_text(json.dumps(given))

    def press():
        board.button = 1
        return ""

    answers = ["y", "y", "y", "n", press, "y", "y", "y"]
    code, said = kit(board, monkeypatch, answers, "check", "--no-sockets")
    assert code == 1
    assert said[-1] == "Not ok: sounder. It does not go to the smoker."
    for name in ("relay", "lamp", "sounder"):
        assert (PINS[name], 1) in board.seen
    assert board.pins.get(PINS["relay"], 0) == 0


def test_no_board_two_boards_and_one_that_is_silent_each_have_a_sentence(monkeypatch, capsys):
    monkeypatch.setattr(command, "boards", list)
    monkeypatch.setattr(usb, "boards", list)
    assert cli.main(["kit", "flash"]) == 2
    assert "No board is on USB" in capsys.readouterr().err
    monkeypatch.setattr(usb, "boards", lambda: ["ttyA", "ttyB"])
    assert cli.main(["kit", "flash"]) == 2
    assert "2 boards are on USB (ttyA, ttyB): unplug one, or say --port" in capsys.readouterr().err
    master, slave = pty.openpty()
    tty.setraw(slave)
    silent = usb.Usb(os.ttyname(slave))
    with pytest.raises(usb.BenchError, match="does not speak MicroPython: put MicroPython on the board"):
        silent.connect(0.1)
    os.close(master)
    os.close(slave)


def test_too_old_a_micropython_and_a_pulled_cable_are_named(board, monkeypatch):
    with usb.Usb(board.port) as one:
        monkeypatch.setattr(usb, "MICROPYTHON_MIN", (99, 0))
        with pytest.raises(usb.BenchError, match="too old: put 99.0 or later on it"):
            one.about()
        board.power(False)
        with pytest.raises(usb.BenchError, match="was the cable pulled"):
            one.run("pass", 0.5)
