"""What can go wrong in a rehearsal, by name. `fiftyover rehearse --fault NAME@S`, `--fault list`.

A fault of a core probe is of the first probed chub's unless a number says else: core-fallen:3@3600.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from fiftyover.errors import HubError
from fiftyover.rehearse.fake_board import FakeBoard

DRIFT_KELVIN_PER_H = 10.0
LINK_AWAY_S = 300.0
POWER_CUT_S = 1200.0
DOOR_AJAR_S = 600.0


@dataclass(frozen=True, slots=True)
class Planned:
    """A fault by name, when it comes [s], and the channel of the probe it is about."""

    name: str
    at_s: float
    channel: int


class Stage(Protocol):
    """What a fault may touch of a running rehearsal."""

    board: FakeBoard

    def drop_probe(self, channel: int) -> None:
        """Let a core probe fall out of its chub."""

    def open_door(self, seconds: float) -> None:
        """Open the door."""

    def cut_link(self, seconds: float, session: bool) -> None:
        """Deliver nothing for a while; `session` says whether the kit sees its session end."""

    def restart_kit(self, off_s: float) -> None:
        """Take the kit's power away for a while."""


Deed = Callable[[Stage, int], None]

CATALOGUE: dict[str, tuple[str, Deed]] = {
    "chamber-open": ("the chamber probe's lead breaks", lambda stage, _: stage.board.lead_open(0)),
    "chamber-short": ("the chamber probe's lead is shorted", lambda stage, _: stage.board.lead_short(0)),
    "chamber-stuck": ("the chamber probe repeats one value", lambda stage, _: stage.board.freeze(0)),
    "chamber-drift": (
        "the chamber probe reads colder by 10 K each hour",
        lambda stage, _: stage.board.drift(0, -DRIFT_KELVIN_PER_H),
    ),
    "core-open": ("a core probe's lead breaks", lambda stage, n: stage.board.lead_open(n)),
    "core-short": ("a core probe's lead is shorted", lambda stage, n: stage.board.lead_short(n)),
    "core-stuck": ("a core probe repeats one value", lambda stage, n: stage.board.freeze(n)),
    "core-drift": (
        "a core probe reads hotter by 10 K each hour",
        lambda stage, n: stage.board.drift(n, DRIFT_KELVIN_PER_H),
    ),
    "core-fallen": ("a core probe slips out into the chamber", lambda stage, n: stage.drop_probe(n)),
    "relay-welded": ("the relay's contact welds: the element stays on", lambda stage, _: stage.board.weld_relay()),
    "element-dead": ("the element burns out", lambda stage, _: stage.board.burn_out_element()),
    "door-ajar": ("the door is left open for 10 min", lambda stage, _: stage.open_door(DOOR_AJAR_S)),
    "link-lost": ("Wi-Fi is away for 5 min", lambda stage, _: stage.cut_link(LINK_AWAY_S, True)),
    "hub-silent": ("the hub says nothing for 5 min", lambda stage, _: stage.cut_link(LINK_AWAY_S, False)),
    "kit-reset": ("the kit restarts", lambda stage, _: stage.restart_kit(0.0)),
    "power-cut": ("no mains for 20 min", lambda stage, _: stage.restart_kit(POWER_CUT_S)),
}


def planned(word: str, probes: int) -> Planned:
    """Read NAME@S or NAME:N@S; HubError names what is wrong with it."""
    what, at, when = word.partition("@")
    name, colon, number = what.partition(":")
    if name not in CATALOGUE:
        raise HubError(f"--fault {word}: there is no fault {name or 'without a name'}; `--fault list` names them.")
    if not at or not when.replace(".", "", 1).isdecimal():
        raise HubError(f"--fault {word}: write NAME@S with the second at which it comes.")
    if colon and not (number.isdecimal() and 1 <= int(number) <= probes):
        raise HubError(f"--fault {word}: the number after the colon is of a probed chub, 1 to {probes}.")
    return Planned(name, float(when), int(number) if colon else 1)


def listing() -> str:
    """Return the catalogue as text, one line a fault."""
    width = max(map(len, CATALOGUE))
    return "\n".join(f"{name:<{width}}  {sentence}" for name, (sentence, _) in CATALOGUE.items())


def strike(fault: Planned, stage: Stage) -> None:
    """Let a planned fault happen now."""
    CATALOGUE[fault.name][1](stage, fault.channel)
