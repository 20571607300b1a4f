"""The words a person reads, in one place."""

from __future__ import annotations

from ..batch import day, events

MARKS = frozenset(events.MARKS) | frozenset(day.MARKS)  # what a page may send
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

ARMED = "; armed: it holds by itself if the hub falls silent"


def heater(why: str, armed: bool) -> str:
    """What the element does and why, as a person reads it."""
    return HEATER.get(why, why) + (ARMED if armed and why != "standby" else "")


# What the chamber is doing, by the batch's word for it.
STAGE = {
    "following": "following the meat",
    "floor": "at its floor until the meat catches up",
    "limit": "at the smoker limit",
    "unattended": "held until the alarm test is answered or somebody stays",
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
    "stage": "{name}",
    "next-stage": "next stage",
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


TABS = (("/", "Now"), ("/plan", "Plan"), ("/batches", "Batches"), ("/kit", "Kit"), ("/settings", "Settings"))

# What the kit says of itself -> the word for the person, in the order of the page.
KIT_FACTS = (
    ("sys/rssi", "Signal at the smoker"),
    ("sys/cap", "Cut-off, set at the kit"),
    ("sys/relay", "Relay"),
    ("sys/switchings", "Relay switched on"),
    ("sys/firmware", "Firmware"),
    ("sys/uptime", "Running for"),
    ("sys/reset-cause", "Last start"),
    ("sys/heap", "Free memory, bytes"),
    ("sys/hub", "Obeys the hub"),
)
# Wi-Fi signal in dBm, at least -> a word (common practice). It is worth a look with the smoker's door shut.
SIGNAL = ((-60.0, "strong"), (-70.0, "good"), (-78.0, "enough"), (-999.0, "weak: move the kit or the access point"))

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
    "sound-off": "Sound is off: turn it on",
    "sound-on": "Sound is on: turn it off",
    "heard": "I heard it",
    "heard-said": "Quiet on this device. The alarm stands until what it says is done.",
    "chart-empty": "The curves begin with the first minutes of the batch.",
    "chamber": "chamber",
    "target": "target",
    "all": "Whole batch",
    "last-hour": "Last hour",
    "rack-empty": "Nothing hangs. A new batch begins under Plan.",
    "rack-chub": "Chub {chub}, {line}, {place}: {core}, {words}",
    "expected": "{from} to {to}",
    "no-alarms": "No alarms.",
    "of-limit": "of {limit}",
    "not-running": "not running",
    "kit-none": "No kit was heard yet. Switch it on; it finds the hub by itself within a minute.",
    "kind-unknown": "not told yet",
    "no-baths": "Nothing yet. Check each probe before its first cook, then once a year.",
    "no-reading": "Probe {probe} gives no reading now: look at its plug, then try again.",
    "probe-n": "Probe {probe}",
    "line-for": "In its list of channels, number {probe} from the top:",
    "no-faults": "None in this batch.",
    "cooling": "Cooling, {where}: {left} left",
    "cooling-lost": "Cooling, {where}: too late",
    "refrigerator-by": "latest into the refrigerator in {left}",
    "hold-left": "Cure hold: {left} left",
    "hold-over": "Cure hold: over, it may be hung",
    "warm-before": "Warm-up clock since stuffing: {spent} {limit}",
    "refrigerator-now": "Refrigerator, by its glass of water: {degrees}",
    "mix-core": "Warmest meat, in °{unit}",
    "mix-core-unknown": "Not measured",
    "mix-core-read": "Type in what the thermometer shows",
    "mix-core-ask": "Was the meat measured?",
    "any-chub": "Which chub?",
    "second": "The second thermometer, in °{unit}",
    "kg": "Weight, in {unit}",
    "pair": "Which one changed places?",
    "pair-with": "With which one?",
    "remove": "Remove",
    "practising": "Cooking on the simulated smoker …",
    "practising-done": "Cooking on the simulated smoker: {done} of {of} cooks done.",
    "likely-picture": "Line {line}: the core climbs to the band in {low} to {high}, most likely {likely}",
    "hours": "{h} h",
    "core": "core",
    "line-more": "One more",
    "line-less": "Take away",
    "look-first": "Look at this first",
    "hang-sure": "Do the chubs of this plan hang in the smoker now?",
    "hang-yes": "Yes, they hang",
    "begin-sure": "Begin this batch in the bowl? Its clocks and marks are then under Now.",
    "begin-yes": "Yes, begin",
    "practice-head": "Practice cook: hours until done",
    "practice-line": "{line}: likely {likely}, between {low} and {high}",
    "practice-why": "From a few cooks on a simulated smoker that differ in what no label says. Not measured on yours.",
    "nobody": "Nobody yet.",
    "and-more": "And {n} more.",
    "smoker-never": "not heard yet",
    "smoker-silent": "silent for {s} s",
    "no-batch": "no batch",
    "hanging": "{n} hang",
    "smokers-shown": "{shown} of {of} smokers",
}

# The form of a plan: key in the recipe file, label, choices or an example. Texts carry their unit.
KINDS = ("pork", "beef", "veal", "lamb", "mutton", "goat", "rabbit", "game", "chicken", "turkey", "duck", "goose")
PLAN = {
    "fields": (
        ("name", "Name", ""),
        ("units", "Figures in", ("F-lb", "C-kg")),
        ("target.weight", "Meat in all, where weights are left out", "10 lb"),
        ("target.fat", "Fat wanted", "24 %"),
        ("salt.in_all", "Salt in all, of the meat", "1.8 %"),
        ("water", "Ice water", "4 %"),
        ("cure.nitrite", "Nitrite in the cure, off its label", "6.25 %"),
        ("cure.wanted", "Nitrite wanted, of the meat", "156 ppm"),
        ("rig.probes", "Core probes", 2),
        ("rig.watts", "Element, watts", 800),
        ("rig.relay", "Relay", ("mechanical", "solid-state")),
        ("rig.response", "You need to come", "10 min"),
        ("rig.stuffer", "Stuffer holds", "5 lb"),
        ("cook.band_from", "Pull from", "152 °F"),
        ("cook.band_to", "Pull to", "155 °F"),
        ("cook.limit", "Smoker limit", "180 °F"),
        ("cook.schedule", "Stages", (("", "follow the meat all the way"),)),
        ("cook.lead", "Follow: lowest, median, or a chub's number", "lowest"),
        (
            "cook.wood",
            "Wood lies",
            (
                ("", "as the stages say"),
                ("element", "on the element"),
                ("tray", "in a tray of its own"),
                ("none", "nowhere"),
            ),
        ),
        ("cook.autotune", "Measure this smoker at the start", (("", "no"), "yes")),
        ("times.cure_hold", "Cure hold", "14 h"),
        ("times.bloom", "Bloom", "1 h 30 min"),
    ),
    "tables": (
        (
            "meat",
            "Meat",
            (("name", "Meat", ""), ("kind", "Kind", KINDS), ("fat", "Fat", "28 %"), ("weight", "Weight", "8 lb")),
        ),
        ("seasoning", "Seasoning", (("name", "What", ""), ("amount", "Amount", "0.5 %"))),
        (
            "casing",
            "Casing lines",
            (
                ("line", "Line", "slim"),
                ("diameter", "Diameter, stuffed", "45 mm"),
                ("length", "Length", "12 in"),
                ("count", "Chubs", 0),
            ),
        ),
    ),
}
