"""The words a person reads, in one place."""

from __future__ import annotations

# Marks a page may send. Their words on the buttons stand in the templates.
MARKS = frozenset({"pulled", "hand-reading", "stop-heat", "resume-heat", "door", "undo", "follow-next"})
WATCHER_MARKS = frozenset({"stop-heat"})

# The kit's word for why the element is on or off -> what the person reads.
HEATER = {
    "on": "heating",
    "off": "resting, the chamber is warm enough",
    "refused": "off: the kit refused the hub's last permit",
    "expired": "off: the kit has not heard from the hub in time",
    "cap": "off: the chamber passed the cut-off",
    "probe-fault": "off: the chamber probe is not giving a good reading",
    "boot-hold": "off: the kit has just started",
    "link-lost": "off: the kit has lost its link",
    "door": "off while the door is open",
    "latched": "off until a person resets the cut-off at the kit",
    "standby": "holding by itself, the hub is silent",
}

PROBE = {
    "ok": "",
    "open": "probe unplugged or broken",
    "short": "probe wet or short-circuited",
    "range": "reading out of range",
    "jump": "reading jumped",
    "stuck": "reading does not move at all",
    "uncalibrated": "not calibrated",
}


def clock_words(seconds: float) -> str:
    """Seconds as hours and minutes, 3:05."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"
