"""The kit and the person at the smoker: button, door, sounder, cut-off."""

from pathlib import Path

import pytest

import fiftyover_kit
from fiftyover_kit.settings import KitError
from firmware.kit_rig import Rig, TableBoard, channel, counts, heating

FIRMWARE = Path(fiftyover_kit.__file__).parents[1]


def test_sounder_starts_after_a_minute_without_a_hub_until_the_button_or_the_hub():
    rig = heating()
    rig.granting = None
    rig.run(57)
    assert rig.board.sounding == 0
    rig.run(4)
    assert rig.board.sounding == 1
    assert "hub-silent" in rig.kit.alerts
    rig.press(0.5)
    assert rig.board.sounding == 0
    assert rig.kit.homie_values()["heater/door"] == "false"  # that press was for the sounder
    rig.run(120)
    assert rig.board.sounding == 0
    rig.ack([])
    assert "hub-silent" not in rig.kit.alerts
    rig.run(61)
    assert rig.board.sounding == 1
    rig.ack([])
    assert rig.board.sounding == 0


def test_sounder_of_a_fast_simulated_kit_waits_a_minute_of_real_time():
    board = TableBoard()
    board.speed = 10
    rig = Rig(board=board).run(599)
    assert board.sounding == 0
    rig.run(2)
    assert board.sounding == 1


def test_short_press_says_the_door_is_open_and_the_next_that_it_is_closed():
    rig = heating()
    rig.press(0.5)
    assert (rig.board.on, rig.why) == (0, "door")
    assert rig.kit.homie_values()["heater/door"] == "true"
    rig.run(60)
    assert rig.board.on == 0
    rig.press(0.5)
    rig.run(6)
    assert (rig.board.on, rig.why) == (1, "on")


def test_door_that_is_not_said_to_be_closed_ends_after_two_minutes():
    rig = heating()
    rig.press(0.25)
    rig.run(118)
    assert rig.board.on == 0
    rig.run(3)
    assert rig.board.on == 1


@pytest.mark.parametrize(("kelvin_per_min", "is_door"), [(3.1, False), (8.5, False), (9.6, True), (50, True)])
def test_chamber_falling_faster_than_nine_kelvin_a_minute_is_a_door(kelvin_per_min, is_door):
    rig = Rig()
    rig.board.degC[0] = 90.0
    rig.granting = 1.0
    rig.run(45)
    for _ in range(35 * 4):
        rig.board.degC[0] -= kelvin_per_min / 240
        rig.run(0.25)
        if rig.board.degC[0] < 50:
            break
    assert (rig.why == "door") == is_door
    assert rig.board.on == (0 if is_door else 1)


def test_closed_by_the_button_stays_closed_although_the_chamber_fell_just_before():
    rig = Rig()
    rig.board.degC[0] = 90.0
    rig.granting = 0.5
    rig.run(45)
    for _ in range(60):
        rig.board.degC[0] -= 0.2
        rig.run(0.25)
    assert rig.why == "door"
    rig.press(0.5)
    rig.run(28)
    assert rig.why == "on"


def test_two_samples_over_the_cap_latch_and_the_flag_is_written_after_the_relay_opened():
    rig = heating()
    rig.board.calls.clear()
    rig.board.raw[0] = counts(107.5)
    rig.run(3)
    assert rig.board.flag == 1
    calls = [call for call in rig.board.calls if call[0] in ("relay", "flag")]
    assert calls.index(("flag", 1)) > calls.index(("relay", 0))
    assert ("relay", 1) not in calls
    assert rig.why == "latched"
    assert "latched" in rig.kit.alerts


def test_latch_outlives_a_restart_and_is_opened_by_ten_seconds_of_button_when_cool():
    board = TableBoard(degC=103.0)
    board.flag = 1
    rig = Rig(board=board)
    rig.granting = 1.0
    assert "latched" in rig.kit.alerts
    rig.run(20)
    assert (board.on, rig.why) == (0, "latched")
    rig.press(11)
    assert rig.why == "latched"  # 103 is less than 10 K below 107.2
    board.degC[0] = 96.0  # so fast a fall is a door, for two minutes
    rig.run(125)
    rig.press(9)
    assert board.flag == 1
    rig.press(11)
    rig.run(1)
    assert board.flag == 0
    assert "latched" not in rig.kit.alerts
    rig.run(10)
    assert (board.on, rig.why) == (1, "on")


@pytest.mark.parametrize("flag", [1, 2, -1])
def test_flag_that_reads_oddly_counts_as_latched(flag):
    board = TableBoard()
    board.flag = flag
    rig = Rig(board=board)
    rig.granting = 1.0
    assert rig.run(15).why == "latched"


def test_button_that_was_down_since_the_start_clears_nothing():
    board = TableBoard()
    board.flag, board.pressed = 1, 1
    rig = Rig(board=board).run(30)
    assert (board.flag, rig.why) == (1, "latched")


def test_flash_that_fails_is_told_and_the_latch_holds():
    rig = heating()
    rig.board.flag_fails = True
    rig.board.raw[0] = counts(110.0)
    rig.run(3)
    assert (rig.board.on, rig.why) == (0, "latched")
    assert "latch-flag" in rig.kit.alerts


def test_second_chamber_probe_over_the_cap_cuts_off_though_the_first_is_cool():
    rig = heating(chamber_2=8)
    rig.board.raw[8] = counts(108.0)
    rig.run(2)
    assert rig.why == "latched"
    assert rig.board.reads[8] == rig.board.reads[0]


def test_series_resistor_that_cannot_tell_the_cap_from_a_short_is_refused():
    beta = {"beta": [1000, 3950]}
    with pytest.raises(KitError, match="cannot be told from a fault"):
        Rig(channels=[channel(0, thermistor=beta), channel(1)], board=TableBoard(2))
