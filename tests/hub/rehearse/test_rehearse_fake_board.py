"""The board on paper: its circuit, its faults, and its record of the relay."""

import statistics

import pytest

from fiftyover.rehearse.fake_board import Circuit, FakeBoard


class Table:
    """A thermistor of two printed rows (Semitec 104GT-2, maker's leaflet), flat elsewhere."""

    def ohms(self, degC):
        return 33490.0 if degC < 75.0 else 5556.0


class Falling:
    """A straight line, so that the grid of the circuit can be checked by hand."""

    def ohms(self, degC):
        return 50000.0 - 150.0 * degC


def board(**words):
    return FakeBoard([Circuit(22000.0, Table()), Circuit(22000.0, Table())], **words)


def test_counts_are_the_voltage_ratio_of_the_divider():
    quiet = board(noise_kelvin=0.0, read_noise_counts=0.0)
    quiet.true_degC = [50.0, 100.0]
    # By hand: 33490 / 55490 = 0.603532 and 5556 / 27556 = 0.201626 of 64 x 65535.
    assert quiet.read_sum(0, 64) == pytest.approx(0.603532 * 64 * 65535, abs=5)
    assert quiet.read_sum(1, 64) == pytest.approx(0.201626 * 64 * 65535, abs=5)


def test_straight_lines_of_the_grid_stay_near_the_circuit():
    circuit = Circuit(22000.0, Falling())
    for degC in (3.33, 20.05, 60.0, 99.97):
        ohms = 50000.0 - 150.0 * degC
        assert circuit.ratio(degC) == pytest.approx(ohms / (ohms + 22000.0), abs=1e-6)


def test_temperatures_beyond_the_grid_take_its_ends():
    circuit = Circuit(22000.0, Falling())
    assert circuit.ratio(-500.0) == circuit.ratio(-60.0)
    assert circuit.ratio(900.0) == circuit.ratio(260.0)


def test_noise_of_a_sum_grows_with_the_root_of_its_reads():
    noisy = board(seed=4, noise_kelvin=0.0, read_noise_counts=20.0)
    noisy.true_degC = [50.0, 50.0]
    sums = [noisy.read_sum(0, 64) for _ in range(2000)]
    assert statistics.stdev(sums) == pytest.approx(20.0 * 8.0, rel=0.1)


def test_open_lead_reads_full_scale_and_a_short_reads_nothing():
    broken = board()
    broken.lead_open(0)
    broken.lead_short(1)
    assert broken.read_sum(0, 64) > 0.995 * 64 * 65535
    assert broken.read_sum(1, 64) < 0.005 * 64 * 65535
    broken.mend()
    assert 0.1 * 64 * 65535 < broken.read_sum(0, 64) < 0.9 * 64 * 65535


def test_frozen_channel_repeats_itself_while_the_other_flutters():
    stuck = board(seed=1)
    stuck.freeze(0)
    stuck.true_degC = [90.0, 50.0]
    assert len({stuck.read_sum(0, 64) for _ in range(20)}) == 1
    assert len({stuck.read_sum(1, 64) for _ in range(20)}) > 10


def test_drift_grows_with_time():
    drifting = FakeBoard([Circuit(22000.0, Falling())], noise_kelvin=0.0, read_noise_counts=0.0)
    drifting.true_degC[0] = 50.0
    drifting.drift(0, 10.0)
    drifting.now_ms = 1_800_000
    ohms = 50000.0 - 150.0 * 55.0
    assert drifting.read_sum(0, 1) == pytest.approx(65535 * ohms / (ohms + 22000.0), abs=1)


def test_relay_record_holds_changes_only_and_a_wrong_sequence_is_named():
    switched = board()
    for now_ms, on in ((0, 0), (250, 1), (500, 1), (750, 0)):
        switched.now_ms = now_ms
        switched.relay(on)
    switched.expect_relay([(250, 1), (750, 0)])
    switched.expect_relay([(200, 1), (800, 0)], within_ms=50)
    with pytest.raises(AssertionError, match="Relay change 1"):
        switched.expect_relay([(250, 1), (900, 0)])
    with pytest.raises(AssertionError, match="Expected 3"):
        switched.expect_relay([(250, 1), (750, 0), (1000, 1)])


def test_welded_relay_heats_with_the_pin_low_and_a_dead_element_never_does():
    board_1 = board()
    assert not board_1.element_on
    board_1.weld_relay()
    assert board_1.element_on
    board_1.burn_out_element()
    assert not board_1.element_on


def test_restart_drops_the_relay_takes_a_new_boot_id_and_keeps_the_latch():
    restarted = board()
    before = restarted.boot_id()
    restarted.relay(1)
    restarted.latch_write(1)
    restarted.restart("watchdog")
    assert restarted.relay_state == 0
    assert restarted.boot_id() != before
    assert len(restarted.boot_id()) == 12
    assert restarted.latch_read() == 1
    assert restarted.reset_cause() == "watchdog"


def test_watchdog_fed_late_is_counted():
    slow = board()
    for now_ms in (0, 5000, 10001):
        slow.now_ms = now_ms
        slow.feed()
    assert slow.late_feeds == 1


def test_two_boards_know_nothing_of_each_other_and_one_seed_is_one_board():
    one, two, same = board(seed=1), board(seed=2), board(seed=1)
    one.relay(1)
    one.lead_open(0)
    assert two.relay_log == []
    assert two.read_sum(0, 64) < 64 * 65000
    assert one.boot_id() == same.boot_id() != two.boot_id()
    assert [one.read_sum(1, 64) for _ in range(5)] != [two.read_sum(1, 64) for _ in range(5)]
