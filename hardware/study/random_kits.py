"""Random kits from the tolerances of the parts list: what they read, before and after the calibration of the pages.

The circuit is coded here by itself (divider, leakage, converter with its non-linearity); what turns readings into
degrees is the kit's and the hub's own code. Every limit says its source; errors are uniform inside their limits.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from fiftyover.bench import calibration as cal
from fiftyover.bench.thermistors import named
from fiftyover_kit.contract.units import ZERO_DEGC_KELVIN

USE_DEGC = np.arange(20.0, 100.1, 5.0)
T25 = 25 + ZERO_DEGC_KELVIN
STEPS = 4096


@dataclass(frozen=True)
class Variant:
    """One front end: nominal values and the limits of its errors."""

    name: str
    curve: str
    series_ohm: float
    known_ohm: tuple[float, float]
    converter: str  # "rp2040", "rp2350" or "external"
    probes: int
    leakage_A: float
    supply_V: float = 3.05
    input_ohm: float = np.inf
    buffer_V: float = 0.0


MUX_LEAKAGE_A = 50e-9  # parts list: all channels together at 3.3 V
PIN_LEAKAGE_A = 10e-9  # of an analogue pin; from memory
VARIANTS = [
    Variant("direct, RP2040", "vishay-4190-100k", 22e3, (7500.0, 68000.0), "rp2040", 3, PIN_LEAKAGE_A),
    Variant("direct, RP2350", "vishay-4190-100k", 22e3, (7500.0, 68000.0), "rp2350", 3, PIN_LEAKAGE_A),
    Variant("mux, RP2040", "vishay-4190-100k", 22e3, (7500.0, 68000.0), "rp2040", 8, MUX_LEAKAGE_A, buffer_V=50e-6),
    Variant("mux, RP2350", "vishay-4190-100k", 22e3, (7500.0, 68000.0), "rp2350", 8, MUX_LEAKAGE_A, buffer_V=50e-6),
    Variant("esp32, external 16 bit", "epcos-8016-10k", 10e3, (3300.0, 30000.0), "external", 6, 1e-9, 3.3, 6e6),
]

# name: (limit, what it is and where the figure is from)
SOURCES = {
    "r25": (0.01, "probe R25, parts list 1 %"),
    "beta": (0.01, "probe beta, parts list 1 %"),
    "shape": (0.03, "curve's shape, 0.03 K: three-point fit against makers' tables"),
    "series": (0.001, "series resistor, parts list 0.1 %"),
    "tempco": (25e-6 * 20, "series resistor, 25 ppm/K over 20 K"),
    "known": (0.001, "the two known resistors, parts list 0.1 %"),
    "converter": (
        1.0,
        "converter: offset, gain, non-linearity (published sweeps of ten boards; external: TI SBAS444E)",
    ),
    "noise": (1.0, "noise, 1.2 of 4096 steps a read (published), 256 reads in a frame"),
    "leakage": (1.0, "leakage of pin or multiplexer, buffer's offset"),
    "input": (0.3, "external converter's input, 6 megohm give or take 30 % (typical value only)"),
    "selfheat": (1.0, "self-heating, 1.5 to 6 mW/K in use, 3 to 10 in the baths (makers' data sheets; from memory)"),
    "baths": (1.0, "baths: ice 0 to +0.15 K, boiling within 0.25 K by station pressure"),
}


@dataclass
class Draw:
    """Errors of n probes, one value (or row) each; all zero is the perfect kit."""

    n: int
    values: dict[str, np.ndarray] = field(default_factory=dict)

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values.get(name, np.zeros(self.n))


def draw(rng: np.random.Generator, n: int, only: set[str] | None = None) -> Draw:
    """n probes with all sources of error, or `only` some, drawn; others are nominal."""
    found = Draw(n)
    for name in SOURCES:
        wanted = only is None or name in only
        for part in ("", "2", "3", "4", "5"):
            value = rng.uniform(-1, 1, n)  # always drawn: one source's values do not depend on the others' being there
            if wanted:
                found.values[name + part] = value
    return found


def of_kits(found: Draw, kits: int, probes: int, converter_shared: bool) -> Draw:
    """The same, but probes of one kit share what is the kit's: known resistors, converter, leakage, input."""
    if not converter_shared:
        return found
    shared = ("known", "converter", "leakage", "input", "tempco")
    values = {
        name: np.repeat(value[:kits], probes) if name.rstrip("2345") in shared else value
        for name, value in found.values.items()
    }
    return replace(found, values=values)


def thermistor_ohm(variant: Variant, errors: Draw, degC: np.ndarray) -> np.ndarray:
    """Probe's ohms at temperatures, shape (probes, temperatures)."""
    curve = named(variant.curve).curve
    nominal = np.array([curve.ohms(float(t)) for t in degC])
    beta = named(variant.curve).b25_85_kelvin
    lean = 1 / (degC + ZERO_DEGC_KELVIN) - 1 / T25
    per_kelvin = beta / (degC + ZERO_DEGC_KELVIN) ** 2
    wave = np.sin(np.outer(1 + 0.5 * errors["shape2"], degC / 25) + 3 * errors["shape3"][:, None])
    ln = np.log(nominal) + np.outer(np.log1p(SOURCES["r25"][0] * errors["r25"]), np.ones_like(degC))
    ln += np.outer(SOURCES["beta"][0] * errors["beta"] * beta, lean)
    ln += SOURCES["shape"][0] * errors["shape"][:, None] * wave * per_kelvin
    return np.exp(ln)


def _nonlinearity(kind: str, errors: Draw, ratio: np.ndarray) -> np.ndarray:
    """Steps (of 4096) that the converter is off its own best line, and its offset and gain."""
    if kind == "external":  # offset 3 steps, match of two inputs 0.1 %, non-linearity 1 step; of 125 uV
        fine = 125e-6 / 3.3 * STEPS
        line = 3 * fine * errors["converter"][:, None] + 0.001 * errors["converter2"][:, None] * ratio * STEPS
        return line + fine * errors["converter3"][:, None] * np.sin(2 * np.pi * ratio)
    line = 12 * errors["converter"][:, None] + 8 * errors["converter2"][:, None] * ratio
    bow = errors["converter3"][:, None] * np.sin(np.pi * ratio) + errors["converter4"][:, None] * np.sin(
        2 * np.pi * ratio
    )
    if kind == "rp2350":
        return line + 1.75 * bow  # up to 3.5 steps after the best line (five boards)
    # RP2040: four jumps (erratum E11), codes 512 + 1024 k, each up to 8.9 steps, evened out between them
    active = np.any(errors["converter"] != 0)
    jump = (7.0 + 1.9 * errors["converter5"][:, None]) * active
    phase = (ratio * 4 + 0.5) % 1.0 - 0.5  # 0 half-way between the jumps
    return line + bow - jump * phase


def read_ratio(variant: Variant, errors: Draw, ohm: np.ndarray, series: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """What the converter says, share of the supply, of ohms behind series resistors (probes, columns)."""
    input_ohm = variant.input_ohm * (1 + SOURCES["input"][0] * errors["input"][:, None])
    true = 1 / (1 + series[:, None] / ohm + series[:, None] / input_ohm)
    source_ohm = 1 / (1 / series[:, None] + 1 / ohm)
    volts = variant.leakage_A * errors["leakage"][:, None] * source_ohm + variant.buffer_V * errors["leakage2"][:, None]
    true = true + volts / variant.supply_V
    steps = (
        _nonlinearity(variant.converter, errors, true) + (0.5 if variant.converter == "external" else 1.2) / 16 * noise
    )
    return true + steps / STEPS


def heating_kelvin(variant: Variant, ohm: np.ndarray, mW_per_kelvin: np.ndarray) -> np.ndarray:
    """Self-heating at the nominal divider."""
    power_W = (variant.supply_V / (variant.series_ohm + ohm)) ** 2 * ohm
    return power_W * 1e3 / mW_per_kelvin


def errors_kelvin(
    variant: Variant, errors: Draw, calibrated: bool, boil_off_kelvin: float = 0.25, degC: np.ndarray = USE_DEGC
) -> np.ndarray:
    """Shown minus true, (probes, temperatures): as built with the maker's curve, or after both steps of calibration."""
    rng = np.random.default_rng(5)
    curve = named(variant.curve).curve
    series = variant.series_ohm * (1 + SOURCES["series"][0] * errors["series"])
    ohm = thermistor_ohm(variant, errors, degC)
    ohm = _self_heated(variant, errors, ohm, degC, 3.75 + 2.25 * errors["selfheat"])
    use = read_ratio(
        variant, errors, ohm, series * (1 + SOURCES["tempco"][0] * errors["tempco"]), _noise(rng, errors, ohm)
    )
    fits = _calibrated(variant, errors, series, rng, boil_off_kelvin) if calibrated else None
    found = np.empty_like(use)
    for i in range(errors.n):
        converter, probe = fits[i] if fits else (cal.ConverterFit(), cal.ProbeFit(0.0, 1.0, "tolerance", ()))
        own = [cal.ohm_behind(float(r), variant.series_ohm, converter, variant.input_ohm) for r in use[i]]
        found[i] = [curve.degC(float(np.exp(probe.a + probe.b * np.log(one)))) for one in own]
    return found - degC


def _calibrated(
    variant: Variant, errors: Draw, series: np.ndarray, rng: np.random.Generator, boil_off_kelvin: float
) -> list[tuple[cal.ConverterFit, cal.ProbeFit]]:
    """Both steps of the calibration page, for each probe: two known resistors, then ice and water boiling at 98 °C."""
    known = np.array(variant.known_ohm) * (
        1 + SOURCES["known"][0] * np.stack([errors["known"], errors["known2"]], axis=1)
    )
    known_read = read_ratio(variant, errors, known, series, _noise(rng, errors, known))
    warmer = 0.075 * (errors["baths"] + 1) if np.any(errors["baths"] != 0) else np.zeros(errors.n)
    ice = thermistor_ohm(variant, errors, np.array([0.0]))
    boil = thermistor_ohm(variant, errors, np.array([98.0]))
    bath = np.hstack(
        [
            _hotter(variant, ice, np.array([0.0]), warmer[:, None]),
            _hotter(variant, boil, np.array([98.0]), boil_off_kelvin * errors["baths2"][:, None]),
        ]
    )
    bath = _self_heated(variant, errors, bath, np.array([0.0, 98.0]), 6.5 + 3.5 * errors["selfheat2"])
    bath_read = read_ratio(variant, errors, bath, series, _noise(rng, errors, bath))
    curve = named(variant.curve).curve
    allowed = cal.Tolerance(bath_kelvin=boil_off_kelvin)
    fits = []
    for i in range(errors.n):
        pairs = list(zip(variant.known_ohm, (float(r) for r in known_read[i]), strict=True))
        converter = cal.fit_converter(pairs, variant.series_ohm, variant.input_ohm)
        cold, hot = (cal.ohm_behind(float(r), variant.series_ohm, converter, variant.input_ohm) for r in bath_read[i])
        fits.append((converter, cal.fit_probe(curve, [(0.0, cold), (98.0, hot)], allowed)))
    return fits


def _noise(rng: np.random.Generator, errors: Draw, like: np.ndarray) -> np.ndarray:
    wave = rng.standard_normal(like.shape)
    return wave if np.any(errors["noise"] != 0) else np.zeros_like(wave)


def _self_heated(variant: Variant, errors: Draw, ohm: np.ndarray, degC: np.ndarray, mW: np.ndarray) -> np.ndarray:
    if not np.any(errors["selfheat"] != 0):
        return ohm
    return _hotter(variant, ohm, degC, heating_kelvin(variant, ohm, mW[:, None]))


def _hotter(variant: Variant, ohm: np.ndarray, degC: np.ndarray, warmer: np.ndarray) -> np.ndarray:
    beta = named(variant.curve).b25_85_kelvin
    return ohm * np.exp(-beta / (degC + ZERO_DEGC_KELVIN) ** 2 * warmer)
