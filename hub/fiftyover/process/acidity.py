"""Degree-hours of a fermented sausage: for reference only.

The product refuses starter cultures (it does not measure pH), and a direct-cure batch has no pH to reach: it must
keep the warm-up limit of `comeup` instead. Nothing here clears a batch.
"""

from collections.abc import Sequence

from fiftyover.errors import ProcessError
from fiftyover.process.domain import between, not_negative

BASE_DEGF = 60.0


def degree_hours(chamber_degF: Sequence[float], spans_h: Sequence[float]) -> float:
    """Sum of (T - 60 degF) x hours over the steps until pH 5.3.

    Parameters
    ----------
    chamber_degF : sequence of float, n
        Highest chamber temperature of each step [degF], 32..130; steps below 60 degF count nothing.
    spans_h : sequence of float, n
        Length of each step [h], 0 or more.

    Returns
    -------
    float
        [degF h].

    Raises
    ------
    ProcessError
        Nonsense in a number, or counts that differ.

    References
    ----------
    American Meat Institute, Good Manufacturing Practices for Fermented Dry & Semi-Dry Sausage, as named by the
    FSIS Cooking Guideline (2021); the text itself was not seen.
    """
    if len(chamber_degF) != len(spans_h):
        raise ProcessError(f"{len(chamber_degF)} temperatures for {len(spans_h)} spans: give one for each.")
    return sum(
        max(0.0, between("Chamber", degF, 32.0, 130.0, "degF") - BASE_DEGF) * not_negative("Span", span_h, "h")
        for degF, span_h in zip(chamber_degF, spans_h, strict=True)
    )


def limit_degF_h(highest_degF: float) -> float:
    """Most degree-hours allowed for the highest chamber temperature.

    Parameters
    ----------
    highest_degF : float
        Highest chamber temperature of the ferment [degF], 32..130.

    Returns
    -------
    float
        1200 below 90 degF (read), 1000 from 90 to 100 (FROM MEMORY), 900 above (FROM MEMORY) [degF h].

    Raises
    ------
    ProcessError
        A temperature outside its range.

    References
    ----------
    As `degree_hours`.
    """
    degF = between("Highest chamber temperature", highest_degF, 32.0, 130.0, "degF")
    if degF < 90.0:
        return 1200.0
    return 1000.0 if degF <= 100.0 else 900.0
