"""At the speed of life, with twelve chubs foreseen over and over: no permit waits, and one forecast is cheap."""

import threading
import time

import numpy as np
import pytest

from fiftyover.app.cook import plan
from fiftyover.control.forecast import forecast
from hub.control.hung_meat import ask, hang

pytestmark = pytest.mark.system

WATCHED_S = 27.0


def test_permits_come_as_regularly_while_twelve_chubs_are_foreseen_without_a_pause(cooking, part):
    part("mosquitto")
    question, _ = ask(hang(mm=(45.0,) * 12, gains=tuple(np.linspace(-0.03, 0.03, 12))), 0.75)
    done, cost_s = threading.Event(), []

    def for_ever() -> None:
        while not done.is_set():
            began_s = time.thread_time()
            forecast(question)
            cost_s.append(time.thread_time() - began_s)

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
        worker = threading.Thread(target=for_ever)
        worker.start()
        try:
            time.sleep(WATCHED_S)
        finally:
            done.set()
            worker.join(20.0)
        intervals = np.diff(sent_s)
        p99_s = float(np.quantile(intervals, 0.99))
        print(f"{len(sent_s)} permits, p99 {p99_s:.3f} s; {len(cost_s)} forecasts, {1000 * np.median(cost_s):.0f} ms")
        assert len(intervals) >= 4
        assert len(cost_s) >= 5
        assert p99_s <= 5.5
        assert np.median(cost_s) <= 0.3
        assert cook.world.hub.expiries == 0
