"""What finished batches tell of the smoker: hot places by pace, hours by diameter."""

import numpy as np
import pytest

from fiftyover.batch import events as ev
from fiftyover.batch import rig
from fiftyover.batch.curves import Curve
from fiftyover.batch.events import Event
from fiftyover.batch.plan import Chub, Plan

PLAN = Plan("b", "b", tuple(Chub(n, "slim", 45.0, f"p{n}", n) for n in (1, 2, 3)), 85.0)


def rising(kelvin_per_h: float) -> Curve:
    times = np.arange(0.0, 8 * 3600.0, 30.0)
    return Curve(times, 5.0 + times / 3600.0 * kelvin_per_h)


def test_warming_is_timed_from_60_to_120_degF() -> None:
    # 60 °F are 33.33 K; at 10 K/h 3.333 h
    assert rig.warming_s(rising(10.0)) == pytest.approx(12_000.0)
    assert rig.warming_s(rising(2.0)) is None
    late = rising(10.0)
    assert rig.warming_s(Curve(late.times_s[600:], late.core_degC[600:])) is None


def test_the_hotter_place_has_the_greater_pace() -> None:
    found = rig.places([rig.paces(PLAN, {1: rising(12.0), 2: rising(10.0), 3: rising(8.0)})])
    # times 2.7778, 3.3333, 4.1667 h; mean 3.4259: paces 1.2333, 1.0278, 0.8222
    assert list(found) == ["p1", "p2", "p3"]
    assert found["p1"].pace == pytest.approx(1.2333, abs=5e-4)
    assert found["p3"].pace == pytest.approx(0.8222, abs=5e-4)


def test_one_chub_alone_tells_nothing_of_its_place() -> None:
    assert rig.paces(PLAN, {1: rising(12.0)}) == {}


def test_hours_come_from_chubs_of_about_the_diameter() -> None:
    log = [Event(ev.HUNG, 0.0, 0, {"chubs": [1, 2, 3]})]
    log += [Event(ev.PULLED, hours * 3600.0, 0, {"chub": n, "probe": "stays"}) for n, hours in ((1, 5), (2, 6), (3, 8))]
    seen = rig.hung(ev.fold(PLAN, log))
    span = rig.cook_span("slim", 47.0, seen)
    assert span is not None
    assert (span.low_s, span.likely_s, span.high_s) == (18_000.0, 21_600.0, 28_800.0)
    assert rig.cook_span("stout", 64.0, seen) is None
    assert rig.cook_span("slim", 45.0, seen[:2]) is None
