"""The batch record in words: the blocks that terminal and page share, and the picture of its curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fiftyover.batch.timeline import hours
from fiftyover.reports.figures import Figures, clock
from fiftyover.reports.sheet_view import Block

# What the marks and faults are called; others stand as they are kept, where that is a word already.
WORDS = {
    "hung": "hung", "called": "called", "called-again": "called again", "check-asked": "check by hand asked for",
    "hand-reading": "read by hand", "pulled": "pulled", "probe-out": "probe not believed",
    "probe-back": "probe believed", "outage": "no readings", "stop-heat": "heat stopped", "resume-heat": "heat resumed",
    "chamber-fault": "chamber probe fault", "chamber-back": "chamber probe good",
    "hold-started": "held, for want of a core to follow", "hold-ended": "that hold is over",
    "late": "calls not answered, held below the band", "late-ended": "answered, no longer held",
    "swapped": "probes swapped?", "alarm": "alarm", "alarm-over": "alarm over",
    "preheat": "preheat of the empty smoker", "start-checked": "start check answered",
    "stage": "next stage", "next-stage": "stage ended by hand", "follow-next": "not followed any more",
    "notice": "told ahead", "smoke-low": "wood on the element", "tuned": "this smoker's test",
    "alarm-test": "alarm test", "here": "somebody stays", "core-reading": "read by hand",
    "second-reading": "second thermometer",
    "into-refrigerator": "into the refrigerator", "into-ice": "into ice", "out-of-ice": "out of the ice",
}  # fmt: skip
HIDDEN = ("lead-asked", "check-again", "switched")  # the last one is a count for the relay's life, not a mark
MARKS_MOST = 120
ADVISORY_MOST = 7.0


def blocks(record: Mapping[str, Any], units: str = "F-lb") -> list[Block]:
    """The record's tables in order."""
    figures = Figures(units)
    found = [
        Block("What it shows", (), tuple((figures.words(sentence),) for sentence in record["said"])),
        _chubs(record, figures),
        _clocks(record),
        _closing(record, figures),
    ]
    if record["made_of"]:
        found.append(_made_of(record["made_of"], figures))
    for title, events in (("Faults", record["faults"]), ("Marks", record["marks"])):
        rows = tuple(_mark(event, figures) for event in events if event["kind"] not in HIDDEN)
        found.append(Block(title, (), rows[:MARKS_MOST] or (("none",),)))
    return found


def _chubs(record: Mapping[str, Any], figures: Figures) -> Block:
    def degrees(degC: float | None) -> str:
        return "-" if degC is None else figures.temperature(degC, 1)

    rows = []
    for chub in record["chubs"]:
        called = chub["called_s"] if chub["called_s"] is not None else chub["asked_by_hand_s"]
        row = chub["highest_row_degF"]
        in_band = {True: "in the band", False: "outside the band", None: ""}[chub["pulled_in_band"]]
        rows.append(
            (
                str(chub["number"]),
                chub["line"],
                chub["place"],
                "hand" if chub["probe"] is None else f"probe {chub['probe'] + 1}",
                clock(called),
                clock(chub["pulled_s"]),
                degrees(chub["pulled_degC"]),
                degrees(chub["peak_degC"]),
                "-" if row is None else f"{row} °F",
                in_band,
            )  # fmt: skip
        )
    head = ("chub", "line", "place", "core by", "called", "pulled", "at pull", "peak", "row met", "")
    return Block("Chubs (hours since hung)", head, tuple(rows))


def _clocks(record: Mapping[str, Any]) -> Block:
    rows = []
    for chub in record["chubs"]:
        warm, chill = chub["warm_up"], chub["cooling"]
        if warm["hours"] is None and not chill["ways"]:
            continue
        kept = {True: "kept", False: "MISSED", None: "runs"}[warm["kept"]]
        told = "-" if warm["hours"] is None else f"{warm['hours']:.2f} h of {warm['limit_h']:.0f} h: {kept}"
        rows.append((str(chub["number"]), told, _cooled(chill), _advisory(chub["log10_advisory"])))
    head = ("chub", "warm-up clock, 50 to 130 °F", "cooling clock", "advisory integral")
    return Block("Clocks", head, tuple(rows) or (("nothing was read",),))


def _cooled(chill: Mapping[str, Any]) -> str:
    if chill["met_by"] is not None:
        legs = [leg for leg in chill["ways"][chill["met_by"]]["legs"] if not leg["advised"]]
        return "kept: " + ", ".join(f"{leg['name']} °F in {hours(leg['took_s'] or 0.0)}" for leg in legs)
    if chill["missed"]:
        return "MISSED by every published way"
    states = sorted({detail["state"] for detail in chill["ways"].values()})
    return ", ".join(states) if states else "not read"


def _advisory(log10: float | None) -> str:
    if log10 is None:
        return "-"
    return "over 7 log10" if log10 > ADVISORY_MOST else f"{log10:.1f} log10"  # no table goes further


def _closing(record: Mapping[str, Any], figures: Figures) -> Block:
    rows = []
    weights, second = record["weights"], record["second_reading"]
    if weights["raw_kg"] is not None:
        rows.append(("raw", figures.large_mass(weights["raw_kg"] * 1000.0)))
    if weights["cooked_kg"] is not None:
        rows.append(("cooked", figures.large_mass(weights["cooked_kg"] * 1000.0)))
    if weights["yield"] is not None:
        rows.append(("yield", f"{weights['yield']:.1%}"))
    if second is not None:
        own = "no probe" if second["core_degC"] is None else figures.temperature(second["core_degC"], 1)
        told = f"chub {second['chub']}: {figures.temperature(second['second_degC'], 1)}, the tool's own {own}"
        rows.append(("second thermometer", told + ("; check the probe" if second["check_the_probe"] else "")))
    rows.append(("closed", "yes" if record["closed"] else "not yet"))
    rows.append(("readings", f"{record['readings']}, {record['gaps']} gaps"))
    return Block("Close", (), tuple(rows))


def _made_of(made_of: Mapping[str, Any], figures: Figures) -> Block:
    rows = []
    if "kinds" in made_of:
        rows.append(("meats", ", ".join(made_of["kinds"])))
    for key, word in (("meat_g", "meat and fat"), ("batch_g", "stuffed")):
        if key in made_of:
            rows.append((word, figures.mass(made_of[key])))
    for key, word in (("nitrite_ppm", "nitrite"), ("erythorbate_ppm", "erythorbate")):
        if made_of.get(key):
            rows.append((word, f"{made_of[key]:.1f} ppm of the meat"))
    return Block("Made of", (), tuple(rows))


def _mark(event: Mapping[str, Any], figures: Figures) -> tuple[str, str, str]:
    details = []
    for key, value in event.items():
        if key in ("at_s", "kind") or value is None:
            continue
        if key.endswith("_degC"):
            details.append(figures.temperature(value, 1))
        elif key == "probe":
            details.append(_probe(event["kind"], value))
        elif key == "kg":
            details.append(figures.large_mass(value * 1000.0))
        elif key == "chub":
            details.append(f"chub {value}")
        elif key in ("why", "note", "what", "who", "says", "state", "failed"):
            details.append(str(value))
        elif key == "name" and "says" not in event:
            details.append(str(value).replace("-", " "))
        elif key == "low":
            details.append("too low to smoke" if value else "enough to smoke")
        elif key == "chubs":
            details.append("chubs " + ", ".join(str(one) for one in value) if value else "")
    kind = WORDS.get(event["kind"], event["kind"].replace("-", " "))
    return _when(event["at_s"]), kind, "; ".join(part for part in details if part)


def _probe(kind: str, value: int | str) -> str:
    """Of a pull, where its probe goes ("stays", "away", or a chub); else a channel, counted as the kit does."""
    if kind == "pulled":
        return f"its probe into chub {value}" if isinstance(value, int) else f"its probe {value}"
    return f"probe {value + 1}" if isinstance(value, int) else f"probe {value}"


def _when(at_s: float) -> str:
    return f"-{clock(-at_s)}" if at_s < 0 else clock(at_s)


def compared(first: Mapping[str, Any], second: Mapping[str, Any], units: str = "F-lb") -> list[Block]:
    """Two batches side by side, aligned at hanging: by casing line, hours to the pull, cores, clocks, yield."""
    figures = Figures(units)
    rows: list[tuple[str, ...]] = [("name", first["name"], second["name"])]
    lines = list(dict.fromkeys(chub["line"] for one in (first, second) for chub in one["chubs"]))
    for line in lines:
        rows += [
            (f"{line}: {word}", _over(first, line, key, show), _over(second, line, key, show))
            for word, key, show in (
                ("hours to the pull", "pulled_s", clock),
                ("core at pull", "pulled_degC", lambda degC: figures.temperature(degC, 1)),
                ("peak", "peak_degC", lambda degC: figures.temperature(degC, 1)),
                ("row met", "highest_row_degF", lambda degF: f"{degF} °F"),
            )
        ]
    rows += [
        ("warm-up clock, longest", *(_longest(one) for one in (first, second))),
        ("yield", *(_yield(one) for one in (first, second))),
        ("faults", *(str(len(one["faults"])) for one in (first, second))),
        ("limit missed", *("yes" if one["missed_a_published_limit"] else "no" for one in (first, second))),
    ]
    return [Block("Two batches, from hanging", ("", first["batch"], second["batch"]), tuple(rows))]


def _over(record: Mapping[str, Any], line: str, key: str, show: Any) -> str:
    values = sorted(chub[key] for chub in record["chubs"] if chub["line"] == line and chub[key] is not None)
    if not values:
        return "-"
    return show(values[0]) if values[0] == values[-1] else f"{show(values[0])} to {show(values[-1])}"


def _longest(record: Mapping[str, Any]) -> str:
    found = [chub["warm_up"]["hours"] for chub in record["chubs"] if chub["warm_up"]["hours"] is not None]
    return f"{max(found):.2f} h" if found else "-"


def _yield(record: Mapping[str, Any]) -> str:
    share = record["weights"]["yield"]
    return "-" if share is None else f"{share:.1%}"


def label_words(record: Mapping[str, Any], packed: str, units: str = "F-lb") -> dict[str, str]:
    """What stands on the label: name, date, weight of a chub, how to keep it."""
    figures = Figures(units)
    cooked_kg = record["weights"]["cooked_kg"]
    count = len(record["chubs"])
    weight = "" if not cooked_kg else f"about {figures.large_mass(cooked_kg * 1000.0 / count)} each"
    kinds = record["made_of"].get("kinds", [])
    return {
        "name": record["name"],
        "packed": packed,
        "weight": weight,
        "meats": ", ".join(kinds),
        "batch": record["batch"],
        "count": str(count),
    }


def rows_of_csv(frames: Sequence[Any], zero_ms: int) -> list[list[Any]]:
    """Rows of the curves: seconds since hung, UTC ms, duty, element, why, then temperature and status by channel."""
    channels = max((len(frame.t) for frame in frames), default=0)
    names = ["chamber", *(f"core_{channel}" for channel in range(1, channels))]
    head = ["since_hung_s", "utc_ms", "duty", "element_on", "why"]
    rows: list[list[Any]] = [head + [f"{n}_degC" for n in names] + [f"{n}_status" for n in names]]
    for frame in frames:
        pad = [None] * (channels - len(frame.t))
        since_s = (frame.utc_ms - zero_ms) / 1000.0
        rows.append([since_s, frame.utc_ms, frame.duty, frame.on, frame.why, *frame.t, *pad, *frame.s, *pad])
    return rows
