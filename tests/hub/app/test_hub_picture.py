"""What the page is told: words for each chub, the next thing to do, and the curves."""

from types import SimpleNamespace

import pytest

from fiftyover.app.kit_watch import KitWatch
from fiftyover.app.picture import picture
from fiftyover.batch import decide as batch
from fiftyover.batch import events as ev
from fiftyover.batch.events import Event
from fiftyover.ingest import KitNote


def state_of(plan, *events):
    """A batch to which this happened."""
    state = batch.new_state(plan)
    for kind, data in events:
        state = batch.marks.replay(state, Event(kind, 100.0, 100_000, data))
    return state


def shown(plan, *events):
    told = picture(state_of(plan, *events), None, kit={}, alarms=[], warmup_s=None, title="fiftyover")
    return told, {chub["number"]: (chub["state"], chub["words"]) for chub in told["chubs"]}


HUNG = (ev.HUNG, {"chubs": [1, 2, 3]})


@pytest.mark.parametrize(
    ("events", "chub_1", "following"),
    [
        ((), ("waiting", "not hung yet"), "Hang the chubs."),
        ((HUNG,), ("hanging", "watching the probe for three minutes first"), "Nothing to do"),
        ((HUNG, (ev.CALLED, {"chub": 1, "core_degC": 67.0})), ("called", "pull it now"), "Pull chub 1 now."),
        ((HUNG, (ev.CHECK_ASKED, {"chub": 1, "core_degC": 67.0})), ("check", "check by hand"), "Check by hand"),
        ((HUNG, (ev.PULLED, {"chub": 1, "probe": "away"})), ("pulled", "pulled"), "Nothing to do"),
        (
            (HUNG, (ev.PROBE_OUT, {"probe": 1, "chub": 1, "why": "fell", "from_s": 90.0})),
            ("hanging", "its probe is not believed: it fell"),
            "Nothing to do",
        ),
        ((HUNG, (ev.STOP_HEAT, {})), ("hanging", "watching the probe for three minutes first"), "The heat is stopped."),
    ],
)
def test_chub_and_next_thing_are_said_in_words(planned, events, chub_1, following):
    told, chubs = shown(planned(chubs=3, probes=2), *events)
    assert chubs[1] == chub_1
    assert told["next"].startswith(following)


def test_several_calls_are_one_errand(planned):
    calls = [(ev.CALLED, {"chub": number, "core_degC": 67.0}) for number in (3, 1)]
    told, _ = shown(planned(chubs=3, probes=3), HUNG, *calls)
    assert told["next"] == "Pull chubs 1, 3 now."


def test_all_out_is_said(planned):
    pulls = [(ev.PULLED, {"chub": number, "probe": "away"}) for number in (1, 2, 3)]
    told, _ = shown(planned(chubs=3, probes=3), HUNG, *pulls, (ev.FINISHED, {}))
    assert told["next"] == "All chubs are out. Into the ice bath with them."


def test_page_shows_no_word_of_the_works(cooking):
    for why in ("on", "expired", "latched", "probe-fault", "link-lost", "door", "cap", "boot-hold", "refused"):
        cooking.run(1, why=why)
        words = " ".join(str(cooking.shown()[key]) for key in ("heater", "next", "alarms"))
        for banned in ("grant", "lease", "duty", "latched", "prior", "interval"):
            assert banned not in words, (why, words)


def test_probe_at_fault_is_said_at_its_chub(cooking):
    cooking.run(1, t=[60.0, None, 20.0], s=["ok", "open", "ok"])
    chubs = {chub["number"]: chub for chub in cooking.shown()["chubs"]}
    assert chubs[1]["words"] == "probe unplugged or broken"
    assert chubs[1]["core_degC"] is None
    assert chubs[2]["core_degC"] == 20.0


def test_curves_hold_what_was_measured_and_what_was_asked_for(cooking):
    cooking.run(180)
    cooking.hub.write()
    told = cooking.hub.history(400)
    curves = {(curve["kind"], curve["channel"]): curve["v"] for curve in told["curves"]}
    assert set(curves) == {("chamber", 0), ("core", 1), ("core", 2), ("target", -1)}
    assert {len(values) for values in curves.values()} == {len(told["t"])}
    assert set(curves["chamber", 0]) == {60.0}
    core = curves["core", 1]
    assert core == sorted(core)
    assert (core[0], core[-1]) == (pytest.approx(20.0, abs=0.06), pytest.approx(21.8, abs=0.06))
    assert told["t"] == sorted(told["t"])
    assert told["t"][-1] - told["t"][0] == pytest.approx(179, abs=2)
    targets = [degC for degC in curves["target", -1] if degC is not None]
    assert len(targets) > 150  # the target is drawn as it was in force, not only where it changed
    assert all(40 < degC <= 85 for degC in targets)
    assert [mark["label"] for mark in told["marks"]] == ["hung"]
    assert told["band_degC"] == [66.67, 68.33]


def test_curves_of_no_batch_are_empty(rig):
    assert rig.hub.history(400)["curves"] == []


def test_record_that_cannot_be_read_is_no_fault_of_the_page(cooking):
    cooking.run(3)
    cooking.hub.write()
    cooking.store._connection.execute("DROP TABLE targets")
    assert cooking.hub.history(400)["curves"] == []


@pytest.mark.parametrize(
    ("why", "told", "word"),
    [
        ("on", "true", "heating; armed: it holds by itself if the hub falls silent"),
        ("on", "false", "heating"),
        ("standby", "true", "holding by itself, the hub is silent"),  # then it does what was armed
    ],
)
def test_armed_kit_is_said_beside_what_the_heater_does(planned, why, told, word):
    watched = KitWatch("kit-3f2a")
    watched.note(KitNote("kit-3f2a", "heater/armed", told))
    frame = SimpleNamespace(why=why, t=(60.0,), s=("ok",), utc_ms=1000)
    said = picture(
        state_of(planned(chubs=3, probes=2)),
        frame,
        kit=watched.described(1.0),
        alarms=[],
        warmup_s=None,
        title="fiftyover",
    )
    assert said["heater"] == word
