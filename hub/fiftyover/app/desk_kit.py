"""The kit for its page: probes with readings and places, what it says of itself, its faults."""

from __future__ import annotations

import math
from typing import Any

from fiftyover_kit.contract.units import degF_from_degC

from ..batch import events as ev
from ..web.square import square
from ..web.words import KIT_FACTS, PROBE, SIGNAL, heater
from . import relay_life
from .desk_calibration import Calibrations, kinds
from .hub import Hub

FAULTS = (ev.PROBE_OUT, ev.PROBE_BACK, ev.CHAMBER_FAULT, ev.CHAMBER_BACK, ev.OUTAGE, ev.SWAPPED, "alarm", "alarm-over")
FAULTS_MOST = 50
CALIBRATIONS_MOST = 24


def kit(hub: Hub, address: str, told: Calibrations) -> dict[str, Any]:
    """Everything for the page of the kit, JSON-able; temperatures °C, times UTC ms."""
    frame, state, notes = hub.last_frame, hub.state, dict(hub.watch.notes)
    kind_of = told.kind_of(hub.watch.kit)
    chub_of = dict(state.book.chub_of) if state else {}
    probes = []
    for channel, status in enumerate(frame.s if frame else []):
        chub = chub_of.get(channel)
        where = "chamber" if channel == 0 else ""
        if state is not None and chub is not None:
            where = f"chub {chub}, {state.plan.chub(chub).place}"
        degC = frame.t[channel] if frame else None
        probes.append(
            {
                "probe": str(channel + 1),  # as the kit names them: probe 1 is the chamber's
                "degC": degC,
                "where": where,
                "kind": kind_of.get(channel + 1, ""),
                "words": PROBE.get(status, status) or "good",
                "good": status == "ok",
            }
        )
    return {
        "id": hub.watch.kit,
        "simulated": hub.watch.simulated,
        "probes": probes,
        "element": heater(frame.why, hub.watch.armed) if frame else "no word from the kit yet",
        "limit_degC": state.plan.cap_degC if state else None,
        "cut_off_degC": hub.watch.cap_degC,
        "facts": [*_facts(notes), *_worn(hub, notes)],
        "faults": _faults(hub),
        "kinds": kinds(),
        "calibrations": told.of(hub.watch.kit)[: -CALIBRATIONS_MOST - 1 : -1],
        "address": address,
        "square": square(address),
    }


def _facts(notes: dict[str, str]) -> list[list[str]]:
    found = []
    for name, label in KIT_FACTS:
        text = notes.get(name, "")
        if text:
            found.append([label, _fact(name, text)])
    return found


def _fact(name: str, text: str) -> str:
    number = _number(text)
    if name == "sys/rssi" and number is not None:
        word = next(word for least, word in SIGNAL if number >= least)
        return f"{number:.0f} dBm, {word}"
    if name == "sys/uptime" and number is not None:
        return f"{number / 3600:.1f} h"
    if name == "sys/cap" and number is not None:
        return f"{degF_from_degC(number):.0f} °F ({number:.0f} °C)"
    if name == "sys/switchings" and number is not None:
        return relay_life.words(round(number), "mechanical")
    return text


def _worn(hub: Hub, notes: dict[str, str]) -> list[list[str]]:
    """The relay's switchings over all recorded batches: the kit's own count begins anew at each of its starts."""
    count = relay_life.switched(hub.parts.store, hub.watch.kit) if hub.watch.kit else 0
    return [["Relay switched on in all batches", relay_life.words(count, notes.get("sys/relay", ""))]] if count else []


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _faults(hub: Hub) -> list[dict[str, Any]]:
    """What went wrong in the running batch, the newest first."""
    if hub.state is None:
        return []
    found = [event for event in hub.state.book.log if event.kind in FAULTS]
    return [
        {"utc_ms": event.utc_ms, "text": _fault(event.kind, event.data)} for event in found[: -FAULTS_MOST - 1 : -1]
    ]


def _fault(kind: str, data: dict[str, Any]) -> str:
    if kind == ev.PROBE_OUT:
        return f"Probe {data['probe'] + 1} in chub {data['chub']} not believed: {data['why']}"
    if kind == ev.PROBE_BACK:
        return f"Probe {data['probe'] + 1} in chub {data['chub']} believed again"
    if kind == ev.OUTAGE:
        return f"No reading for {data['gap_s'] / 60:.0f} min"
    if kind == ev.SWAPPED:
        return f"Probe {data['probe'] + 1} answered as only the chamber's may"
    return {
        ev.CHAMBER_FAULT: "Chamber probe at fault",
        ev.CHAMBER_BACK: "Chamber probe good again",
        "alarm": str(data.get("says", "")),
        "alarm-over": f"Over: {data.get('name', '')}",
    }[kind]
