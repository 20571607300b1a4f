"""At the speed of life: how regularly permits come, and that the kit never runs out of one meanwhile."""

import statistics
import time

import pytest

from fiftyover.app.cook import plan

pytestmark = pytest.mark.system

WATCHED_S = 22.0


def test_permits_come_every_five_seconds_at_the_speed_of_life(cooking, part):
    part("mosquitto")
    with cooking("mosquitto", 1.0) as cook:
        cook.world._await_kit()
        heater, sent_s = cook.world.hub.parts.heater, []
        publish = heater._publish

        def watched(topic, payload, qos, retain):
            if topic.endswith("heater/grant/set"):
                sent_s.append(time.monotonic())
            return publish(topic, payload, qos, retain)

        heater._publish = watched
        cook.world.hub.start_batch(plan())
        time.sleep(WATCHED_S)
        intervals = [later - earlier for earlier, later in zip(sent_s, sent_s[1:], strict=False)]
        print(f"{len(sent_s)} permits, intervals {min(intervals):.3f} to {max(intervals):.3f} s")
        assert len(intervals) >= 4
        assert max(intervals) <= 5.5
        assert statistics.mean(intervals) == pytest.approx(5.0, abs=0.1)
        assert cook.world.hub.expiries == 0
