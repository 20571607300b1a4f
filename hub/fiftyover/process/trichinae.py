"""Parasites in pork: the tables of 9 CFR 318.10(c), kept as data and as history.

The section is reserved since 2018 (83 FR 25307). The heating table is weaker than every row of `lethality`, so
nothing here decides anything. The freezing tables are for domestic pork: trichinae of game may survive freezing
(CDC), so freezing is never offered for it.
"""

from typing import NamedTuple


class Heating(NamedTuple):
    """A core temperature and the least time at it; 0 s is "instant"."""

    degF: int
    least_s: int


class Freezing(NamedTuple):
    """A table of the rule, a temperature and the least time at it."""

    table: str
    degF: int
    least_h: float


# 9 CFR 318.10(c)(1)
HEATING = (
    Heating(120, 75600), Heating(122, 34200), Heating(124, 16200), Heating(126, 7200), Heating(128, 3600),
    Heating(130, 1800), Heating(132, 900), Heating(134, 360), Heating(136, 180), Heating(138, 120),
    Heating(140, 60), Heating(142, 60), Heating(144, 0),
)  # fmt: skip

_DAY_H = 24.0
_SMALL, _LARGE, _CENTRE = "table1 group1 <=6 in", "table1 group2 6-27 in", "table2 centre"
# 9 CFR 318.10(c)(2)
FREEZING = (
    Freezing(_SMALL, 5, 20 * _DAY_H), Freezing(_SMALL, -10, 10 * _DAY_H), Freezing(_SMALL, -20, 6 * _DAY_H),
    Freezing(_LARGE, 5, 30 * _DAY_H), Freezing(_LARGE, -10, 20 * _DAY_H), Freezing(_LARGE, -20, 12 * _DAY_H),
    Freezing(_CENTRE, 0, 106.0), Freezing(_CENTRE, -5, 82.0), Freezing(_CENTRE, -10, 63.0),
    Freezing(_CENTRE, -15, 48.0), Freezing(_CENTRE, -20, 35.0), Freezing(_CENTRE, -25, 22.0),
    Freezing(_CENTRE, -30, 8.0), Freezing(_CENTRE, -35, 0.5),
)  # fmt: skip
