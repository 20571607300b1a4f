"""The named curves against the makers' tables, and the unknown probe against its own three baths."""

import pytest

from contract import run_vectors
from fiftyover.bench.calibration import CalibrationError
from fiftyover.bench.thermistors import identify, kinds, named
from fiftyover_kit.settings import _THERMISTORS as FORMS
from firmware.test_thermistor import INDEX, TABLES, table

# Which published table each name stands for; ratio tables are scaled to the named R25.
TABLE_OF = {
    "epcos-8016-10k": "epcos_B57861S0103_rt8016.csv",
    "epcos-57891-10k": "epcos_B57891S0103.csv",
    "epcos-57330-10k": "epcos_B57330V2103.csv",
    "amphenol-1-10k": "amphenol_thermometrics_material1.csv",
    "semitec-103at-10k": "semitec_103AT.csv",
    "semitec-103gt2-10k": "semitec_103GT-2.csv",
    "vishay-3977-10k": "vishay_NTCLE100E3103_computed.csv",
    "semitec-503gt2-50k": "semitec_503GT-2.csv",
    "semitec-104gt2-100k": "semitec_104GT-2.csv",
    "murata-wf104-100k": "murata_NCP15WF104.csv",
    "vishay-4190-100k": "vishay_NTCLE100E3104_computed.csv",
    "vishay-4570-470k": "vishay_NTCLE100E3474_computed.csv",
    "semitec-504gt2-500k": "semitec_504GT-2.csv",
    "semitec-105gt2-1m": "semitec_105GT-2.csv",
}


def rows(name):
    return table(TABLE_OF[name])


def test_every_named_curve_has_its_table_and_every_table_its_name():
    assert set(TABLE_OF) == set(kinds())
    assert set(TABLE_OF.values()) == {row[0] for row in INDEX}
    assert TABLES.is_dir()


@pytest.mark.parametrize("name", sorted(TABLE_OF))
def test_named_curve_is_within_a_tenth_of_its_makers_table_and_says_its_source(name):
    kind = named(name)
    assert run_vectors.worst_kelvin(kind.curve, rows(name)) <= 0.10
    assert kind.source
    assert kind.grade in "ABC"
    assert kind.curve.degC(kind.r25_ohm) == pytest.approx(25.0, abs=0.10)


@pytest.mark.parametrize("name", sorted(TABLE_OF))
def test_named_curve_is_an_entry_that_the_kits_settings_take(name):
    ((form, numbers),) = named(name).setting.items()
    assert FORMS[form](numbers).degC(named(name).r25_ohm) == pytest.approx(25.0, abs=0.10)


def test_unknown_name_is_refused_with_the_names_there_are():
    with pytest.raises(CalibrationError, match="semitec-104gt2-100k"):
        named("b3950")


@pytest.mark.parametrize("name", ["epcos-8016-10k", "semitec-104gt2-100k", "semitec-103at-10k", "murata-wf104-100k"])
def test_three_baths_make_the_unknown_probes_own_curve_and_name_its_kind(name):
    """Baths are rows of the maker's table; what is between them is held to the table's other rows."""
    there = dict(rows(name))
    found = identify([(degC, there[degC]) for degC in (100.0, 0.0, 50.0)])
    assert run_vectors.worst_kelvin(FORMS["points"](found.setting["points"]), rows(name)) <= 0.10
    assert name in [kind.name for kind, _ in found.alike]
    assert found.alike == sorted(found.alike, key=lambda pair: pair[1])


def test_a_probe_of_another_class_is_not_among_those_alike():
    there = dict(rows("semitec-103at-10k"))
    found = identify([(degC, there[degC]) for degC in (0.0, 50.0, 100.0)])
    assert not {"epcos-8016-10k", "semitec-104gt2-100k"} & {kind.name for kind, _ in found.alike}


def test_a_probe_of_no_maker_gets_its_own_curve_and_no_name():
    found = identify([(0.0, 65000.0), (50.0, 8300.0), (98.0, 1900.0)])
    assert found.alike == []
    assert found.setting == {"points": [[0.0, 65000.0], [50.0, 8300.0], [98.0, 1900.0]]}


@pytest.mark.parametrize(
    ("baths", "sentence"),
    [
        ([(20.0, 126800), (30.0, 79360), (40.0, 50960)], "K apart"),
        ([(0.0, 353700), (60.0, 22510), (70.0, 15440)], "both sides of the use"),
        ([(30.0, 79360), (60.0, 22510), (100.0, 5556)], "both sides of the use"),
        ([(0.0, 353700), (100.0, 5556)], "3 baths are needed"),
        ([(0.0, 353700), (90.0, 7686), (100.0, 5556)], "too close to another"),
        ([(0.0, 5556), (50.0, 33490), (100.0, 353700)], "must fall"),
        ([(0.0, 353700), (50.0, 33490), (70.0, 15440), (100.0, 5556)], "Three baths"),
    ],
)
def test_baths_that_make_no_curve_are_refused_with_a_way_on(baths, sentence):
    with pytest.raises(CalibrationError, match=sentence):
        identify(baths)


def test_near_twins_are_said_to_be_one_of_these_and_a_probe_of_no_maker_none():
    there = dict(rows("vishay-3977-10k"))
    found = identify([(degC, there[degC]) for degC in (0.0, 50.0, 100.0)])
    assert found.sentence.startswith("one of these, which three kitchen baths cannot tell apart: ")
    assert all(name in found.sentence for name in ("vishay-3977-10k", "amphenol-1-10k", "epcos-8016-10k"))
    assert identify([(0.0, 65000.0), (50.0, 8300.0), (98.0, 1900.0)]).sentence.startswith("none of the named kinds")
