"""Two chamber probes that disagree."""

from firmware.kit_rig import Rig


def pair(other_degC):
    rig = Rig(chamber_2=2)
    rig.board.degC[2] = other_degC
    return rig


def test_chamber_probes_nine_kelvin_apart_for_two_minutes_are_told():
    rig = pair(69.0).run(119)
    assert "chambers-differ" not in rig.kit.alerts
    rig.run(4)
    assert "hotter" in rig.kit.alerts["chambers-differ"]


def test_seven_kelvin_between_two_places_are_not():
    assert "chambers-differ" not in pair(67.0).run(300).kit.alerts


def test_alert_ends_when_they_agree_again_and_a_door_counts_for_nothing():
    rig = pair(69.0).run(125)
    rig.press(0.5)  # silences the sounder: no hub is heard here
    rig.press(0.5)  # the door is open
    rig.run(2)
    assert "chambers-differ" not in rig.kit.alerts
    rig.board.degC[2] = 60.0
    assert "chambers-differ" not in rig.run(300).kit.alerts


def test_one_chamber_probe_is_no_pair():
    rig = Rig()
    rig.board.degC[2] = 69.0
    assert "chambers-differ" not in rig.run(300).kit.alerts
