"""When each chub will be done: conduction and evaporation, fitted to this batch and run ahead many times. Pure."""

from fiftyover.control.forecast.ahead import WORD_WITHIN_S, Law, Stretch
from fiftyover.control.forecast.finish import (
    CALIBRATED,
    WARM_MOST_S,
    Calibration,
    Finish,
    Forecast,
    Question,
    fitted,
    forecast,
)
from fiftyover.control.forecast.fit import Fit, Past
from fiftyover.control.forecast.prior import BROAD, Prior, from_data, learn, to_data

__all__ = [
    "BROAD",
    "CALIBRATED",
    "WARM_MOST_S",
    "WORD_WITHIN_S",
    "Calibration",
    "Finish",
    "Fit",
    "Forecast",
    "Law",
    "Past",
    "Prior",
    "Question",
    "Stretch",
    "fitted",
    "forecast",
    "from_data",
    "learn",
    "to_data",
]
