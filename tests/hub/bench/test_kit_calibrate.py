"""`fiftyover kit calibrate` against a real MicroPython: probes made right, refused, measured, moved."""

import json
import time

import pytest

from fiftyover.bench import kit_settings, slots, usb
from fiftyover.bench.calibrating import Given, calibrate
from fiftyover.bench.readings import Bench
from fiftyover.bench.thermistors import named
from fiftyover.errors import HubError
from hub.bench.usb_stage import code_of, flashed, kit, script, see, settings

BOILING = 99.97


def test_calibration_brings_each_probe_right_refuses_and_keeps_history(board, monkeypatch, tmp_path, capsys):
    """Probes 0.9 % off in R25 and a converter 0.3 % off; one step with the wrong plug, one with a probe unplugged."""
    flashed(board)
    given = settings()
    (board.folder / "settings.json").write_text(json.dumps(given))
    curves = [one.thermistor for one in kit_settings.load(json.dumps(given)).channels]

    def see(ohms):
        for channel, ohm in enumerate(ohms):
            board.codes[channel] = min(65535, round(code_of(ohm, given["channels"][channel]["series_ohm"]) * 0.997))
        time.sleep(0.2)  # until the stand-in has said so
        return ""

    def at(degC):
        return [curve.ohms(degC) * factor for curve, factor in zip(curves, (1.009, 0.992, 1.005), strict=True)]

    def loose():
        see(at(0.0))
        board.codes[1] = 65535
        time.sleep(0.2)
        return ""

    history = tmp_path / "history"
    answers = [
        lambda: see([9000] * 3),  # not the stated resistor
        lambda: see([68000] * 3),
        lambda: see([7500] * 3),
        lambda: see([68000] * 3),
        loose,
        lambda: see(at(0.0)),
        lambda: see(at(BOILING)),
    ]
    words = ["calibrate", "--station-hpa", "1013.25", "--history", str(history)]
    code, said = kit(board, monkeypatch, answers, *words)
    assert code == 0, capsys.readouterr().err
    assert any("should be 7500 ohm reads as" in text for text in said)
    assert any(text.startswith("Probe 2:") and "nplugged" in text for text in said)
    assert len((history / f"{given['kit']}.jsonl").read_text().splitlines()) == 1
    with usb.Usb(board.port) as one:
        bench = Bench(one, slots.slot_of(one), kit_settings.read(one))
        for degC in (20.0, 60.0, 100.0):
            see(at(degC))
            bench.ratios()
            for channel, ratio in enumerate(bench.ratios()):
                status, shown = bench.shown(ratio, channel)
                assert status == "ok"
                assert shown == pytest.approx(degC, abs=0.15)


def test_unknown_probes_are_measured_in_three_baths_and_one_that_moves_is_told_next_time(board, monkeypatch, tmp_path):
    """Probes of another kind than the settings say, told by their own baths; a year later probe 2 is 1.5 % off."""
    flashed(board)
    given = settings()
    (board.folder / "settings.json").write_text(json.dumps(given))
    curve = named("semitec-104gt2-100k").curve
    factors = [1.0, 1.0, 1.0]

    def at(degC):
        return lambda: see(board, given, [curve.ohms(degC) * factor for factor in factors])

    def warm():
        at(57.0)()
        return "57,0"

    plugs = [lambda: see(board, given, [7500] * 3), lambda: see(board, given, [68000] * 3)]
    words = ["calibrate", "--station-hpa", "1013.25", "--history", str(tmp_path), "--unknown"]
    answers = [*plugs, at(0.0), "warm", "20", warm, "", at(BOILING)]
    code, said = kit(board, monkeypatch, answers, *words)
    assert code == 0
    assert any("'warm' is no temperature of 50 to 65 °C" in text for text in said)
    assert any("'20' is no temperature" in text for text in said)
    assert not any("moved" in text for text in said)
    with usb.Usb(board.port) as one:
        bench = Bench(one, slots.slot_of(one), kit_settings.read(one))
        for degC in (20.0, 60.0, 100.0):
            at(degC)()
            bench.ratios()
            for channel, ratio in enumerate(bench.ratios()):
                assert bench.shown(ratio, channel) == ("ok", pytest.approx(degC, abs=0.3))
    factors[1] = 0.97
    code, said = kit(board, monkeypatch, [*plugs, at(0.0), at(BOILING)], *words[:-1])
    assert code == 0
    moved = [text for text in said if "moved" in text]
    assert moved == ["Probe 2 moved by more than 0.5 K since last time: water in it? Replace it."]
    assert len((tmp_path / f"{given['kit']}.jsonl").read_text().splitlines()) == 2


def sound_kit(board):
    """A kit whose settings are right: them, their text, and a bath of so many °C for all its probes."""
    flashed(board)
    given = settings()
    before = json.dumps(given)
    (board.folder / "settings.json").write_text(before)
    curves = [one.thermistor for one in kit_settings.load(before).channels]

    def at(degC):
        return lambda: see(board, given, [curve.ohms(degC) for curve in curves])

    return given, before, at


@pytest.mark.parametrize(("off_kelvin", "code"), [(0.1, 0), (3.0, 2)])
def test_third_bath_checks_the_other_two(board, monkeypatch, tmp_path, capsys, off_kelvin, code):
    given, _, at = sound_kit(board)
    plugs = [lambda: see(board, given, [7500] * 3), lambda: see(board, given, [68000] * 3)]
    answers = [*plugs, at(0.0), "58", at(58.0 + off_kelvin), at(BOILING)]
    words = ["calibrate", "--station-hpa", "1013.25", "--history", str(tmp_path), "--third-bath"]
    assert kit(board, monkeypatch, answers, *words)[0] == code
    changed = json.loads((board.folder / "settings.json").read_text()) != given
    assert changed == (code == 0)
    if code:
        assert "what the others say; repeat it, stirred and waited for" in capsys.readouterr().err


def test_cable_pulled_while_the_calibration_is_written_leaves_no_line_of_it(board, monkeypatch, tmp_path, capsys):
    given, before, at = sound_kit(board)

    def pulled(usb, text):
        board.power(False)
        return write(usb, text)

    write = kit_settings.write
    monkeypatch.setattr(kit_settings, "write", pulled)
    plugs = [lambda: see(board, given, [7500] * 3), lambda: see(board, given, [68000] * 3)]
    words = ["calibrate", "--station-hpa", "1013.25", "--history", str(tmp_path)]
    code, _ = kit(board, monkeypatch, [*plugs, at(0.0), at(BOILING)], *words)
    assert code == 2
    assert "was the cable pulled" in capsys.readouterr().err
    assert (board.folder / "settings.json").read_text() == before
    assert not (tmp_path / f"{given['kit']}.jsonl").exists()


def test_another_thermistor_is_named_and_the_settings_stay(board, tmp_path):
    flashed(board)
    given = settings()
    curves = [one.thermistor for one in kit_settings.load(json.dumps(given)).channels]

    who, _ = script(
        lambda: see(board, given, [7500] * 3),
        lambda: see(board, given, [68000] * 3),
        lambda: see(board, given, [curve.ohms(0.0) * 1.2 for curve in curves]),
        lambda: see(board, given, [curve.ohms(BOILING) for curve in curves]),
    )
    with usb.Usb(board.port) as one:
        bench = Bench(one, slots.free(one), given, raw=True)
        with pytest.raises(HubError, match="another thermistor"):
            calibrate(bench, who, given, Given((7500, 68000), station_hPa=1013.25), tmp_path / "h.jsonl")
    assert not (tmp_path / "h.jsonl").exists()
