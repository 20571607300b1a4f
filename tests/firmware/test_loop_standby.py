"""Stand-by through the whole kit: the button, the hub's messages, silence, relay and sounder."""

import json
import subprocess
from pathlib import Path

import pytest

import fiftyover_kit
from fiftyover_kit.contract.limits import ticks_add
from firmware.kit_rig import HUB, STRANGER, Rig, TableBoard, counts, settings_text

FIRMWARE = Path(fiftyover_kit.__file__).parents[1]
WISH = {"batch": "7f2c", "degC": 66.0, "s": 14400}


class Cook(Rig):
    """A kit under a hub that grants every 5 s, with a stand-by for its batch unless `wish` is None."""

    wish = WISH

    def grant(self, duty=0.5, **changed):
        super().grant(duty, **({"standby": self.wish} if self.wish else {}) | changed)


def armed(**how):
    """A kit at 60 °C whose person has armed it; the hub has gone silent just now."""
    rig = Cook(**how)
    rig.granting = 0.4
    rig.run(60)
    rig.press(4)
    assert rig.kit.homie_values()["heater/armed"] == "true"
    rig.run(3)
    rig.granting = None
    rig.grant(0.4)
    return rig


def held(**how):
    """The same, 40 s later: the kit holds by itself."""
    rig = armed(**how).run(40)
    assert rig.why == "standby"
    return rig


def test_offer_alone_arms_nothing():
    rig = Cook()
    rig.granting = 0.4
    rig.run(12)
    rig.granting = None
    rig.run(100)
    assert rig.kit.homie_values()["heater/armed"] == "false"
    assert (rig.board.on, rig.why) == (0, "expired")


def test_armed_kit_whose_hub_dies_holds_the_chamber_after_thirty_seconds():
    rig = armed().run(29)
    assert (rig.board.on, rig.why) == (0, "expired")
    rig.run(1)
    rig.run(60)
    frame = rig.frame()
    assert frame["why"] == "standby"
    assert frame["duty"] == pytest.approx(0.4 + 0.3, abs=0.05)  # 6 K below its goal, 5 % each
    assert frame["left"] == 14400 - 60
    assert rig.kit.homie_values()["heater/state"] == "standby"
    on = sum(rig.run(1).board.on for _ in range(240))
    assert 0.6 < on / 240 < 0.9


def test_hold_ends_with_the_first_word_of_the_hub_and_its_seconds_go_on_counting_in_the_next_silence():
    rig = held()
    rig.ack([])
    rig.run(1)
    assert rig.why == "expired"
    assert rig.kit.homie_values()["heater/armed"] == "true"
    rig.run(40)
    frame = rig.frame()
    assert (frame["why"], frame["left"]) == ("standby", 14400 - 10 - 11)


def test_sounder_sounds_with_the_hold_and_a_short_press_silences_it_and_ends_nothing():
    rig = armed().run(29)
    assert rig.board.sounding == 0
    rig.run(2)
    assert rig.board.sounding == 1
    rig.press(0.5)
    assert (rig.board.sounding, rig.why) == (0, "standby")
    rig.run(60)
    assert (rig.board.sounding, rig.why) == (0, "standby")
    rig.ack([])
    rig.run(31)
    assert (rig.board.sounding, rig.why) == (1, "standby")


def test_sounder_sounds_again_when_the_seconds_are_over_and_the_element_is_off():
    rig = armed()
    rig.grant(0.4, standby=WISH | {"s": 100})
    rig.run(60)
    rig.press(0.5)
    rig.run(68)
    assert (rig.board.sounding, rig.why) == (0, "standby")
    rig.run(5)
    assert (rig.board.on, rig.board.sounding, rig.why) == (0, 1, "expired")
    assert rig.kit.homie_values()["heater/armed"] == "false"
    rig.run(600)
    assert rig.board.on == 0


def test_three_seconds_of_button_end_it_and_a_chirp_says_that_it_is_armed():
    rig = Cook()
    rig.granting = 0.4
    rig.run(12)
    rig.press(3.5)
    assert rig.board.sounding == 1
    rig.run(3)
    assert rig.board.sounding == 0
    rig.granting = None
    rig.run(40)
    assert rig.why == "standby"
    rig.press(3.5)
    rig.run(1)
    assert (rig.board.on, rig.why) == (0, "expired")
    rig.press(3.5)  # the hub is silent: nothing can be armed
    assert rig.kit.homie_values()["heater/armed"] == "false"


def test_ten_seconds_of_button_end_it_too():
    rig = held()
    rig.press(11)
    assert rig.why == "expired"
    assert rig.kit.homie_values()["heater/armed"] == "false"


@pytest.mark.parametrize(
    "stop", [{}, {"retained": True}, {"boot": "000000000000"}, {"hub": STRANGER}, {"seq": 0}, {"seq": 1 << 29}]
)
@pytest.mark.parametrize("start", [armed, held])
def test_any_stop_ends_it_for_good(start, stop):
    rig = start()
    rig.stop(**stop)
    assert rig.kit.homie_values()["heater/armed"] == "false"
    rig.run(50)
    rig.press(4)
    rig.run(50)
    assert (rig.board.on, rig.why) == (0, "off")


@pytest.mark.parametrize("age_ms", [0, 60_000])
@pytest.mark.parametrize("wish", [None, WISH | {"batch": "7f2d"}])
def test_grant_without_it_or_for_another_batch_ends_it_even_one_that_waited_too_long(wish, age_ms):
    rig = armed()
    rig.wish = wish
    rig.grant(0.4, up=ticks_add(rig.now, -age_ms))
    assert rig.kit.homie_values()["heater/armed"] == "false"
    assert rig.run(60).why != "standby"


@pytest.mark.parametrize(
    "stray", [{"retained": True}, {"boot": "000000000000"}, {"hub": STRANGER}, {"seq": 3}, {"duty": 7}]
)
def test_grant_that_is_not_this_hubs_newest_to_this_start_does_not_end_it(stray):
    rig = armed()
    rig.wish = None
    rig.grant(**stray)
    assert rig.kit.homie_values()["heater/armed"] == "true"


def test_restart_forgets_the_arming():
    board = TableBoard()
    held(board=board)
    assert Rig(board=board).run(100).why != "standby"


def test_hub_that_takes_the_place_of_the_first_ends_what_was_armed_for_that():
    rig = held().run(30)
    assert rig.kit.binding == ""
    assert rig.why == "standby"
    rig.ack([], hub=STRANGER)
    assert rig.kit.homie_values()["heater/armed"] == "false"
    rig = held().run(30)
    rig.ack([], hub=HUB)
    assert rig.kit.homie_values()["heater/armed"] == "true"


def test_stranger_is_no_word_of_the_hub():
    rig = held(hub=HUB)
    rig.ack([], hub=STRANGER)
    rig.stop(retained=True, hub=STRANGER)
    assert rig.kit.homie_values()["heater/armed"] == "false"  # a stop is a stop
    rig = held(hub=HUB)
    rig.ack([], hub=STRANGER)
    assert rig.run(1).why == "standby"


def test_door_cap_and_probe_hold_the_element_off_in_a_hold_as_ever():
    rig = held()
    rig.run(30)
    rig.press(0.5)  # the sounder
    rig.press(0.5)
    rig.run(1)
    assert (rig.board.on, rig.why) == (0, "door")
    assert rig.run(117).board.on == 0
    assert rig.run(30).why == "standby"
    rig.board.raw[0] = 10
    assert (rig.run(1).board.on, rig.why) == (0, "probe-fault")
    del rig.board.raw[0]
    assert rig.run(5).why == "standby"
    rig.board.raw[0] = counts(108.0)
    rig.run(2)
    del rig.board.raw[0]
    rig.run(300)
    assert (rig.board.on, rig.why) == (0, "latched")


def test_believable_core_over_62_lowers_the_hold_to_64():
    rig = held()
    rig.run(60)
    before = rig.frame()["duty"]
    rig.board.degC[3] = 61.9
    rig.run(20)  # so fast a rise is no reading at first
    same = rig.frame()["duty"]
    rig.board.degC[3] = 62.3
    rig.run(2)
    assert same - before < 0.05
    assert rig.frame()["duty"] == pytest.approx(same - 0.1, abs=0.02)  # 2 K at 5 % each


def test_core_that_is_not_believed_yet_lowers_nothing():
    rig = held()
    before = rig.run(60).frame()["duty"]
    rig.board.degC[3] = 80.0  # a jump, told as a fault until it has stayed for eight samples
    rig.run(5)
    assert rig.frame()["s"][3] == "jump"
    assert rig.frame()["duty"] == pytest.approx(before, abs=0.02)
    rig.run(10)
    assert rig.frame()["duty"] == pytest.approx(before - 0.1, abs=0.03)


def test_grant_that_the_guard_refuses_offers_nothing():
    rig = Cook().run(8)
    rig.grant(0.4, up=ticks_add(rig.now, -20_000))
    rig.press(4)
    assert rig.kit.homie_values()["heater/armed"] == "false"
    rig.grant(0.4)
    rig.press(4)
    assert rig.kit.homie_values()["heater/armed"] == "true"


HEAP_FREE = """
import json, micropython
from fiftyover_kit import loop, settings
class Board:
    simulated = True
    def __init__(self): self.pressed = self.on = self.sounding = self.n = self.shut = 0
    def read_sum(self, channel, n): self.n = (self.n + 1) % 5; return COUNTS + self.n
    def relay(self, on, until_ms): self.on = on; self.shut += on
    def feed(self): pass
    def button(self): return self.pressed
    def sounder(self, on): self.sounding = on
    def lamp(self, code): pass
    def boot_id(self): return "9f3c1a02b7e4"
    def latch_read(self): return 0
board = Board()
kit = loop.Kit(settings.load(open("settings.json").read()), board, 0, 9000)
now = (1 << 30) - 20000
def run(ticks):
    global now
    micropython.heap_lock()
    while ticks:
        now = (now + 250) & ((1 << 30) - 1)
        kit.tick(now)
        ticks -= 1
    micropython.heap_unlock()
run(40)
grant = {"v": 1, "hub": "c01d", "boot": kit.boot, "seq": 1, "up": now, "ttl": 30, "duty": 0.6}
grant["standby"] = {"batch": "7f2c", "degC": 66.0, "s": 600}
kit.on_message("heater/grant/set", json.dumps(grant).encode(), False, now)
board.pressed = 1; run(16); board.pressed = 0; run(4)
kit.record(now)
run(120 - 20); kit.record(now); before = board.shut
run(400); kit.record(now); during = board.shut
run(2200); kit.record(now); after = board.shut
run(100)
print(json.dumps([board.sounding, during > before, board.shut == after, board.on]))
"""


def test_hold_runs_without_heap_in_the_real_interpreter(micropython, tmp_path):
    (tmp_path / "settings.json").write_text(settings_text())
    (tmp_path / "hold.py").write_text(f"COUNTS = {counts(60.0)}\n" + HEAP_FREE)
    ran = subprocess.run(
        [micropython, "-X", "heapsize=300k", "hold.py"],
        cwd=tmp_path,
        env={"MICROPYPATH": f".frozen:{FIRMWARE}"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.stderr == ""
    assert ran.returncode == 0, ran.stdout
    assert json.loads(ran.stdout) == [1, True, True, 0]
