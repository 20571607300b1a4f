"""The rows of the sections stand-by, second switch, outage and hazards: what their results must show."""

from dataclasses import dataclass

from faults import hazards, outage, second_switch, standby


@dataclass
class Row:
    """One line of the table: what was done, how often, what was seen, what is asked for, whether it was met."""

    what: str
    count: int
    seen: str
    asked: str
    met: bool


def outage_rows(results, _quick):
    wrong = sum(one["wrong_dates"] + one["out_of_order"] + one["doubled"] + one["missing"] for one in results)
    back = [one["recovered_s"] for one in results]
    worst = "never" if None in back else f"{max(back)} s at most"
    thinned, rows = sum(one["thinned"] for one in results), sum(one["rows"] for one in results)
    seen = f"{wrong} wrong of {rows} rows (date, order, doubled, missing; {thinned} thinned by the kit, as agreed), "
    seen += f"merged after {worst}"
    met = wrong == 0 and None not in back and max(back) <= outage.RECOVERY_S
    met = met and all(one["held"] > 1000 and one["wraps"] == 1 and one["faults"] == 0 for one in results)
    return [Row("two hours without the hub, then merged", len(results), seen, "0 wrong rows, ≤ 60 s", met)]


def standby_rows(results, _quick):
    what = "armed, then the hub killed: the stand-by hold"
    asked = "±3 K after 20 min, never with the door open, off at its end"
    if broke := [one["broke"] for one in results if "broke" in one]:
        return [Row(what, len(results), broke[0], asked, False)]
    off = max(abs(one["held_degC"] - standby.HOLD_DEGC) for one in results)
    said, began_s = all(one["armed_said"] for one in results), min(one["began_s"] for one in results)
    door_ons, end_on = sum(one["door_ons"] for one in results), sum(one["end_on"] for one in results)
    seen = f"armed {'said' if said else 'NOT said'}; off until {began_s:.0f} s of silence; "
    seen += f"{off:.1f} K off its hold after 20 min at most; "
    seen += f"{door_ons} times on with the door open; {end_on} times on after its end"
    met = said and all(one["off_before"] and one["sounded"] and one["back_on"] for one in results)
    met = met and off <= standby.NEAR_KELVIN and door_ons == 0 and end_on == 0 and began_s >= 29.0
    met = met and not any(one["watchdogs"] for one in results)
    return [Row(what, len(results), seen, asked, met)]


def switch_rows(results, _quick):
    rows = []
    for kind in (second_switch.HUNG, second_switch.CAPPED, second_switch.SILENT):
        mine = [one for one in results if one["kind"] == kind]
        offs = [one.get("off_kit_s") for one in mine]
        worst = "never" if None in offs else f"{max(offs):.1f} s at most"
        again = sum(one.get("again", True) for one in mine)
        met = None not in offs and max(offs) <= second_switch.ASKED_S and again == 0
        met = met and all(one["beats_a_second"] > 0 and one["pin_high_or_welded"] for one in mine)
        seen = f"no current after {worst}, {again} times again"
        rows.append(
            Row(f"second switch: {kind}", len(mine), seen, f"≤ {second_switch.ASKED_S:.0f} s, never again", met)
        )
    return rows


def hazard_rows(results, _quick):
    cases, rows = [one for result in results for one in result], []
    for kind in hazards.KINDS:
        mine = [one for one in cases if one["kind"] == kind]
        if not mine:
            continue
        told = [one["told_s"] for one in mine]
        late = [one for one in told if one is None or one > hazards.ASKED_S[kind]]
        early, heated = sum(len(one["early"]) for one in mine), sum(one["heated_after"] for one in mine)
        known = [one for one in told if one is not None]
        worst = f"{max(known):.0f} s at most" if known else "never told"
        seen = f"{len(late)} missed or late, {worst}; {early} alarms before"
        if kind in (hazards.DOOR, hazards.ALONE):
            seen += f"; {heated} times on " + ("while hands are in" if kind == hazards.DOOR else "after 16 h")
        asked = f"≤ {hazards.ASKED_S[kind]} s"
        rows.append(Row(kind, len(mine), seen, asked, not late and not early and not heated))
    return rows
