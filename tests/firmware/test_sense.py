"""Counts to a status word: every fault as a value, none of them in ordinary use."""

import random

import pytest

from fiftyover_kit import sense, settings
from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.limits import STATUS, TICK_MASK, ticks_add
from firmware.kit_rig import CURVE, SERIES_OHM, channel, counts

FULL = 64 * 65535


def made(**changed):
    return settings.Channel(channel(0, **changed), "test")


class Wire:
    """A probe, a clock at 4 Hz and a little noise."""

    def __init__(self, start_ms=0, seed=1, **changed):
        self.probe, self.now, self.dice = sense.Probe(made(**changed)), start_ms, random.Random(seed)

    def raw(self, value, times=1):
        for _ in range(times):
            self.now = ticks_add(self.now, 250)
            word = STATUS[self.probe.sample(self.now, value)]
        return word

    def at(self, degC, times=1):
        for _ in range(times):
            word = self.raw(counts(degC) + self.dice.randrange(-40, 41))
        return word


def test_the_integers_of_sense_are_the_words_of_the_contract():
    for name in STATUS:
        assert STATUS[getattr(sense, name.upper())] == name


def test_good_probe_is_ok_from_its_first_sample_and_an_uncalibrated_one_says_so():
    assert Wire().at(20) == "ok"
    assert Wire(calibrated=False).at(20) == "uncalibrated"


def test_probe_has_no_number_before_its_first_sample():
    assert sense.Probe(made()).degC_x100() is None


@pytest.mark.parametrize(
    ("ratio", "word"),
    [(0.0, "short"), (0.0049, "short"), (0.9951, "open"), (1.0, "open"), (0.0051, "range"), (0.9949, "range")],
)
def test_open_and_short_show_at_the_first_sample_and_end_after_eight_good_ones(ratio, word):
    wire = Wire()
    wire.at(60, 20)
    assert wire.raw(int(FULL * ratio)) == word
    assert wire.probe.degC_x100() is None
    assert [wire.at(60) for _ in range(8)] == [word] * 7 + ["ok"]


def test_a_contact_that_fails_now_and_then_stays_a_fault():
    wire = Wire()
    wire.at(60, 20)
    for _ in range(20):
        wire.raw(FULL)
        assert wire.at(60, 6) == "open"


def test_faults_end_only_inside_bands_that_are_drawn_in():
    wire = Wire()
    wire.at(147, 20)
    assert wire.at(149.5) == "ok"
    assert wire.at(150.5) == "range"
    assert wire.at(149.0, 50) == "range"
    assert wire.at(147.0, 8) == "ok"
    wire = Wire()
    wire.at(-17, 20)
    assert wire.raw(int(FULL * 0.9955)) == "open"
    assert wire.raw(int(FULL * 0.9945), 50) == "open"


@pytest.mark.parametrize(("degC", "word"), [(-19.5, "ok"), (-20.5, "range"), (149.5, "ok"), (150.5, "range")])
def test_range_is_minus_twenty_to_a_hundred_and_fifty(degC, word):
    wire = Wire()
    near, step = (149, 10) if degC > 0 else (-19, -10)
    assert {wire.at(on_the_way) for on_the_way in [*range(30, near, step), near]} == {"ok"}
    assert wire.raw(counts(degC)) == word


def test_a_spike_is_a_jump_for_two_seconds_and_a_new_level_is_believed_after_that():
    wire = Wire()
    wire.at(60, 20)
    assert wire.at(90) == "jump"
    assert wire.at(60) == "jump"
    assert [wire.at(60) for _ in range(8)][-2:] == ["jump", "ok"]
    assert wire.at(44.5) == "jump"
    assert wire.at(44.5, 8) == "ok"


@pytest.mark.parametrize("lag_s", [8, 30, 60])
@pytest.mark.parametrize(("start", "end"), [(80, 0), (0, 80), (100, 0), (0, 100), (70, 5)])
def test_probe_moved_between_ice_meat_and_boiling_water_never_jumps(lag_s, start, end):
    wire, degC = Wire(seed=lag_s), float(start)
    for _ in range(300):
        degC += (end - degC) * (1 - 2.718281828 ** (-1 / lag_s))  # a core is sampled once a second
        assert wire.at(degC) == "ok"


@pytest.mark.parametrize("start_ms", [0, TICK_MASK - 30_000])
def test_stuck_is_not_one_count_of_change_for_sixty_seconds(start_ms):
    wire = Wire(start_ms)
    wire.at(60, 4)
    assert wire.raw(2_000_000, 8) in ("ok", "jump")
    seen = [wire.raw(2_000_000) for _ in range(240)]
    assert (seen[150], seen[-1]) == ("ok", "stuck")
    assert seen.index("stuck") == 240 - 8
    assert wire.raw(2_000_000, 10_000) == "stuck"
    assert wire.raw(2_000_001) == "stuck"
    assert [wire.raw(2_000_001 + step % 2) for step in range(1, 8)][-1] == "ok"


def test_stuck_probe_stays_stuck_when_the_ticks_come_round():
    wire = Wire()
    wire.raw(2_000_000, 300)
    wire.now = ticks_add(wire.now, TICK_MASK - 74_000)
    assert wire.raw(2_000_000) == "stuck"


def test_steady_bath_with_the_noise_of_a_converter_is_never_stuck():
    wire = Wire()
    assert {wire.raw(2_000_000 + wire.dice.randrange(-3, 4)) for _ in range(20_000)} == {"ok"}


@pytest.mark.parametrize("degC", [-15, 0, 20.4, 54.44, 66.67, 87.8, 107.2, 145])
def test_frame_temperature_is_the_curves_to_a_hundredth(degC):
    wire = Wire()
    wire.raw(counts(degC), 4)
    assert wire.probe.degC_x100() == pytest.approx(degC * 100, abs=1)
    assert wire.probe.centi_degC == pytest.approx(
        degC * 100, abs=60
    )  # straight lines between 64 nodes: for slopes only


def test_frame_temperature_is_the_mean_of_the_last_sums():
    wire = Wire()
    for value in (2_000_000, 2_000_400, 2_000_800, 2_001_200):
        wire.raw(value)
    ratio = thermistor.ratio_from_counts(2_000_600, 64)
    expected = CURVE.degC(thermistor.ohms_from_ratio(ratio, SERIES_OHM))
    assert wire.probe.degC_x100() == round(expected * 100)
    wire.raw(2_000_000)
    wire.probe.degC_x100()
    wire.raw(2_000_400)
    ratio = thermistor.ratio_from_counts(2_000_400, 64)
    expected = CURVE.degC(thermistor.ohms_from_ratio(ratio, SERIES_OHM))
    assert wire.probe.degC_x100() == round(expected * 100)  # of what came since the frame before


@pytest.mark.parametrize("series_ohm", [2200, 22000, 100_000])
@pytest.mark.parametrize("r25", [10_000, 100_000, 1_000_000])
def test_every_intermediate_value_fits_a_small_int_of_a_board(series_ohm, r25):
    probe = sense.Probe(made(series_ohm=series_ohm, thermistor={"beta": [r25, 3977]}))
    steps = [abs(b - a) for a, b in zip(probe._table, probe._table[1:], strict=False)]
    assert max(steps) * (sense._MASK >> 2) < 1 << 30
    assert sense._AVERAGED * FULL < 1 << 24  # and a float of single precision holds it
    for value in range(0, FULL, 9973):
        probe.sample(0, value)


def test_limits_for_the_guard_are_counts_that_fall_with_temperature():
    cap, cold, clear = sense.guard_limits(made(), 107.2)
    for value, degC in ((cap, 107.2), (cold, -20.0), (clear, 97.2)):
        ratio = thermistor.ratio_from_counts(value, 64)
        assert CURVE.degC(thermistor.ohms_from_ratio(ratio, SERIES_OHM)) == pytest.approx(degC, abs=0.01)
    assert cap < clear < cold


def test_divider_in_which_the_cap_looks_like_a_short_is_refused():
    with pytest.raises(ContractError, match="series_ohm"):
        sense.guard_limits(made(thermistor={"beta": [1000, 3950]}), 107.2)


def test_curve_that_ends_at_minus_ten_is_judged_by_the_open_band_alone_on_its_cold_side():
    class Short:
        """A curve that holds just what `thermistor` promises of any."""

        degC = staticmethod(CURVE.degC)

        @staticmethod
        def ohms(degC):
            if degC < -10:
                raise ContractError("the curve does not fall so far")
            return CURVE.ohms(degC)

    given = made()
    given.thermistor = Short()
    probe = sense.Probe(given)
    assert STATUS[probe.sample(250, int(FULL * 0.99))] == "ok"
    assert STATUS[probe.sample(500, int(FULL * 0.996))] == "open"
