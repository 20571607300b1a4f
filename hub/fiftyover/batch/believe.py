"""Which core readings may be believed: slowly (product rule 1).

A probe that slips out of a chub into the hot air reads any core within a minute, so a reading counts for a call only
when 3 min of believable rise have followed it. The test that finds such a probe is physical: a core cannot rise faster
than its chub takes up heat. Pure; temperatures degC, rates K/s, times seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fiftyover.batch.ahead import FILM_LARGEST, pace

CONFIRM_S = 180.0
ROW_S = 5.0
ALWAYS_TOO_FAST = 4.0 / 60.0  # K/s: twice the fastest core of our own study (2.05 K/min, 38 mm)
SLACK = 0.5 / 60.0  # K/s allowed over the physical rate: noise, and a tip a few millimetres off the axis
USED_SLACK = 0.1 / 60.0  # the same for the core that the target is made from
FALLS = 0.5 / 60.0  # K/s of fall over a minute while the air is far hotter
AIR_FAR_KELVIN = 10.0
LOOSE_KELVIN = 4.0  # a probe this near the chamber hangs in it
SWAPPED_KELVIN = 3.0
SWAPPED_S = 180.0
STUCK_S = 1200.0  # no noise at all for so long while the air is far hotter
STUCK_KELVIN = 0.011  # one step of the wire's two decimals
REJOIN_SLACK_KELVIN = 1.0
DOUBTED = "warms as no chub does beside the others: read its chub by hand"  # see `doubt`; only a hand reading ends it
OVER_FADES = 0.995  # per five seconds: in about a quarter of an hour


class Row(NamedTuple):
    """Means over five seconds: steady seconds, chamber, cores by channel (index 0 the chamber); None = no reading."""

    at_s: float
    chamber_degC: float
    probe_degC: tuple[float | None, ...]


class Track(NamedTuple):
    """What is known of one core channel.

    ``used_degC`` follows the reading no faster than a core can rise; it is what the target is made from.
    ``good_since_s`` begins the present run of believable readings. ``out`` names why the channel is not believed.
    ``over_kelvin`` is the most that the air was above the core lately: heat that is still on its way in.
    """

    good_since_s: float
    used_degC: float | None = None
    used_s: float = 0.0
    out: str | None = None
    over_since_s: float | None = None
    still_degC: float | None = None
    still_since_s: float = 0.0
    over_kelvin: float = 0.0
    placed_s: float = 0.0

    @property
    def believed(self) -> bool:
        """Whether it may lead."""
        return self.out is None and self.used_degC is not None


def fastest(diameter_mm: float, over_kelvin: float) -> float:
    """Fastest believable rise [K/s] of a core with the air so far over it [kelvin]."""
    return SLACK + 2.0 * pace(diameter_mm, FILM_LARGEST) * max(0.0, over_kelvin)


def rate_over(rows: Sequence[Row], channel: int, seconds: float) -> float | None:
    """Slope [K/s] of a channel over the last so many seconds of rows, or None when they do not reach back."""
    last, steps = rows[-1], int(seconds / ROW_S)
    near = rows[-1 - steps :] if len(rows) > steps else rows  # rows usually lie five seconds apart
    for row in near[:1] if last.at_s - near[0].at_s <= seconds + ROW_S else reversed(rows):
        if last.at_s - row.at_s >= seconds - 1.0:
            now, then = last.probe_degC[channel], row.probe_degC[channel]
            return None if now is None or then is None else (now - then) / (last.at_s - row.at_s)
    return None


def fault(track: Track, rows: Sequence[Row], channel: int, diameter_mm: float, masked: bool) -> str | None:
    """Say why the newest reading of a core channel is not believable, or None.

    ``masked`` is True for ten minutes after a door or an outage, when falls and places tell nothing.
    """
    row = rows[-1]
    value = row.probe_degC[channel]
    if value is None:
        return "no reading"
    for seconds in (30.0, 60.0):
        rate = rate_over(rows, channel, seconds)
        if rate is not None and (rate > ALWAYS_TOO_FAST or rate > fastest(diameter_mm, track.over_kelvin)):
            return "rises faster than meat can"
    if masked:
        return None
    rate = rate_over(rows, channel, 60.0)
    if rate is not None and rate < -FALLS and row.chamber_degC > value + AIR_FAR_KELVIN:
        return "falls in hot air"
    if row.chamber_degC > value + AIR_FAR_KELVIN and row.at_s - track.still_since_s >= STUCK_S:
        return "does not move at all"
    return None


def _not_yet(track: Track, rows: Sequence[Row], channel: int, diameter_mm: float) -> bool:
    """Whether an excluded channel still reads like a probe in the air rather than in its chub."""
    row = rows[-1]
    value = row.probe_degC[channel]
    if value is None:
        return True
    if row.chamber_degC - value < LOOSE_KELVIN:
        return True
    if track.used_degC is None:
        return False
    risen = fastest(diameter_mm, row.chamber_degC - track.used_degC) * (row.at_s - track.used_s)
    return value > track.used_degC + REJOIN_SLACK_KELVIN + min(risen, (row.chamber_degC - track.used_degC) * 0.6)


def watch(track: Track, rows: Sequence[Row], channel: int, diameter_mm: float, masked: bool) -> Track:
    """Look at the newest row of a core channel; see ``fault`` for the arguments. A change of ``out`` is an event."""
    row = rows[-1]
    value = row.probe_degC[channel]
    if rows[0].at_s <= track.placed_s + ROW_S:  # what it read elsewhere tells nothing
        rows = [r for r in rows if r.at_s > track.placed_s + ROW_S]
        if not rows and track.out is not None:
            return track._replace(good_since_s=row.at_s)
        rows = rows or [row]
    if value is not None and (track.still_degC is None or abs(value - track.still_degC) > STUCK_KELVIN):
        track = track._replace(still_degC=value, still_since_s=row.at_s)
    if track.out is None and track.used_degC is not None:
        over = max(row.chamber_degC - track.used_degC, track.over_kelvin * OVER_FADES)
        track = track._replace(over_kelvin=over)
    if track.out == DOUBTED:
        return track._replace(good_since_s=row.at_s)
    why = fault(track, rows, channel, diameter_mm, masked)
    if why is not None:
        return track._replace(out=track.out or why, good_since_s=row.at_s, used_degC=_before(track, rows, channel))
    if track.out is not None:
        if _not_yet(track, rows, channel, diameter_mm):
            return track._replace(good_since_s=row.at_s)
        if row.at_s - track.good_since_s < CONFIRM_S:
            return track
        return track._replace(out=None, used_degC=value, used_s=row.at_s)
    return track._replace(used_degC=_used(track, row, value, diameter_mm), used_s=row.at_s)


def _used(track: Track, row: Row, value: float | None, diameter_mm: float) -> float | None:
    if value is None or track.used_degC is None:
        return value
    limit = USED_SLACK + 1.3 * pace(diameter_mm, FILM_LARGEST) * track.over_kelvin
    return min(value, track.used_degC + limit * max(0.0, row.at_s - track.used_s))


def _before(track: Track, rows: Sequence[Row], channel: int) -> float | None:
    """The core as it was a minute before the exclusion: what came after may already be the air's."""
    if track.out is not None or track.used_degC is None:
        return track.used_degC
    then = rows[-13].probe_degC[channel] if len(rows) >= 13 else None
    return track.used_degC if then is None else min(track.used_degC, then)


def over_chamber(track: Track, row: Row, channel: int, masked: bool) -> Track:
    """Time how long a core reads hotter than the chamber: probes swapped. Read it with ``swapped``."""
    value = row.probe_degC[channel]
    if masked or value is None or value < row.chamber_degC + SWAPPED_KELVIN:
        return track if track.over_since_s is None else track._replace(over_since_s=None)
    return track if track.over_since_s is not None else track._replace(over_since_s=row.at_s)


def swapped(track: Track, at_s: float) -> bool:
    """Whether a core has read hotter than the heated chamber for too long."""
    return track.over_since_s is not None and at_s - track.over_since_s >= SWAPPED_S


def usable(
    times_s: Sequence[float], strikes: Sequence[tuple[int, float, float]], channel: int, end_s: float
) -> list[bool]:
    """Say of each reading of a channel whether calls, peaks and rows may rest on it.

    ``strikes`` are (channel, from, to) as in `events.Book`; ``end_s`` is the newest believable reading's time: what is
    not yet followed by 3 min of it does not count.
    """
    spans = [(low, high) for number, low, high in strikes if number == channel]
    return [t + CONFIRM_S <= end_s and not any(low <= t <= high for low, high in spans) for t in times_s]
