"""The demo's cook: a scenario of our own, and the kit that goes with it."""

from __future__ import annotations

from typing import Any

from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference

from ..batch.plan import Chub, Plan
from ..rehearse.scenario import SERIES_OHM, THERMISTOR_POINTS
from .parts import new_batch_id

KIT = "kit-demo"
CHUBS = 8
PROBES = 7  # a kit with a multiplexer has the chamber and seven more; the eighth chub is checked by hand
WATTS = 800.0
LIMIT_DEGF = 190.0
CUT_OFF_DEGF = 200.0
RELAY_PIN, SOUNDER_PIN = 16, 17
_PINS = {"relay": RELAY_PIN, "button": 14, "sounder": SOUNDER_PIN, "lamp": 22, "adc": [26], "mux": [18, 19, 20]}
PLACES = ("back left", "back middle left", "back middle right", "back right") + (
    "front left", "front middle left", "front middle right", "front right",
)  # fmt: skip
_BATCH_ID = new_batch_id()


def plan() -> Plan:
    """Eight slim chubs of pork and beef with garlic and mustard seed."""
    chubs = tuple(Chub(n, "slim", 45.0, PLACES[n - 1], n if n <= PROBES else None) for n in range(1, CHUBS + 1))
    return Plan(
        batch_id=_BATCH_ID,
        name="Pork and beef with garlic and mustard seed",
        chubs=chubs,
        cap_degC=degC_from_degF(LIMIT_DEGF),
        lift_kelvin=kelvin_from_degF_difference(50.0),
        relay="solid-state",
        element_watts=WATTS,
        band_degC=(degC_from_degF(152.0), degC_from_degF(155.0)),
    )


def kit_settings(hub_id: str, port: int, secret: str) -> dict[str, Any]:
    """settings.json of the simulated kit."""
    channel = {"series_ohm": SERIES_OHM, "thermistor": {"points": THERMISTOR_POINTS}, "calibrated": True}
    return {
        "kit": KIT,
        "hub": hub_id,
        "cap_degC": round(degC_from_degF(CUT_OFF_DEGF), 2),
        "relay": "solid-state",
        "wifi": None,
        "broker": {"host": "127.0.0.1", "port": port, "user": KIT, "password": secret, "tls": False, "ca": ""},
        "pins": _PINS,
        "channels": [{"input": index, **channel} for index in range(PROBES + 1)],
        "chamber_2": None,
    }
