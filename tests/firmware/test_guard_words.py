"""The guard's integers against the contract's words, and the limits it takes."""

import pytest

from fiftyover_kit import guard
from fiftyover_kit.contract.limits import CAP_TRIP_OF, REFUSALS, STATUS, WHY
from firmware.guard_rig import OK, OPEN, UNCALIBRATED


def test_the_integers_of_the_guard_are_the_words_of_the_contract():
    for index, word in enumerate(WHY[:10]):
        assert getattr(guard, "_WHY_" + word.upper().replace("-", "_")) == index
    for index, name in enumerate(
        [
            "RETAINED",
            "OTHER_HUB",
            "OTHER_BOOT",
            "NOT_NEWER",
            "TTL",
            "DUTY_RANGE",
            "TOO_OLD",
            "FUTURE",
            "CHAMBER",
            "BEFORE",
        ],
        1,
    ):
        assert getattr(guard, "_NO_" + name) == index
    assert REFUSALS[1:4] == ("retained", "other-hub", "other-boot")
    assert REFUSALS[9:] == ("probe-fault", "before-clear")
    assert (OK, OPEN, STATUS.index("short"), UNCALIBRATED) == (
        guard._OK,
        guard._OPEN,
        guard._SHORT,
        guard._UNCALIBRATED,
    )
    assert CAP_TRIP_OF == (2, 8)
    assert (1 << CAP_TRIP_OF[1]) - 1 == guard._HISTORY_MASK


@pytest.mark.parametrize("limits", [(1, 1, 1), (1000, 9000, 500), (9000, 1000, 9500), (1000, 9000, 2000, 5, 5, 5)])
def test_limits_out_of_order_are_refused(limits):
    with pytest.raises(ValueError, match="in the order"):
        guard.new_state(limits, 0)
