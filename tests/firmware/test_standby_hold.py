"""Stand-by in simulated smokers: the real kit holds the chamber while the hub is dead."""

import json

import pytest

from fiftyover.rehearse.fake_board import Circuit, FakeBoard
from fiftyover.rehearse.plant import Plant
from fiftyover_kit import settings
from fiftyover_kit.contract.limits import TICK_MASK
from fiftyover_kit.loop import Kit
from firmware.kit_rig import CURVE, GRANT, HUB, SERIES_OHM, channel, settings_text

GOAL_DEGC = 66.0
SMOKERS = {
    "800 W": (800.0, "mechanical", 6, {}),
    "800 W, solid-state, one chub": (800.0, "solid-state", 1, {}),
    "1500 W, nearly empty": (1500.0, "mechanical", 1, {}),
    "1500 W, full, leaky": (1500.0, "solid-state", 10, {"loss_factor": 1.6}),
    "1000 W, frost": (1000.0, "mechanical", 8, {"ambient_degC": -10.0}),
}
CHANNELS = [channel(number) for number in range(3)]


class Yard:
    """A kit on a simulated smoker, its hub a plain rule that grants every 5 s while `hub` is set."""

    def __init__(self, watts, relay, chubs, options, wish_s=14400):
        self.plant = Plant(7, chubs, 55.0, watts, 82.0, **options)
        self.board = FakeBoard([Circuit(SERIES_OHM, CURVE)] * 3, 7)
        self.board.now_ms = TICK_MASK - 600_000
        self.kit = Kit(settings.load(settings_text(relay=relay, channels=CHANNELS)), self.board, self.board.ticks_ms())
        self.kit.on_link(True, 0)
        self.hub, self.wish_s, self.seq, self.duty, self.target_degC = True, wish_s, 0, 0.5, 70.0
        self.shut_at_door = 0
        self.third_degC = 20.0  # of a probe of its own, in no chub
        self.chamber_degC = []

    def run(self, seconds, door=False):
        for tick in range(int(seconds * 4)):
            self.board.now_ms += 250
            self.board.true_degC[:] = [self.plant.chamber_degC, self.plant.core_degC[0], self.third_degC]
            now = self.board.ticks_ms()
            self.kit.tick(now)
            if tick % 4 == 3:
                self.kit.record(now)
                self.chamber_degC.append(self.plant.chamber_degC)
            if tick % 20 == 19 and self.hub:
                self.grant(now)
            if door and self.kit.homie_values()["heater/door"] == "true":
                self.shut_at_door += self.board.element_on
            self.plant.step(0.25, self.board.element_on)
        return self

    def grant(self, now):
        off = self.target_degC - self.plant.chamber_degC
        self.duty = max(0.0, min(1.0, self.duty + 0.0008 * off))
        self.seq += 1
        grant = {"v": 1, "hub": HUB, "boot": self.kit.boot, "seq": self.seq, "up": now, "ttl": 15}
        grant["duty"] = max(0.0, min(1.0, self.duty + 0.06 * off))
        grant["standby"] = {"batch": "7f2c", "degC": GOAL_DEGC, "s": self.wish_s}
        self.kit.on_message(GRANT, json.dumps(grant).encode(), False, now)

    def press(self, seconds):
        self.board.button_down = 1
        self.run(seconds)
        self.board.button_down = 0
        self.run(1)

    @property
    def why(self):
        return json.loads(self.kit.live())["why"]


def hub_dies(smoker, wish_s=14400, after_s=3600, target_degC=70.0):
    """A while under the hub, armed; then the hub is dead."""
    yard = Yard(*SMOKERS[smoker], wish_s=wish_s)
    yard.target_degC = target_degC
    yard.run(after_s)
    yard.press(4)
    assert yard.kit.homie_values()["heater/armed"] == "true"
    yard.hub = False
    yard.kit.on_link(False, 0)
    return yard.run(32)


# When the hub dies: at its own target a little above, far above, and at full power while the smoker still warms up.
ENDS = [(name, 3600, 70.0) for name in SMOKERS] + [("1500 W, nearly empty", 300, 80.0), ("800 W", 3600, 82.0)]


@pytest.mark.parametrize(("smoker", "after_s", "target_degC"), ENDS)
def test_chamber_stays_within_three_kelvin_of_the_hold_from_twenty_minutes_on(smoker, after_s, target_degC):
    yard = hub_dies(smoker, after_s=after_s, target_degC=target_degC)
    assert yard.why == "standby"
    assert yard.board.sounder_state == 1
    yard.run(20 * 60)
    yard.chamber_degC.clear()
    yard.run(2 * 3600)
    low, high = min(yard.chamber_degC), max(yard.chamber_degC)
    print(f"\n{smoker}: {low:.1f} to {high:.1f} °C, {sum(on for _, on in yard.board.relay_log)} switchings in 3.4 h")
    assert low >= GOAL_DEGC - 3.0
    assert high <= GOAL_DEGC + 3.0


def test_element_is_never_on_while_the_door_is_open_in_a_hold():
    yard = hub_dies("800 W").run(1200)
    yard.plant.open_door(90.0)
    yard.run(40, door=True)
    assert yard.why == "door"
    yard.run(110, door=True)
    assert yard.shut_at_door == 0
    yard.run(1200)
    assert yard.why == "standby"
    assert abs(yard.plant.chamber_degC - GOAL_DEGC) <= 3.0


def test_element_is_off_for_good_at_the_end_of_the_hold():
    yard = hub_dies("800 W", wish_s=1800).run(1790)
    assert yard.why == "standby"
    yard.run(15)
    switched = len(yard.board.relay_log)
    assert yard.board.element_on is False
    yard.run(1800)
    assert (yard.why, len(yard.board.relay_log)) == ("link-lost", switched)
    assert yard.plant.chamber_degC < GOAL_DEGC - 10.0


def test_hold_falls_to_64_once_the_meat_is_hot_in_the_middle():
    yard = hub_dies("800 W").run(600)
    yard.third_degC = 62.5
    yard.run(3600)
    yard.chamber_degC.clear()
    yard.run(600)
    assert abs(sum(yard.chamber_degC) / 600 - 64.0) <= 0.5
