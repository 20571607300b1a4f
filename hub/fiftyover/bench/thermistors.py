"""Named makers' thermistors (thermistors.toml), and "which one is my probe?" from three baths."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from fiftyover_kit.contract import thermistor
from fiftyover_kit.contract.errors import ContractError

from .calibration import CalibrationError, check_baths

ALIKE_KELVIN = (
    1.5  # a named curve this near at every bath: its part, within 1 % of R25 and of beta, and a kitchen's baths
)


@dataclass(frozen=True)
class Kind:
    """One maker's thermistor. `form` and `numbers` are the entry of settings.json, {form: numbers}."""

    name: str
    maker: str
    part: str
    r25_ohm: float
    b25_85_kelvin: float
    form: str
    numbers: list[Any]
    source: str
    grade: str

    @property
    def setting(self) -> dict[str, list[Any]]:
        """The value of `thermistor` in a channel of settings.json."""
        return {self.form: self.numbers}

    @property
    def curve(self) -> thermistor.Curve:
        """The curve itself."""
        if self.form == "maker":
            return thermistor.from_maker(*self.numbers)
        return thermistor.from_points([(degC, ohm) for degC, ohm in self.numbers])


@dataclass(frozen=True)
class Found:
    """An unknown probe: `setting` is of its own readings; `alike`: (kind, kelvin off), nearest first."""

    setting: dict[str, list[Any]]
    alike: list[tuple[Kind, float]]

    @property
    def sentence(self) -> str:
        """What it may be, for a person; never one name where a neighbour cannot be told from it."""
        names = ", ".join(f"{kind.name} ({off:.1f} K off)" for kind, off in self.alike)
        if not self.alike:
            return "none of the named kinds; it gets the curve of its own three baths."
        return f"one of these, which three kitchen baths cannot tell apart: {names}; it gets its own baths' curve."


def kinds() -> dict[str, Kind]:
    """Every named kind, by name."""
    text = files("fiftyover.bench").joinpath("thermistors.toml").read_text("utf-8")
    return {name: Kind(name=name, **entry) for name, entry in tomllib.loads(text).items()}


def named(name: str) -> Kind:
    """The kind of that name. CalibrationError names those there are."""
    known = kinds()
    if name not in known:
        raise CalibrationError(f"No thermistor is called {name!r}; there are {', '.join(sorted(known))}.")
    return known[name]


def identify(baths: Sequence[tuple[float, float]]) -> Found:
    """What an unknown probe is, from three (degC, ohm) baths: ice, 50 to 60 °C beside a thermometer, boiling water.

    Its setting is the curve through its own three readings; `alike` lists the named kinds within 1.5 K at each of them.
    CalibrationError if the baths are not three, too close, do not stand on both sides of the use, or make no curve.
    """
    rows = check_baths(baths, least=3)
    if len(rows) != 3:
        raise CalibrationError(f"Three baths tell a probe's kind, there are {len(rows)}; leave out the doubtful ones.")
    _check_spread(rows)
    points = [[degC, ohm] for degC, ohm in rows]
    try:
        thermistor.from_points(rows)
    except ContractError as error:
        raise CalibrationError(f"These readings make no thermistor's curve: {error}") from error
    near = []
    for kind in kinds().values():
        try:
            off = max(abs(kind.curve.degC(ohm) - degC) for degC, ohm in rows)
        except ContractError:
            continue
        if off <= ALIKE_KELVIN:
            near.append((kind, off))
    return Found({"points": points}, sorted(near, key=lambda pair: pair[1]))


def _check_spread(rows: list[tuple[float, float]]) -> None:
    cold, middle, hot = (degC for degC, _ in rows)
    if min(middle - cold, hot - middle) < 20:
        raise CalibrationError(
            f"The middle bath of {middle:.0f} °C lies too close to another; take about {(cold + hot) / 2:.0f} °C."
        )
