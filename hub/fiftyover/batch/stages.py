"""The stages of a cook as a table; for now one, `follow`. A row says what the chamber does and what ends it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stage:
    """One row: its name, what the chamber does (``follow`` the lead core or ``hold`` a temperature), and what ends it.

    ``hold_degC`` belongs to ``hold`` only. ``ends`` is a tuple of (condition, value) pairs, the first that is met ends
    the stage; the conditions are keys of ``ENDS``.
    """

    name: str
    does: str
    hold_degC: float | None
    ends: tuple[tuple[str, float | str | None], ...]


ENDS = ("all-pulled",)

FOLLOW = Stage("follow", "follow", None, (("all-pulled", None),))
STAGES = (FOLLOW,)
