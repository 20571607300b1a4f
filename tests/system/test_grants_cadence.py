"""At the speed of life: how regularly permits come while forecasts are made, and that the kit never runs out of one."""

import contextlib
import statistics
import threading
import time

import pytest

from fiftyover.app.cook import plan
from fiftyover.control.forecast import forecast
from hub.control.hung_meat import ask, hang

pytestmark = pytest.mark.system

WATCHED_S = 22.0
CHUBS = 12


@contextlib.contextmanager
def forecasting():
    """Forecasts of twelve chubs in mid-cook, one after the other without a pause, in a thread of this process."""
    meat = hang(mm=(45.0,) * CHUBS, gains=tuple(0.003 * (n - 6) for n in range(CHUBS)))
    question, _ = ask(meat, 0.5)
    stop, spent_s = threading.Event(), []

    def work():
        while not stop.is_set():
            began_s = time.thread_time()
            forecast(question)
            spent_s.append(time.thread_time() - began_s)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        yield spent_s
    finally:
        stop.set()
        thread.join(10.0)


def test_permits_come_every_five_seconds_at_the_speed_of_life_while_forecasts_are_made(cooking, part):
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
        with forecasting() as spent_s:
            cook.world.hub.start_batch(plan())
            time.sleep(WATCHED_S)
        intervals = [later - earlier for earlier, later in zip(sent_s, sent_s[1:], strict=False)]
        cost_ms = 1000.0 * statistics.median(spent_s)
        print(f"{len(sent_s)} permits, intervals {min(intervals):.3f} to {max(intervals):.3f} s, ", end="")
        print(f"beside {len(spent_s)} forecasts of {CHUBS} chubs, {cost_ms:.0f} ms of a core each")
        assert len(intervals) >= 4
        assert max(intervals) <= 5.5
        assert statistics.mean(intervals) == pytest.approx(5.0, abs=0.1)
        assert cook.world.hub.expiries == 0
        assert len(spent_s) >= 20
        assert cost_ms <= 300.0
