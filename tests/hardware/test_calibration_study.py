"""The error budget page is what the study found, and a short run of the study finds the same."""

import importlib.util
import json
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

STUDY = Path(__file__).resolve().parents[2] / "hardware" / "study"


@cache
def loaded(name):
    sys.path.insert(0, str(STUDY))
    try:
        spec = importlib.util.spec_from_file_location(name, STUDY / f"{name}.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(STUDY))
    return module


@cache
def kits():
    loaded("calibration_study")
    return sys.modules["random_kits"]


@cache
def result():
    return json.loads((STUDY / "result.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def short():
    return loaded("calibration_study").study(40, 30, 12)


def test_the_page_is_what_the_stored_result_makes():
    study = loaded("calibration_study")
    assert study.page(result()) == study.PAGE.read_text("utf-8")
    assert result()["kits"] == 1000


def test_before_calibration_hardly_a_kit_is_within_half_a_degree_after_it_nearly_all_are(short):
    for found, least in ((result(), 0.99), (short, 0.95)):
        assert set(found["variants"]) == {variant.name for variant in kits().VARIANTS}
        for name, given in found["variants"].items():
            assert given["shares"]["before"]["kits"] < 0.35, name
            assert given["shares"]["after"]["kits"] >= least, name
            assert given["shares"]["after, boiling by altitude alone"]["kits"] < 0.6, name


def test_every_probe_on_a_curve_more_than_three_degrees_wrong_is_told(short):
    for found in (result(), short):
        far = [row for row in found["wrong_curves"] if row[2] is None or row[2] > 3.0]
        assert len(far) > 150
        assert [row for row in far if row[4] < 1] == []


def test_a_near_twin_that_is_not_told_is_brought_within_half_a_degree(short):
    for found in (result(), short):
        assert max(row[3] for row in found["wrong_curves"]) <= 0.5


def test_no_probe_on_its_own_curve_is_called_wrong(short):
    assert result()["right_called_wrong"] == short["right_called_wrong"] == 0


def test_a_stored_line_of_the_budget_is_found_again():
    study = loaded("calibration_study")
    direct = kits().VARIANTS[0]
    stored = result()["variants"][direct.name]["budget"]["r25"]
    one = kits().draw(np.random.default_rng(study.SEED), study.FULL[1], {"r25"})
    again = np.abs(kits().errors_kelvin(direct, one, calibrated=False, degC=np.array(study.BUDGET_AT))).max(axis=0)
    assert again == pytest.approx([before for before, _ in stored], rel=1e-6)


def test_a_budget_line_is_the_one_worked_by_hand():
    """R25 off by 1 % at 60 °C: 0.01 / (4190 K / 333.15² K²) = 0.265 K, as in the data sheets' alpha of 3.8 %/K."""
    stored = result()["variants"]["direct, RP2350"]["budget"]["r25"][1][0]
    assert stored == pytest.approx(0.265, abs=0.01)


def test_the_perfect_kit_has_no_error():
    for variant in kits().VARIANTS:
        for calibrated in (False, True):
            off = kits().errors_kelvin(variant, kits().Draw(1), calibrated=calibrated)
            assert np.abs(off).max() < 0.002, (variant.name, calibrated)
