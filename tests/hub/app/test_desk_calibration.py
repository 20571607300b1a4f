"""Ice and boiling water typed into the page: what comes out is a curve that is right, and a history."""

import json
import math

import pytest

from fiftyover.app.desk_calibration import Calibrations, kinds, words_of
from fiftyover.bench import thermistors
from fiftyover_kit.contract import thermistor

KIND = "vishay-3977-10k"
BOILS_980_HPA = 99.04  # hardware/calibration.md, of IAPWS-IF97


@pytest.fixture
def told(tmp_path):
    return Calibrations(tmp_path / "calibrations.json", lambda: 1_795_600_000_000)


def reads(kind, degC, more=0.0, curve=None):
    """What a kit with the maker's curve shows at a temperature, of a probe with that share more of resistance."""
    own = kind.curve.ohms(degC) * (1.0 + more)
    return (curve or kind.curve).degC(own)


def typed(kind, more=0.0, curve=None, /, **changes):
    return {
        "probe": 3,
        "kind": kind.name,
        "has": "maker" if curve is None else "corrected",
        "ice_degC": reads(kind, 0.0, more, curve),
        "boiling_degC": reads(kind, BOILS_980_HPA, more, curve),
        "given": "station_hPa",
        "value": 980.0,
        **changes,
    }


def test_line_for_the_kit_reads_true_in_both_baths_and_between(told):
    kind = thermistors.named(KIND)
    done, says = told.take("kit-1", typed(kind, 0.01))
    assert done, says
    assert "corrected" in says
    line = json.loads(told.of("kit-1")[0]["line"])
    assert line["calibrated"] is True
    curve = thermistor.from_maker(*line["thermistor"]["maker"])
    for degC in (0.0, 40.0, 67.0, BOILS_980_HPA):
        assert curve.degC(kind.curve.ohms(degC) * 1.01) == pytest.approx(degC, abs=0.05)
    assert told.kind_of("kit-1") == {3: words_of(kind)}
    assert told.of("kit-2") == []


def test_second_time_starts_from_the_line_that_is_in_the_kit_and_tells_a_wet_probe(told):
    kind = thermistors.named(KIND)
    told.take("kit-1", typed(kind, 0.01))
    first = thermistor.from_maker(*told.of("kit-1")[0]["numbers"])
    done, says = told.take("kit-1", typed(kind, 0.01, first))
    assert done
    assert "water in it" not in says
    assert told.of("kit-1")[1]["off_kelvin"] == pytest.approx([0.0, 0.0], abs=0.05)
    again = thermistor.from_maker(*told.of("kit-1")[1]["numbers"])
    assert again.degC(kind.curve.ohms(67.0) * 1.01) == pytest.approx(67.0, abs=0.05)
    second = thermistor.from_maker(*told.of("kit-1")[1]["numbers"])
    _, says = told.take("kit-1", typed(kind, -0.03, second))
    assert "water in it, throw it away" in says


def test_other_thermistor_is_told_and_gives_no_line(told):
    kind = thermistors.named(KIND)
    done, says = told.take("kit-1", typed(kind, 0.25))
    assert done
    assert "another thermistor than this kind" in says
    assert told.of("kit-1")[0]["line"] == ""


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"probe": "3"}, "which probe"),
        ({"probe": True}, "which probe"),
        ({"kind": "any"}, "No thermistor is called 'any'"),
        ({"ice_degC": None}, "one alone can make it worse"),
        ({"boiling_degC": math.inf}, "one alone can make it worse"),
        ({"value": None}, "how high you are"),
        ({"given": "moon"}, "how high you are"),
        ({"value": 30.0}, "no station pressure"),
        ({"given": "altitude_m", "value": 9000.0}, "outside -100 to 3500"),
        ({"ice_degC": 99.0, "boiling_degC": 0.0}, "swapped"),
    ],
)
def test_what_cannot_be_is_a_sentence_and_nothing_is_kept(told, changes, words):
    done, says = told.take("kit-1", typed(thermistors.named(KIND), **changes))
    assert not done
    assert words in says
    assert told.of("kit-1") == []


def test_kind_alone_is_noted_and_units_of_the_place_are_understood(told):
    kind = thermistors.named(KIND)
    done, says = told.take("kit-1", {"probe": 2, "kind": KIND})
    assert done
    assert says == f"Noted: probe 2 is {words_of(kind)}."
    same = []
    for given, value in (("station_hPa", 980.0), ("station_inHg", 28.939)):  # 980 hPa / 33.8639
        told.take("kit-1", typed(kind, 0.01, given=given, value=value))
        same.append(told.of("kit-1")[-1]["off_kelvin"][1])
    assert same[0] == pytest.approx(same[1], abs=0.011)
    assert told.take("", typed(kind))[1].startswith("No kit was heard")


def test_every_kind_has_words_of_its_own():
    words = [one["words"] for one in kinds()]
    assert len(set(words)) == len(words)
    assert "10 kΩ at 25 °C, Vishay BCcomponents NTCLE100E3103" in words


def test_damaged_file_loses_the_history_and_nothing_else(told, tmp_path):
    (tmp_path / "calibrations.json").write_text("[")
    assert told.of("kit-1") == []
    assert told.take("kit-1", {"probe": 2, "kind": KIND})[0]
    assert (tmp_path / "calibrations.json").stat().st_mode & 0o777 == 0o600
