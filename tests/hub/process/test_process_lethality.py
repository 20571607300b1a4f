import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import lethality
from references.process.reading import rows

TABLE = rows("fsis_appendix_a_meat.csv")
COLUMN = {(float(row["log10"]), int(row["degF"])): int(row["dwell_s"]) for row in TABLE}


def degC(degF):
    return (degF - 32.0) * 5.0 / 9.0  # not the code's own conversion


def held(degF, seconds, before=100.0):
    """A core that jumps to degF, stays for some seconds and leaves."""
    return [0.0, 1.0, 1.0 + seconds, 2.0 + seconds], [degC(before), degC(degF), degC(degF), degC(before)]


def test_the_table_has_every_published_row_and_no_other():
    ours = {(log10, row.degF): lethality.dwell_s(row, log10) for log10 in (5.0, 6.5, 7.0) for row in lethality.ROWS}
    assert ours == COLUMN
    assert len(ours) == 93
    assert [lethality.dwell_s(row) for row in lethality.ROWS] == [lethality.dwell_s(row, 6.5) for row in lethality.ROWS]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['log10']}log-{row['degF']}F")
def test_a_row_is_met_by_its_dwell_and_not_by_a_second_less(row):
    degF, dwell_s, log10 = int(row["degF"]), int(row["dwell_s"]), float(row["log10"])
    if dwell_s == 0:
        assert lethality.rows_met([0.0], [degC(degF)], log10=log10) == list(range(158, degF + 1))
        assert degF not in lethality.rows_met([0.0], [degC(degF - 0.1)], log10=log10)
        return
    assert degF in lethality.rows_met(*held(degF, dwell_s), log10=log10)
    assert degF not in lethality.rows_met(*held(degF, dwell_s - 1), log10=log10)
    assert degF not in lethality.rows_met(*held(degF - 0.1, 10 * dwell_s), log10=log10)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['log10']}log-{row['degF']}F")
def test_the_printed_celsius_column_does_not_rule(row):
    # 137 and 139 degF are printed 0.06 K too warm; every other row is within its rounding
    is_misprint = row["degF"] in {"137", "139"}
    assert (abs(float(row["degC_printed"]) - degC(float(row["degF"]))) > 0.0501) == is_misprint
    if is_misprint:
        dwell_s = int(row["dwell_s"])
        times, core = [0.0, float(dwell_s)], [degC(float(row["degF"])) + 0.01] * 2  # below the misprinted figure
        assert int(row["degF"]) in lethality.rows_met(times, core, log10=float(row["log10"]))


def test_the_thermometers_error_is_added_to_the_limit():
    times, core = held(152.0, 43.0)
    assert 152 in lethality.rows_met(times, core)
    assert 152 not in lethality.rows_met(times, core, error_kelvin=0.5)
    assert 152 in lethality.rows_met(times, [value + 0.5 for value in core], error_kelvin=0.5)
    assert 151 not in lethality.rows_met(times, core, error_kelvin=0.5)  # 43 s of 54


def test_two_short_visits_are_not_one_long_stay():
    times = [0, 1, 30, 31, 32, 61, 62]
    core = [degC(f) for f in (150, 152, 152, 151.9, 152, 152, 150)]
    assert 152 not in lethality.rows_met(times, core)
    assert 152 in lethality.rows_met(times, [degC(f) for f in (150, 152, 152, 152, 152, 152, 150)])


def test_time_outside_the_two_end_samples_is_not_counted():
    # above 152 degF by interpolation for a minute, but never seen there twice
    assert 152 not in lethality.rows_met([0, 60, 120], [degC(151), degC(153), degC(151)])


def test_readings_missing_for_long_do_not_make_a_stay():
    times, core = [0.0, 1.0, 600.0, 601.0], [degC(153.0)] * 4
    assert 153 in lethality.rows_met(times, core)
    assert 153 not in lethality.rows_met(times, core, longest_gap_s=30.0)
    assert 153 in lethality.rows_met(times, core, longest_gap_s=599.0)  # a gap of that very length is none
    assert lethality.log10_reduction(times, core, longest_gap_s=599.0) == lethality.log10_reduction(times, core)
    assert lethality.log10_reduction(times, core, longest_gap_s=30.0) < 0.5


def test_a_lower_row_may_be_met_where_a_higher_is_missed():
    met = lethality.rows_met(*held(154.0, 60.0))
    assert {151, 152, 153, 154} <= set(met)
    assert 150 not in met  # 67 s
    assert 155 not in met


def test_a_hot_instant_meets_only_the_rows_without_a_time():
    assert lethality.rows_met([0.0], [degC(160.0)]) == [158, 159, 160]


def test_rows_come_ascending_and_none_come_from_a_cold_or_empty_record():
    met = lethality.rows_met([0.0, 7000.0], [degC(165.0)] * 2)
    assert met == list(range(130, 161))
    assert lethality.rows_met([0.0, 7000.0], [degC(129.9)] * 2) == []
    assert lethality.rows_met([], []) == []


@settings(deadline=None)
@given(
    st.lists(st.floats(120.0, 165.0), min_size=2, max_size=30),
    st.floats(1.0, 400.0),
    st.floats(0.0, 1.0),
)
def test_warmer_or_longer_never_loses_a_row(core_degF, step_s, warmer_degF):
    times = np.arange(len(core_degF)) * step_s
    core = degC(np.array(core_degF))
    met = set(lethality.rows_met(times, core))
    assert met <= set(lethality.rows_met(times, core + warmer_degF / 1.8))
    assert met <= set(lethality.rows_met(times * 1.3, core))
    assert met >= set(lethality.rows_met(times, core, error_kelvin=warmer_degF))
    assert met >= set(lethality.rows_met(times, core, log10=7))
    assert met <= set(lethality.rows_met(times, core, log10=5))


@settings(deadline=None)
@given(st.lists(st.floats(140.0, 160.0), min_size=2, max_size=20), st.floats(5.0, 100.0))
def test_a_finer_record_of_the_same_line_claims_no_less(core_degF, step_s):
    times = np.arange(len(core_degF)) * step_s
    fine = np.unique(np.concatenate((times, np.arange(0.0, times[-1], step_s / 7.0))))
    core = degC(np.array(core_degF))
    coarse_met = lethality.rows_met(times, core)
    assert set(coarse_met) <= set(lethality.rows_met(fine, np.interp(fine, times, core)))


@pytest.mark.parametrize(
    ("degF", "minutes"), [(130.0, 17.23), (140.0, 1.723), (145.0, 32.7 / 60.0), (150.0, 10.34 / 60.0)]
)
def test_the_closed_form_has_the_decimal_times_of_the_note(degF, minutes):
    one_log10 = lethality.log10_reduction([0.0, minutes * 60.0], [degC(degF)] * 2)
    assert one_log10 == pytest.approx(1.0, rel=1e-3)  # the note has three or four digits


def test_the_integral_lies_within_what_is_known_of_the_table():
    # 6.5 log10 column against the fit: at most 13 % above it, 0.5 % below (no time is printed from 158 degF on)
    for (log10, degF), dwell_s in COLUMN.items():
        if log10 == 6.5 and dwell_s > 0:
            assert 6.5 * 0.994 <= lethality.log10_reduction([0.0, dwell_s], [degC(degF)] * 2) <= 6.5 * 1.135


def test_zero_seconds_at_158_is_an_administrative_value_the_integral_does_not_share():
    assert lethality.log10_reduction([0.0, 10.7], [degC(158.0)] * 2) == pytest.approx(6.5, rel=5e-3)
    assert 158 in lethality.rows_met([0.0], [degC(158.0)])


def test_the_integral_of_a_straight_rise_is_exact_between_two_samples():
    # integral of 10^((T-130)/10) dT from 130 to 160 = 10/ln10 (10^3 - 1); one hour for 30 degF; D = 112/6.5 min
    expected = (60.0 / 30.0) * 10.0 / math.log(10.0) * 999.0 / (112.0 / 6.5)
    assert lethality.log10_reduction([0.0, 3600.0], [degC(130.0), degC(160.0)]) == pytest.approx(expected, rel=1e-9)
    down = lethality.log10_reduction([0.0, 3600.0], [degC(160.0), degC(130.0)])
    assert down == pytest.approx(expected, rel=1e-9)
    from_below = lethality.log10_reduction([0.0, 7200.0], [degC(100.0), degC(160.0)])
    assert from_below == pytest.approx(expected, rel=1e-9)


def test_nothing_is_claimed_where_no_row_is_printed():
    assert lethality.log10_reduction([0.0, 36000.0], [degC(129.9)] * 2) == 0.0
    assert lethality.log10_reduction([], []) == 0.0
    assert lethality.log10_reduction([5.0], [degC(155.0)]) == 0.0


def test_the_integral_takes_the_thermometers_error_off():
    times, core = [0.0, 100.0], [degC(150.0)] * 2
    assert lethality.log10_reduction(times, core, error_kelvin=10.0 / 1.8) == pytest.approx(
        lethality.log10_reduction(times, core) / 10.0, rel=1e-9
    )


@settings(deadline=None)
@given(st.floats(130.0, 160.0), st.floats(-1e-7, 1e-7))
def test_the_integral_is_smooth_where_the_core_hardly_moves(degF, change):
    flat = lethality.log10_reduction([0.0, 60.0], [degC(degF + 1e-6)] * 2)
    assert lethality.log10_reduction([0.0, 60.0], [degC(degF + 1e-6), degC(degF + 1e-6 + change)]) == pytest.approx(
        flat, rel=1e-6
    )


@settings(deadline=None)
@given(st.lists(st.floats(100.0, 165.0), min_size=3, max_size=20), st.integers(1, 18))
def test_the_integral_of_the_parts_is_that_of_the_whole(core_degF, cut):
    cut = min(cut, len(core_degF) - 2)
    times, core = np.arange(len(core_degF)) * 60.0, degC(np.array(core_degF))
    whole = lethality.log10_reduction(times, core)
    parts = lethality.log10_reduction(times[: cut + 1], core[: cut + 1]) + lethality.log10_reduction(
        times[cut:], core[cut:]
    )
    assert parts == pytest.approx(whole, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("function", [lethality.rows_met, lethality.log10_reduction])
@pytest.mark.parametrize(
    ("times", "core", "said"),
    [
        ([0, 1, 1], [60, 60, 60], "not after the one before"),
        ([0, 2, 1], [60, 60, 60], "not after the one before"),
        ([0, math.nan], [60, 60], "no number"),
        ([0, 1], [60, math.nan], "no number"),
        ([0, 1], [60, None], "no number"),
        ([0, 1], [60, "hot"], "no number"),
        ([0, 1], [60, math.inf], "no number"),
        ([0, 1], [60], "2 times but 1"),
        ([[0, 1]], [[60, 60]], "dimensions"),
        ([0, 60], [152, 153], "degF typed for degC"),
    ],
)
def test_a_record_that_is_none_is_refused(function, times, core, said):
    with pytest.raises(ProcessError, match=said):
        function(times, core)


def test_columns_and_errors_that_do_not_exist_are_refused():
    with pytest.raises(ProcessError, match=r"5, 6\.5 and 7"):
        lethality.rows_met([0, 1], [60, 60], log10=6)
    for error_kelvin in (-0.1, 11.0, math.nan):
        with pytest.raises(ProcessError, match="Thermometer error"):
            lethality.rows_met([0, 1], [60, 60], error_kelvin=error_kelvin)


@pytest.mark.parametrize("row", rows("consumer_advice.csv"), ids=lambda row: row["meat"])
def test_consumer_advice_stands_beside_and_above_the_rows(row):
    assert lethality.CONSUMER_ADVICE_DEGF[row["meat"]] == int(row["degF"])
    assert int(row["degF"]) >= max(lethality.ROWS).degF
