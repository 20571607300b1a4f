"""Dating by the kit's ticks: delay never makes a frame late, wraps and restarts never make it wrong."""

import pytest

from fiftyover.ingest.dating import BOOTS_MAX, Dating

KIT, BOOT, NEXT = "kit-3f2a", "9f3c1a02b7e4", "0a1b2c3d4e5f"
PERIOD_MS = 2**30


def heard(dating, started_s, seconds, delay_s=0.0, boot=BOOT, rate=1.0):
    """Live frames of a kit that started at `started_s`, read at these seconds after; returns the dates."""
    return [
        dating.hear(KIT, boot, round(second * rate * 1000) % PERIOD_MS, started_s + second + delay_s).at_s
        for second in seconds
    ]


def test_frame_is_dated_by_the_quickest_one_heard():
    dating = Dating()
    assert heard(dating, 1000.0, [0], delay_s=0.4) == [1000.4]  # nothing better is known yet
    assert heard(dating, 1000.0, [1], delay_s=0.1) == [1001.1]
    assert heard(dating, 1000.0, [2], delay_s=3.0) == pytest.approx([1002.1])  # it waited; it is not dated late
    assert dating.at_s(KIT, BOOT, 0) == pytest.approx(1000.1)  # and the first is put right


def test_frames_that_a_stalled_broker_held_are_not_dated_late():
    dating = Dating()
    heard(dating, 1000.0, range(60))
    burst = [dating.hear(KIT, BOOT, second * 1000, 1000.0 + 90.0).at_s for second in range(60, 90)]
    assert burst == pytest.approx([1000.0 + second for second in range(60, 90)])


@pytest.mark.parametrize("stall_s", [900, 3600, 86400])
def test_stall_longer_than_the_window_forgets_nothing(stall_s):
    dating = Dating()
    heard(dating, 1000.0, range(60))
    late = dating.hear(KIT, BOOT, 61_000, 1000.0 + 60 + stall_s).at_s
    assert late == pytest.approx(1061.0)


@pytest.mark.parametrize("rate", [1 - 100e-6, 1 + 100e-6])
def test_kit_clock_that_drifts_is_followed(rate):
    dating = Dating()
    dates = heard(dating, 1000.0, range(0, 14_400, 5), rate=rate)  # four hours at 100 ppm: 1.44 s in all
    wrong_s = [abs(date - 1000.0 - second) for second, date in zip(range(0, 14_400, 5), dates, strict=True)]
    assert max(wrong_s) <= 0.07  # ten minutes' worth, 0.06 s, and rounding


def test_ticks_that_wrap_go_on_without_a_step():
    dating = Dating()
    first_s = PERIOD_MS / 1000 - 3
    dates = heard(dating, 1000.0, [first_s + second for second in range(8)])
    steps = [later - earlier for earlier, later in zip(dates, dates[1:], strict=False)]
    assert steps == pytest.approx([1.0] * 7, abs=0.002)


def test_backlog_from_before_a_wrap_is_dated_before_it():
    dating = Dating()
    wrap_s = PERIOD_MS / 1000
    heard(dating, 1000.0, [wrap_s + 5])
    assert dating.at_s(KIT, BOOT, PERIOD_MS - 7000) == pytest.approx(1000.0 + wrap_s - 7, abs=0.002)
    assert dating.at_s(KIT, BOOT, 2000) == pytest.approx(1000.0 + wrap_s + 2, abs=0.002)


@pytest.mark.parametrize("days", [5, 7, 13, 30, 100])
def test_silence_of_any_length_loses_no_wrap(days):
    dating = Dating()
    heard(dating, 1000.0, range(5))
    assert heard(dating, 1000.0, [days * 86_400]) == pytest.approx([1000.0 + days * 86_400], abs=0.002)


def test_kit_that_ran_for_weeks_before_the_hub_is_dated_from_now_on():
    dating = Dating()
    dates = heard(dating, -3_000_000.0, [3_001_000.0, 3_001_001.0])
    assert dates == pytest.approx([1000.0, 1001.0], abs=0.002)


def test_start_that_ended_keeps_its_offset_and_is_no_news():
    dating = Dating()
    heard(dating, 1000.0, range(5))
    heard(dating, 1020.0, [0], boot=NEXT)
    late = dating.hear(KIT, BOOT, 3000, 1030.0)
    assert (late.at_s, late.current) == (1003.0, False)
    assert dating.at_s(KIT, BOOT, 4500) == pytest.approx(1004.5)
    assert dating.current(KIT) == NEXT
    assert dating.offset(KIT, BOOT) == (1000.0, 1004.0)


def test_older_frames_wait_until_a_live_one_of_their_start_was_heard():
    dating = Dating()
    assert not dating.knows(KIT, BOOT)
    dating.hear(KIT, NEXT, 0, 1.0)
    assert not dating.knows(KIT, BOOT)
    dating.hear(KIT, BOOT, 0, 2.0)
    assert dating.knows(KIT, BOOT)


def test_restart_of_the_hub_goes_on_by_the_saved_offset():
    dating = Dating()
    dating.restore(KIT, BOOT, 1000.0, 1500.0, exact=True)
    assert dating.at_s(KIT, BOOT, 499_000) == 1499.0
    stalled = dating.hear(KIT, BOOT, 600_000, 1700.0)  # the first one heard had waited for 100 s
    assert (stalled.at_s, stalled.current) == (1600.0, True)


def test_restart_of_the_machine_learns_a_start_that_goes_on_anew():
    dating = Dating()
    dating.restore(KIT, BOOT, -600.0, -110.0, exact=False)
    assert not dating.knows(KIT, BOOT)
    assert heard(dating, -598.5, [700.0]) == [101.5]  # the wall clock was 1.5 s off: the live frame rules


def test_restart_of_the_machine_dates_a_start_that_ended_by_way_of_utc():
    dating = Dating()
    dating.restore(KIT, BOOT, -600.0, -110.0, exact=False)
    heard(dating, 100.0, [1], boot=NEXT)
    assert dating.knows(KIT, BOOT)
    assert dating.at_s(KIT, BOOT, 480_000) == -120.0


def test_kits_are_dated_apart():
    dating = Dating()
    dating.hear("kit-1", BOOT, 0, 10.0)
    dating.hear("kit-2", BOOT, 0, 20.0)
    assert (dating.at_s("kit-1", BOOT, 1000), dating.at_s("kit-2", BOOT, 1000)) == (11.0, 21.0)


def test_kit_that_restarts_without_end_fills_no_memory():
    dating = Dating()
    for number in range(BOOTS_MAX * 3):
        dating.hear(KIT, f"{number:012x}", 0, float(number))
    assert len(dating._boots) == BOOTS_MAX
    assert dating.at_s(KIT, f"{BOOTS_MAX * 3 - 1:012x}", 500) == BOOTS_MAX * 3 - 1 + 0.5
