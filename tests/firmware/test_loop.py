"""The kit as a whole: what is sensed, granted, pressed and lost, down to the relay."""

import asyncio
import json
import subprocess
from pathlib import Path

import pytest

import fiftyover_kit
from fiftyover_kit.contract.limits import TICK_MASK, WHY, ticks_add, ticks_diff
from fiftyover_kit.loop import every
from firmware.kit_rig import ACK, GRANT, HUB, STOP, STRANGER, Rig, TableBoard, channel, counts, heating, settings_text

FIRMWARE = Path(fiftyover_kit.__file__).parents[1]


def test_grant_closes_the_relay_and_silence_opens_it_when_the_permit_runs_out():
    rig = heating()
    rig.granting = None
    rig.run(20)
    assert rig.board.on == 0
    assert rig.why == "expired"
    rig.kit.on_link(False, rig.now)
    rig.run(1)
    assert rig.why == "link-lost"


def test_relay_is_opened_before_anything_else_at_the_start():
    board = TableBoard()
    Rig(board=board)
    assert board.calls[0] == ("relay", 0)


def test_watchdog_is_fed_once_a_tick_after_the_relay_was_set():
    rig = heating()
    rig.board.calls.clear()
    rig.run(0.25)
    assert rig.board.calls == [("relay", 1), ("lamp", WHY.index("on")), "feed"]


def test_a_board_that_fails_to_read_is_not_fed():
    rig = heating()
    rig.board.calls.clear()
    rig.board.read_sum = None
    with pytest.raises(TypeError):
        rig.run(0.25)
    assert "feed" not in rig.board.calls


@pytest.mark.parametrize("channels", [2, 9, 14, 31])
def test_chamber_is_read_at_every_tick_and_each_core_at_least_once_a_second(channels):
    board = TableBoard(channels)
    rig = Rig(board=board, channels=[channel(number) for number in range(channels)])
    rig.run(8)
    assert board.reads[0] == 32
    for second in range(3):
        before = list(board.reads)
        rig.run(1)
        gained = [after - was for after, was in zip(board.reads, before, strict=True)]
        assert min(gained) >= 1, second


def test_frame_carries_the_temperatures_words_and_the_permit():
    rig = Rig()
    rig.board.degC[1:4] = [-12.5, 71.25, 0.0]
    rig.board.raw[4] = 64 * 65535 - 10
    rig.granting = 0.35
    rig.run(40)
    frame = rig.frame()
    assert frame["t"][0] == pytest.approx(60.0, abs=0.02)
    assert frame["t"][1:4] == pytest.approx([-12.5, 71.25, 0.0], abs=0.02)
    assert frame["t"][4] is None
    assert frame["s"] == ["ok"] * 4 + ["open"] + ["ok"] * 4
    assert (frame["boot"], frame["seq"], frame["up"]) == (rig.kit.boot, 39, rig.now)
    assert (frame["duty"], frame["why"], frame["left"], frame["thinned"], frame["dropped"]) == (0.35, "on", 10, 0, 0)


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({"retained": True}, "retained"),
        ({"hub": STRANGER}, "other-hub"),
        ({"boot": "000000000000"}, "other-boot"),
        ({"seq": 1}, "not-newer"),
        ({"ttl": 31}, "ttl"),
        ({"duty": 1.01}, "duty"),
        ({"duty": float("nan")}, "unreadable"),
        ({"colour": "red"}, "unreadable"),
    ],
)
def test_bad_grant_is_refused_counted_by_name_and_shown(changed, name):
    rig = Rig().run(6)
    rig.grant()
    assert rig.kit.refused == {}
    rig.stop()
    rig.grant(**changed)
    rig.run(1)
    assert rig.kit.refused == {name: 1}
    assert rig.why == "refused"
    assert rig.kit.homie_values()["heater/state"] == "refused"
    assert rig.board.on == 0


def test_grants_too_old_from_the_future_or_with_the_probe_at_fault_are_named():
    rig = Rig().run(6)
    rig.grant(up=rig.now - 16_000)
    rig.grant(up=rig.now + 1)
    rig.board.raw[0] = 10
    rig.run(1)
    rig.grant()
    del rig.board.raw[0]
    before = rig.now
    rig.run(3)
    rig.grant(up=before)
    assert rig.kit.refused == {"too-old": 1, "from-future": 1, "probe-fault": 1, "before-clear": 1}


@pytest.mark.parametrize("payload", [b"", b"{", b"\xff\x00", b"null", b"[" * 9000, b"{}", bytes(9000), None, "text"])
@pytest.mark.parametrize("rest", [GRANT, STOP, ACK, "heater/power/set", ""])
def test_rubbish_from_outside_is_counted_and_never_raises(rest, payload):
    rig = heating()
    rig.say(rest, payload)
    assert rig.kit.refused == {"unreadable": 1}
    rig.run(1)
    assert rig.board.on == 1


def test_stop_opens_the_relay_at_the_next_tick_even_if_retained_or_of_another_boot():
    for changed in ({}, {"retained": True}, {"boot": "000000000000"}, {"hub": STRANGER}):
        rig = heating()
        rig.stop(**changed)
        rig.granting = None
        rig.run(0.25)
        assert rig.board.on == 0, changed


def test_another_hub_is_not_obeyed_and_alerts_and_its_stops_count_once_a_minute():
    rig = heating()
    rig.grant(hub=STRANGER)
    assert STRANGER in rig.kit.alerts["other-hub"]
    assert rig.kit.binding == HUB
    rig.stop(hub=STRANGER)
    rig.run(0.25)
    assert rig.board.on == 0
    rig.stop(hub=STRANGER)
    rig.ack([[0, 5]], hub=STRANGER)
    assert rig.kit.refused == {"other-hub": 3}
    assert len(rig.kit.backlog) == 12
    rig.run(61)
    assert "other-hub" not in rig.kit.alerts


def test_kit_without_a_named_hub_obeys_the_first_until_a_minute_of_silence():
    rig = heating()
    rig.granting = None
    rig.run(57)  # the last grant was 2 s before
    rig.grant(hub=STRANGER)
    assert rig.kit.binding == HUB
    rig.run(2)
    assert rig.kit.binding == ""
    rig.grant(hub=STRANGER)
    assert rig.kit.binding == STRANGER
    assert rig.kit.homie_values()["sys/hub"] == STRANGER
    rig.grant(hub=HUB)
    assert rig.kit.refused == {"other-hub": 2}


def test_retained_message_binds_to_nobody_and_does_not_count_as_hearing_a_hub():
    rig = Rig()
    rig.stop(retained=True)
    assert rig.kit.binding == ""
    rig.run(59)
    rig.stop(retained=True)
    rig.run(2)
    assert rig.board.sounding == 1


def test_kit_with_a_named_hub_keeps_it_over_any_silence():
    rig = Rig(hub=HUB).run(300)
    rig.grant(hub=STRANGER)
    assert rig.kit.binding == HUB
    assert rig.kit.refused == {"other-hub": 1}


def test_ack_drops_just_those_frames():
    rig = heating()
    assert rig.kit.backlog.pending() == [[0, 11]]
    rig.ack([[0, 3], [6, 6]], retained=True)
    rig.ack([[0, 3], [6, 6]], boot="000000000000")
    assert rig.kit.refused == {"retained": 1, "other-boot": 1}
    assert rig.kit.backlog.pending() == [[0, 11]]
    rig.ack([[0, 3], [6, 6]])
    assert rig.kit.backlog.pending() == [[4, 5], [7, 11]]


def test_record_that_fails_costs_a_frame_and_not_the_guard(capsys):
    rig = heating()
    rig.kit.backlog.push = None
    rig.kit.record_or_say(rig.now)
    assert "no frame" in capsys.readouterr().out
    rig.run(0.5)
    assert rig.board.on == 1


def test_uncalibrated_probe_heats_and_says_so():
    rig = Rig(channels=[channel(0, calibrated=False), channel(1)], board=TableBoard(2))
    rig.granting = 1.0
    rig.run(12)
    assert rig.board.on == 1
    assert rig.frame()["s"] == ["uncalibrated", "ok"]


def test_homie_values_are_texts_for_the_topics_of_the_contract():
    rig = heating(cap_degC=100)
    rig.board.raw[2] = 5
    rig.run(2)
    values = rig.kit.homie_values()
    assert all(isinstance(text, str) for text in values.values())
    assert (values["sys/cap"], values["sys/relay"], values["sys/simulated"]) == ("100.00", "solid-state", "true")
    assert (values["sys/uptime"], values["sys/rssi"], values["sys/switchings"]) == ("14", "-61", "1")
    assert (values["probe-3/status"], "probe-3/temperature" in values) == ("short", False)
    assert float(values["probe-1/temperature"]) == pytest.approx(60, abs=0.02)


HEAP_FREE = """
import json, micropython, sys
from fiftyover_kit import loop, settings
class Board:
    simulated = True
    def __init__(self): self.on = 0; self.n = 0; self.pressed = 0; self.fed = 0
    def read_sum(self, channel, n): self.n = (self.n + 1) % 5; return COUNTS + self.n
    def relay(self, on, until_ms): self.on = on
    def feed(self): self.fed += 1
    def button(self): return self.pressed
    def sounder(self, on): pass
    def lamp(self, code): pass
    def boot_id(self): return "9f3c1a02b7e4"
    def latch_read(self): return 0
board = Board()
kit = loop.Kit(settings.load(open("settings.json").read()), board, 0, 9000)
now = (1 << 30) - 20000
seen = [0, 0, 0, 0]
def run(ticks):
    global now
    micropython.heap_lock()
    while ticks:
        now = (now + 250) & ((1 << 30) - 1)
        kit.tick(now)
        ticks -= 1
    micropython.heap_unlock()
run(40)
kit.record(now)
grant = {"v": 1, "hub": "c01d", "boot": kit.boot, "seq": 1, "up": now, "ttl": 30, "duty": 0.6}
kit.on_message("heater/grant/set", json.dumps(grant).encode(), False, now)
run(60); seen[0] = board.on
board.pressed = 1; run(2); board.pressed = 0; run(2); seen[1] = board.on
run(600); seen[2] = kit.live is not None
COUNTS = 400000
run(12); kit.record = None; seen[3] = board.on
from fiftyover_kit import guard
print(json.dumps([seen[0], seen[1], seen[3], guard.is_latched(kit._guard), board.fed]))
"""


def test_tick_runs_without_heap_in_the_real_interpreter(micropython, tmp_path):
    (tmp_path / "settings.json").write_text(settings_text(chamber_2=8))
    (tmp_path / "tick.py").write_text(f"COUNTS = {counts(60.0)}\n" + HEAP_FREE)
    ran = subprocess.run(
        [micropython, "-X", "heapsize=300k", "tick.py"],
        cwd=tmp_path,
        env={"MICROPYPATH": f".frozen:{FIRMWARE}"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.stderr == ""
    assert ran.returncode == 0, ran.stdout
    assert json.loads(ran.stdout) == [1, 0, 0, 1, 716]


def test_kit_with_two_chamber_probes_and_no_core_heats():
    rig = Rig(board=TableBoard(2), channels=[channel(0), channel(1)], chamber_2=1)
    rig.board.degC[1] = 58.0
    rig.granting = 1.0
    assert rig.run(12).board.on == 1


def test_beat_keeps_to_its_times_and_makes_nothing_up_after_a_stall():
    class Clock:
        speed = 1000

        def __init__(self):
            self.ms = TICK_MASK - 400

        def ticks_ms(self):
            self.ms = ticks_add(self.ms, 10)  # looking takes time
            return self.ms

    clock, seen = Clock(), []

    def work(now_ms):
        seen.append(now_ms)
        if len(seen) == 3:
            clock.ms = ticks_add(clock.ms, 2000)  # a stall of eight beats
        if len(seen) == 6:
            raise EOFError

    with pytest.raises(EOFError):
        asyncio.run(every(250, clock, work))
    gaps = [ticks_diff(later, earlier) for earlier, later in zip(seen, seen[1:], strict=False)]
    assert all(240 <= gap <= 270 for gap in gaps[:2])
    assert 2000 <= gaps[2] <= 2030
    assert all(230 <= gap <= 270 for gap in gaps[3:])
