"""Where the chamber should be: a set lift over the leading core, never below a floor, never near the limit.

Pure functions. Temperatures are degC, differences kelvin, times seconds.
"""

from __future__ import annotations

# Working target under the limit by element power: 2 °F up to 1000 W, 4 °F from 1500 W, straight between. From our own
# simulation study (two controllers, 800 and 1500 W): with 2 °F at 1500 W the limit was still touched.
MARGIN_SMALL_KELVIN = 2.0 / 1.8
MARGIN_LARGE_KELVIN = 4.0 / 1.8
SMALL_WATTS = 1000.0
LARGE_WATTS = 1500.0

# A target that jumps because the leader changed is walked there at this rate; meat itself moves 0.4 K/min.
SLEW_KELVIN_PER_S = 2.0 / 60.0


def margin_kelvin(element_watts: float | None) -> float:
    """How far under the limit the working target stays [kelvin].

    Parameters: ``element_watts`` [W], scalar; None when the element's power is not known (the larger margin is taken).
    Returns: 1.11 kelvin (2 °F) up to 1000 W, 2.22 kelvin (4 °F) from 1500 W, linear between. Raises nothing.
    Source: own simulation study; no published figure.
    """
    if element_watts is None:
        return MARGIN_LARGE_KELVIN
    share = (element_watts - SMALL_WATTS) / (LARGE_WATTS - SMALL_WATTS)
    return MARGIN_SMALL_KELVIN + min(1.0, max(0.0, share)) * (MARGIN_LARGE_KELVIN - MARGIN_SMALL_KELVIN)


def ripple_room_kelvin(relay: str, element_watts: float | None) -> float:
    """How much further under the limit a slow relay works, so that its ripple stays below it [kelvin].

    Parameters: ``relay`` "mechanical" or "solid-state"; ``element_watts`` [W] or None when not known.
    Returns: 0 for a solid-state relay; else what half the ripple of a 60 s period (0.53 K at 800 W, growing with the
    power) and 0.85 K for disturbances need beyond ``margin_kelvin`` [kelvin]. Raises nothing.
    Source: own simulation study (open-loop ripple by period).
    """
    if relay != "mechanical":
        return 0.0
    watts = LARGE_WATTS if element_watts is None else element_watts
    return max(0.0, 0.53 * watts / 800.0 + 0.85 - margin_kelvin(element_watts))


def follow_degC(
    core_degC: float, lift_kelvin: float, floor_degC: float | None, cap_degC: float, under_cap_kelvin: float
) -> float:
    """Give the chamber target [degC] that follows a core.

    Parameters: scalars; ``core_degC`` leading core, ``lift_kelvin`` the set lift, ``floor_degC`` lowest target or None,
    ``cap_degC`` the smoker limit of the process, ``under_cap_kelvin`` the margin kept below it.
    Returns: min(max(core + lift, floor), cap - margin) [degC]; the limit wins over the floor. Raises nothing.
    Source: the trade's practice of 50 °F over the meat (common practice).
    """
    wanted = core_degC + lift_kelvin
    if floor_degC is not None and wanted < floor_degC:
        wanted = floor_degC
    return min(wanted, cap_degC - under_cap_kelvin)


def slewed_degC(last_degC: float | None, wanted_degC: float, dt_s: float, rate: float = SLEW_KELVIN_PER_S) -> float:
    """Walk a target towards where it is wanted [degC].

    Parameters: scalars; ``last_degC`` the target before or None (then the wanted one is taken at once), ``dt_s``
    seconds since then (negative counts as 0), ``rate`` largest change [K/s] either way.
    Returns: the new target [degC]. Raises nothing. Source: common practice.
    """
    if last_degC is None:
        return wanted_degC
    most = rate * max(0.0, dt_s)
    return min(max(wanted_degC, last_degC - most), last_degC + most)
