"""The stand-by hold, end to end: armed at the button, the hub dies, the kit holds the chamber, a door opens, it ends.

Real mosquitto, the firmware in MicroPython, the hub as a process; kit and plant run SPEED times as fast, the 30 s of
silence before the hold are real ones.
"""

import json

from faults.stand import Stand

SPEED = 21.0  # over 20 the simulated watchdog is off: a moment's wait for the processor would be seconds of kit time
HOLD_DEGC, HOLD_S = 60.0, 1800
JUDGED_S = 1200.0  # of the hold, then the chamber must be within 3 K
NEAR_KELVIN = 3.0
PRESS_S, ARM_S = 1.5, 5.0  # kit seconds: a short press; a hold of 3 to 10 s arms
DOOR_S = 120.0  # the kit keeps the element off so long
AFTER_S = 240.0  # watched after the end of the hold
PLAN = {
    "name": "stand-by stand",
    "chubs": [{"number": n, "diameter_mm": 100.0, "line": "stout", "place": f"hook {n}", "probe": n} for n in (1, 2)],
    "cap_degC": 90.0,
    "lift_kelvin": 27.78,
    "floor_degC": 64.0,
    "relay": "solid-state",
    "element_watts": 1500.0,
    "standby_degC": HOLD_DEGC,
    "standby_s": HOLD_S,
}
SMOKER = {"ambient_degC": 15.0, "start_degC": 15.0}


def _press(stand, kit_s):
    stand.plant.button = 1
    stand.wait(lambda: False, kit_s / SPEED)
    stand.plant.button = 0
    stand.wait(lambda: False, 2.0 / SPEED)


def _kit_s(stand):
    return stand.plant.truth()[0]


def _chamber(stand):
    return stand.plant.truth()[2]


def run(seed):
    """One hold; what was seen, times in kit seconds."""
    seen = {"armed_said": False, "held_degC": None, "door_ons": None, "end_on": None, "sounded": False, "began_s": None}
    with Stand(seed, speed=SPEED, plan=PLAN, smoker=SMOKER) as stand:
        stand.start()

        def offered():
            return any(b"standby" in payload for _, payload in stand.hub.sent("heater/grant/set")[-1:])

        stand.wait(lambda: offered() and _chamber(stand) >= HOLD_DEGC - 2.0, 240.0, 0.05)
        _press(stand, ARM_S)
        seen["armed_said"] = (
            stand.wait(lambda: "armed" in stand.hub.last_state().get("heater", ""), 15.0, 0.1) is not None
        )
        stand.hub.kill()
        died_s = _kit_s(stand)
        stand.wait(lambda: False, 20.0)  # its permits have run out by then, and 30 s of silence have not gone by
        if not stand.switched(stand.board.pin_log[0][0], 1):
            return seen | {"broke": "the element was never on"}
        seen["off_before"] = not stand.is_on
        if stand.wait(lambda: stand.is_on, 40.0) is None:
            return seen | {"broke": f"no hold began: {stand.kit.log_tail(3)}"}
        began_s = _kit_s(stand)
        seen["began_s"] = (began_s - died_s) / SPEED
        seen["sounded"] = stand.wait(lambda: stand.board.sounder_state == 1, 40.0) is not None
        stand.wait(lambda: _kit_s(stand) >= began_s + JUDGED_S, 120.0, 0.05)
        seen["held_degC"] = _chamber(stand)
        _door(stand, seen)
        stand.wait(lambda: _kit_s(stand) >= began_s + HOLD_S + 30.0, 120.0, 0.05)
        ended = stand.board.now_ms / 1000.0
        seen["end_on"] = _ons_for(stand, AFTER_S)
        seen["last_on_after_began_s"] = (stand.board.relay_log[-1][0] / 1000.0) - began_s
        seen["ended_s"] = ended - began_s
        seen["watchdogs"] = stand.watchdogs
    return seen


def _door(stand, seen):
    """The door opens; the person says so with the button: while it is open no current may flow."""
    _press(stand, PRESS_S)  # silences the sounder
    _press(stand, PRESS_S)  # the door is open
    stand.plant.open_door(DOOR_S)
    stand.wait(lambda: False, 5.0 / SPEED)
    seen["door_ons"] = _ons_for(stand, DOOR_S - 20.0)
    seen["back_on"] = stand.wait(lambda: stand.is_on, 400.0 / SPEED) is not None


def _ons_for(stand, kit_s):
    """Times that the element was seen on, for so long."""
    until_s, ons = _kit_s(stand) + kit_s, 0
    while _kit_s(stand) < until_s:
        ons += stand.is_on
        stand.wait(lambda: False, 0.02)
    return ons


if __name__ == "__main__":
    print(json.dumps(run(4), indent=1))
