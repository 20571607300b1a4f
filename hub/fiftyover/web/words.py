"""The words a person reads, in one place."""

from __future__ import annotations

# Marks a page may send.
MARKS = frozenset({"hung", "pulled", "hand-reading", "stop-heat", "resume-heat", "door", "undo", "follow-next"})
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

# What the chamber is doing, by the batch's word for it.
STAGE = {
    "following": "following the meat",
    "floor": "at its floor until the meat catches up",
    "limit": "at the smoker limit",
    "late": "held below the band until somebody comes",
    "holding": "held, for want of a core to follow",
    "door": "waiting for the door",
    "stopped": "stopped",
    "finished": "done",
}

# Events that are drawn into the chart -> the word beside the line.
CHART_MARK = {
    "hung": "hung",
    "called": "call {chub}",
    "pulled": "{chub} out",
    "hand-reading": "by hand {chub}",
    "door": "door",
    "stop-heat": "stop",
    "resume-heat": "heat again",
    "outage": "power away",
    "late": "late",
    "finished": "all out",
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


TABS = (("/", "Now"),)

# What the scripts of the page say; {figures} are put in there.
PAGE = {
    "hub-silent": "The hub does not answer. What you see is old.",
    "signed-out": "You are signed out. Sign in again.",
    "kit-never": "The hub has not heard from the kit yet.",
    "kit-silent": "No reading from the kit for {s} s.",
    "kit-heard": "{kit}, heard {s} s ago",
    "kit-simulated": "{kit}, simulated, heard {s} s ago",
    "no-answer": "The hub did not answer. Try again.",
    "stop-not-delivered": "Not delivered: go to the smoker.",
    "wait": "Working on it …",
    "between": "{text}, between {from} and {to}.",
    "due": "{text}: any minute.",
    "cancel": "Back",
    "which-chub": "Which chub?",
    "where-probe": "Where does its probe go?",
    "probe-stays": "Stays in, for the cooling",
    "probe-away": "Put away",
    "probe-to": "Into chub {chub}",
    "chub": "Chub {chub}",
    "chub-place": "Chub {chub}, {place}",
    "read-by-hand": "Core of chub {chub}, in °{unit}",
    "enter": "Enter",
    "not-a-number": "Type what the thermometer shows.",
    "no-probe": "no probe",
    "priority-act": "Act now",
    "priority-soon": "Soon",
    "priority-know": "To know",
    "sound-off": "Alarm sound is off here: turn it on",
    "sound-on": "Alarm sound is on here: turn it off",
    "heard": "I heard it",
    "heard-said": "Quiet on this device. The alarm stands until what it says is done.",
    "chart-empty": "The curves begin with the first minutes of the batch.",
    "chamber": "chamber",
    "target": "target",
    "all": "Whole batch",
    "last-hour": "Last hour",
    "rack-empty": "Nothing hangs. A new batch begins under Plan, or with a batch file: fiftyover serve --batch FILE.",
    "rack-chub": "Chub {chub}, {line}, {place}: {core}, {words}",
    "expected": "{from} to {to}",
    "no-alarms": "No alarms.",
    "of-limit": "of {limit}",
    "not-running": "not running",
    "done": "done",
}
