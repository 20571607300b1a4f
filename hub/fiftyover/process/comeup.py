"""The warm-up clock: how long the meat was between 50 and 130 degF on its way up."""

import numpy as np
from numpy.typing import ArrayLike

from fiftyover.process.curve import checked, within_s
from fiftyover.process.domain import ROUNDING
from fiftyover_kit.contract.units import degC_from_degF

# FSIS Revised Appendix A (2021), "Come-Up-Time": the total time between 50 and 130 degF is 6 h or less.
FROM_DEGF, TO_DEGF, LIMIT_H = 50, 130, 6.0


def hours(times_s: ArrayLike, core_degC: ArrayLike) -> float:
    """Return the warm-up time.

    The total time with the core between 50 and 130 degF: so far, if 130 degF was never reached; else up to the
    highest core, so that a sag after 130 degF still counts and the cooling after the cook does not. A record that
    starts above 50 degF counts from its first sample: what was before it is not known here.

    Parameters
    ----------
    times_s : array_like, shape (n,)
        Times [s], strictly increasing, heat on or not.
    core_degC : array_like, shape (n,)
        Core [degC].

    Returns
    -------
    float
        Time [h], to be held against ``LIMIT_H``; 0 for an empty record.

    Raises
    ------
    ProcessError
        A curve that is none (see `curve.checked`).

    References
    ----------
    FSIS Revised Appendix A (2021), section Come-Up-Time.
    """
    times, core = checked(times_s, core_degC)
    if core.size == 0:
        return 0.0
    low, high = degC_from_degF(FROM_DEGF), degC_from_degF(TO_DEGF)
    end = int(np.argmax(core)) + 1 if np.max(core) >= high - ROUNDING else core.size
    return within_s(times[:end], core[:end], low, high) / 3600.0
