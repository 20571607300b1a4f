"""What is pulled no longer draws heat: the controller is told before the chamber shows it."""

import pytest

from hub.batch.simple_smoker import Smoker, plan


def test_a_pull_takes_its_heat_from_the_controllers_integral() -> None:
    smoker = Smoker(plan(2))
    smoker.hang()
    smoker.to_core(60.0)
    before, chamber = smoker.state.control.integral, smoker.readings[-1].chamber_degC
    assert chamber is not None
    smoker.mark("pulled", {"chub": 2})
    # 12 W/(m2 K) over a cylinder of 45 mm by 300 mm, from chamber to the band's top, of 800 W
    watts = 12.0 * 3.14159 * 0.045 * 0.3 * (chamber - 68.33)
    assert before - smoker.state.control.integral == pytest.approx(watts / 800.0, rel=1e-3)


def test_without_the_elements_power_nothing_is_assumed() -> None:
    smoker = Smoker(plan(2, element_watts=None))
    smoker.hang()
    smoker.run(1200.0)
    before = smoker.state.control.integral
    smoker.mark("pulled", {"chub": 2})
    assert smoker.state.control.integral == before
