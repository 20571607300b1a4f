"""Units at the edge of the tool: absolute temperatures and temperature *differences* kept apart.

Inside, everything is °C, kelvin (differences), kg, g, metres and seconds. A 50 °F lift is 27.78 K, never 10 °C: the two
conversions have different names so that they cannot be mixed up by habit.

Constants are exact by definition: pound and inch from the international yard and pound agreement of 1959 (NIST SP 811,
appendix B), 0 °C = 273.15 K (SI brochure, 9th edition, section 2.3.1).
"""

ZERO_DEGC_KELVIN = 273.15
KG_PER_LB = 0.45359237
G_PER_OZ = 28.349523125
M_PER_INCH = 0.0254


def degC_from_degF(degF: float) -> float:
    """Absolute temperature: °F to °C, (F - 32) / 1.8 (NIST SP 811, B.8). 212 -> 100."""
    return (degF - 32.0) / 1.8


def degF_from_degC(degC: float) -> float:
    """Absolute temperature: °C to °F, C * 1.8 + 32 (NIST SP 811, B.8). 100 -> 212."""
    return degC * 1.8 + 32.0


def kelvin_from_degC(degC: float) -> float:
    """Absolute temperature: °C to thermodynamic kelvin. 0 -> 273.15 (not 273)."""
    return degC + ZERO_DEGC_KELVIN


def degC_from_kelvin(kelvin: float) -> float:
    """Absolute temperature: thermodynamic kelvin to °C. 273.15 -> 0."""
    return kelvin - ZERO_DEGC_KELVIN


def kelvin_from_degF_difference(degF: float) -> float:
    """A *difference* of °F as a difference in kelvin, no offset (NIST SP 811, B.8). 50 -> 27.78."""
    return degF / 1.8


def degF_difference_from_kelvin(kelvin: float) -> float:
    """A *difference* in kelvin as a difference of °F, no offset (NIST SP 811, B.8). 27.78 -> 50."""
    return kelvin * 1.8


def kg_from_lb(lb: float) -> float:
    """Mass: avoirdupois pounds to kilograms, exact. 1 -> 0.45359237."""
    return lb * KG_PER_LB


def lb_from_kg(kg: float) -> float:
    """Mass: kilograms to avoirdupois pounds. 0.45359237 -> 1."""
    return kg / KG_PER_LB


def g_from_oz(oz: float) -> float:
    """Mass: avoirdupois ounces to grams, exact. 1 -> 28.349523125."""
    return oz * G_PER_OZ


def oz_from_g(g: float) -> float:
    """Mass: grams to avoirdupois ounces. 28.349523125 -> 1."""
    return g / G_PER_OZ


def m_from_inch(inch: float) -> float:
    """Length: inches to metres, exact. 1 -> 0.0254."""
    return inch * M_PER_INCH


def inch_from_m(m: float) -> float:
    """Length: metres to inches. 0.0254 -> 1."""
    return m / M_PER_INCH
