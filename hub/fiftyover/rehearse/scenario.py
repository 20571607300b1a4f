"""What is rehearsed: the options of the command line, checked, and the plan and kit settings they come to."""

import importlib.util
import inspect
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, cast

from fiftyover.batch.stages import STAGES, Stage
from fiftyover.errors import HubError
from fiftyover.rehearse.fake_board import Circuit
from fiftyover.rehearse.faults import Planned
from fiftyover.rehearse.plant import Plant
from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.units import degC_from_degF, kelvin_from_degF_difference

RELAYS = ("mechanical", "solid-state")
CONTROLLERS = ("follow", "thermostat", "dial")
DOOR_OPEN_S = 60.0
KIT_CAP_ABOVE_DEGF = 10.0

# Semitec 104GT-2 at 0, 50 and 100 degC (maker's GT-2 leaflet), and the series resistor that suits it near 65 degC.
THERMISTOR_POINTS = [(0.0, 353700.0), (50.0, 33490.0), (100.0, 5556.0)]
SERIES_OHM = 22000.0


class World(Protocol):
    """The plant protocol (see `fiftyover.rehearse.plant`)."""

    chamber_degC: float
    air_degC: float
    core_degC: list[float]

    def step(self, dt_s: float, element_on: bool) -> None:
        """Advance by at most 1 s."""

    def pull(self, index: int) -> None:
        """Take a chub out."""

    def open_door(self, seconds: float) -> None:
        """Open the door."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One rehearsal, every number checked. Differences in kelvin, times in s since the start.

    A preheat among the stages is left out, since chubs hang from the start; the person gives a mark an hour after its
    stage began.
    """

    seed: int = 1
    chubs: int = 8
    probes: int = 8
    diameters_mm: tuple[float, ...] = (45.0,)
    element_watts: float = 800.0
    cap_degC: float = degC_from_degF(180.0)
    kit_cap_degC: float = degC_from_degF(190.0)
    lift_kelvin: float = kelvin_from_degF_difference(50.0)
    floor_degC: float | None = None
    band_degC: tuple[float, float] = (degC_from_degF(152.0), degC_from_degF(155.0))
    relay: str = "mechanical"
    controller: str = "follow"
    doors_s: tuple[float, ...] = ()
    response_s: float = 0.0
    forecast: bool = True
    faults: tuple[Planned, ...] = ()
    options: dict[str, Any] = field(default_factory=dict)
    plant: str | None = None
    stages: tuple[Stage, ...] = STAGES

    def diameter_mm(self, index: int) -> float:
        """Return the diameter of chub `index`: the diameters are shared out in turn."""
        return self.diameters_mm[index % len(self.diameters_mm)]


def build_plant(scenario: Scenario) -> World:
    """Make the world of a scenario, ours or a foreign class (see the plant protocol in `fiftyover.rehearse.plant`)."""
    make: Callable[..., Any] = Plant if scenario.plant is None else load_class(scenario.plant)
    options = dict(scenario.options)
    if len(scenario.diameters_mm) > 1:
        options["diameters_mm"] = [scenario.diameter_mm(index) for index in range(scenario.chubs)]
    words: dict[str, Any] = {
        "seed": scenario.seed,
        "chubs": scenario.chubs,
        "diameter_mm": max(scenario.diameters_mm),
        "element_watts": scenario.element_watts,
        "cap_degC": scenario.cap_degC,
    }
    name = scenario.plant or "the plant"
    taken = set(words) & set(options)
    if taken:
        raise HubError(f"--option {taken.pop()}: that is set by an option of its own, see --help.")
    try:
        inspect.signature(make).bind(**words, **options)
    except TypeError as fault:
        raise HubError(f"{name} does not take these options ({fault}): leave them out, or name another.") from fault
    try:
        world = make(**words, **options)
    except (TypeError, ValueError) as fault:
        raise HubError(f"{name} cannot be made from these options: {fault}") from fault
    for need in ("step", "pull", "open_door", "chamber_degC", "air_degC", "core_degC"):
        if not hasattr(world, need):
            raise HubError(f"{name} has no `{need}`: the plant protocol needs it.")
    if len(world.core_degC) != scenario.chubs:
        raise HubError(f"{name} has {len(world.core_degC)} cores for {scenario.chubs} chubs: it needs one for each.")
    return cast(World, world)


def load_class(where: str) -> Callable[..., Any]:
    """Load FILE.py:CLASS."""
    file, colon, name = where.rpartition(":")
    if not colon or not name.isidentifier():
        raise HubError(f"--plant {where}: write FILE.py:CLASS.")
    path = Path(file)
    if not path.is_file():
        raise HubError(f"--plant {where}: there is no file {file}; give its path from here.")
    spec = importlib.util.spec_from_file_location(f"fiftyover_plant_{path.stem}", path)
    if spec is None or spec.loader is None:
        raise HubError(f"--plant {where}: {file} is no Python file; its name must end in .py.")
    module = importlib.util.module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
    except Exception as fault:  # whatever a foreign file does is told, not shown as our own fault
        raise HubError(f"--plant {where}: {file} does not load ({type(fault).__name__}: {fault}).") from fault
    found = getattr(module, name, None)
    if not callable(found):
        raise HubError(f"--plant {where}: {file} has no class {name}.")
    return cast(Callable[..., Any], found)


def circuit() -> Circuit:
    """Return the divider that every probe of a rehearsal hangs on; `kit_settings` says the same to the kit."""
    return Circuit(SERIES_OHM, thermistor.from_points(THERMISTOR_POINTS))


def kit_settings(scenario: Scenario) -> str:
    """Return the kit's settings.json for a scenario: the chamber and one channel for each probe."""
    channel = {
        "series_ohm": SERIES_OHM,
        "thermistor": {"points": THERMISTOR_POINTS},
        "calibrated": True,
    }
    settings = {
        "kit": "kit-rehearsal",
        "hub": "",
        "cap_degC": round(scenario.kit_cap_degC, 3),
        "relay": scenario.relay,
        "wifi": None,
        "broker": {"host": "", "port": 1883, "user": "", "password": "", "tls": False, "ca": ""},
        "pins": {},
        "channels": [{"input": index, **channel} for index in range(scenario.probes + 1)],
        "chamber_2": None,
    }
    return json.dumps(settings)
