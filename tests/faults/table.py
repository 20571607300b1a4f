"""What the fault runner measures: the jobs of each section, and what their results must show."""

from faults import (
    acl,
    disk,
    hazards,
    kills,
    outage,
    power,
    rehearsed,
    second_switch,
    silence,
    soak,
    standby,
    times,
    two_hubs,
)
from faults.rows import Row, hazard_rows, outage_rows, standby_rows, switch_rows


def _some(count):
    return max(1, round(count * SHARE))


def _silence_jobs(quick):
    """Long form: 100 of each kind in ten stands, so that no stand's clock or store is an odd one."""
    pairs = [silence.KINDS[0:2], silence.KINDS[2:4], silence.KINDS[4:6]]
    return [
        (silence.run, (pair, 10, 100 * at + n))
        for at in range(1 if quick else _some(10))
        for n, pair in enumerate(pairs)
    ]


def _silence_rows(results, quick):
    rows, faults = [], [one for result in results for one in result["results"]]
    for kind in silence.KINDS:
        mine = [one for one in faults if one["kind"] == kind and "skipped" not in one]
        offs = [one["off_s"] for one in mine]
        late = [one for one in offs if one is None or one > silence.ALLOWED_S]
        worst = "never" if None in offs or not offs else f"{max(offs):.2f} s"
        reons = sum(one["reons"] for one in mine)
        back = [one["again_s"] for one in mine]
        need = 10 if quick else 10 * _some(10)
        met = not late and not reons and len(mine) >= need and None not in back
        seen = f"off after {worst} at most, {reons} times on again; heats again after "
        seen += f"{max(back):.1f} s at most once mended" if back and None not in back else "never once"
        rows.append(Row(kind, len(mine), seen, f"off ≤ {silence.ALLOWED_S:.1f} s (lease 2 s), 0 re-ons", met))
    late = sum(result["late_permits"] for result in results)
    refused = sum(result["refused_frames"] for result in results)
    seen = f"{late} new permits delivered late; {refused} readings say that one was refused"
    # The figures above would show little if nothing old had come back.
    rows.append(Row("… what came back while no hub was alive", late, seen, "both > 0", late > 0 and refused > 0))
    return rows


def _kill_jobs(quick):
    stands, each = (2, 10) if quick else (_some(8), 25)
    return [(kills.run, (each, 500 + n)) for n in range(stands)]


def _kill_rows(results, _quick):
    def total(key):
        return sum(result[key] for result in results)

    bad = total("lost") + total("changed") + total("rewritten") + total("doubled")
    whole = all(result["integrity"] == "ok" for result in results)
    drained = all(result["settled_s"] is not None for result in results)
    back = [result["resumed_max_s"] for result in results if result["resumed_max_s"] is not None]
    seen = f"{total('lost')} lost, {total('doubled')} doubled of {total('acknowledged')} acknowledged frames"
    kept = Row("hub, broker and kit kill -9, mixed", total("kills"), seen, "0 lost, 0 doubled", bad == 0 and whole)
    gaps = total("missing_now")
    after = Row(
        "… readings of the running kit missing on the disk at the end",
        total("rows"),
        f"{gaps}",
        "0",
        drained and gaps == 0,
    )
    worst = f"{max(back):.1f} s at most" if back else "never"
    again = Row(
        "… hub started again to its next permit", total("resumed"), worst, "≤ 10 s", bool(back) and max(back) <= 10
    )
    return [kept, after, again]


def _disk_rows(results, _quick):
    what, asked = "disk full for 10 s, the reserve too", "heat goes on, said, 0 lost, ≤ 60 s"
    if not_run := [one["not_run"] for one in results if "not_run" in one]:
        return [Row(what, 0, not_run[0], asked, False)]
    meant = all(one["full_throughout"] and one["reserve_told"] and one["full_told"] for one in results)
    heals = [one["heal_s"] for one in results]
    whole = all(one["integrity"] == ["ok", "ok"] for one in results)
    permits, offs = min(one["grants_while_full"] for one in results), sum(one["offs_while_full"] for one in results)
    lost, missing = sum(one["lost"] for one in results), sum(one["missing"] for one in results)
    seen = f"{permits} permits at least and {offs} offs while full, {lost} lost, {missing} missing, "
    seen += f"saving again after {_worst(heals)}"
    met = meant and whole and None not in heals and max(heals) <= disk.HEAL_S and permits >= 8
    return [Row(what, len(results), seen, asked, met and offs == lost == missing == 0)]


def _worst(seconds):
    return "never" if None in seconds else f"{max(seconds):.1f} s" + (" at most" if len(seconds) > 1 else "")


def _times_rows(results, _quick):
    wrong, rows = sum(one["wrong_rows"] for one in results), sum(one["rows"] for one in results)
    offs, told = sum(one["offs_by_jumps"] for one in results), min(one["jumps_told"] for one in results)
    met = wrong == 0 and all(one["rows"] >= 30 and one["wraps"] == 1 and one["summer_time_ended"] for one in results)
    met = met and offs == 0 and told >= 2 and not any(one["hub_faults"] for one in results)
    what = "wall clock + 2 h, − 4 h, end of summer time, ticks wrap, hub restarted"
    seen = f"{wrong} wrong of {rows} rows, {offs} offs, {told} told each time"
    agains = [one["resumed_real_time_s"] for one in results]
    quick = None not in agains and max(agains) <= 10
    return [
        Row(what, len(results), seen, "0 wrong rows", met),
        Row("hub kill -9 in real time to its next permit", len(results), _worst(agains), "≤ 10 s", quick),
    ]


def _two_hubs_jobs(_quick):
    return [(two_hubs.own_accounts, (4,)), (two_hubs.one_account, (5,))]


def _two_hubs_rows(results, _quick):
    own, shared = results
    seen = f"{own['offs_together']} offs, {own['frames_missing']} readings missing; "
    seen += f"its own stop: {own['offs_by_its_stop']} off"
    # A stop of the other hub is obeyed once a minute, and told: one fall of the pin, and it comes back.
    met = (
        own["offs_together"] <= min(1, own["stops_together"])
        and own["told"]
        and own["frames_missing"] == 0
        and own["second_grants"] > 3
    )
    met = met and own["offs_by_its_stop"] <= 1 and own["back_on"]
    off = "never" if shared["off_s"] is None else f"{shared['off_s']:.2f} s"
    taken = shared["off_s"] is not None and shared["off_s"] <= silence.ALLOWED_S and shared["ons_after"] == 0
    taken = taken and shared["told"] and shared["first_sends_late"] == 0
    return [
        Row("two hubs on one kit, an account each", 1, seen, "first obeyed, alarm, no flapping, 0 missing", met),
        Row(
            "two hubs with one account",
            1,
            f"first withdraws, off after {off}, {shared['ons_after']} times on again",
            "no flapping, alarm",
            taken,
        ),
    ]


def _switch_jobs(quick):
    kinds = (second_switch.HUNG, second_switch.CAPPED, second_switch.SILENT)
    return [(second_switch.run, (kind, 20 + n)) for n in range(1 if quick else _some(10)) for kind in kinds]


def _hazard_jobs(quick):
    return [
        (hazards.run, (kind, [seed]))
        for seed in range(1, (1 if quick else _some(HAZARD_BATCHES)) + 1)
        for kind in hazards.KINDS
        if not (kind == hazards.ALONE and seed > (0 if quick else _some(ALONE_BATCHES)))
    ]


MARGIN_KELVIN = 5.0  # that the true air may pass the kit's cut-off by, whatever the chamber probe says
GROUPS = {
    "chamber probe open or shorted": ("chamber-open", "chamber-short"),
    "chamber probe stuck": ("chamber-stuck",),
    "chamber probe out in the yard": (rehearsed.CHAMBER_OUT,),
    "chamber probe reads ever colder (10 K an hour, half an hour)": ("chamber-drift",),
    "reference off by 5 %": (rehearsed.REFERENCE,),
    "core probe open, shorted, stuck, fallen": ("core-open", "core-short", "core-stuck", "core-fallen"),
    "chamber and core probe swapped at the start": (rehearsed.SWAPPED,),
    "element dead": ("element-dead",),
    "relay welded": ("relay-welded",),
}


def _sensor_jobs(quick):
    each = 2 if quick else _some(SENSOR_BATCHES)
    chunk = 2 if quick else 6
    return [
        (rehearsed.run, (fault, range(first, min(first + chunk, each + 1))))
        for first in range(1, each + 1, chunk)
        for fault in rehearsed.ASKED
    ]


def _sensor_rows(results, _quick):
    cases, rows = [one for result in results for one in result], []
    for what, faults in GROUPS.items():
        mine = [one for one in cases if one["fault"] in faults]
        asked = [one for one in mine if rehearsed.ASKED[one["fault"]][0]]
        late = [one for one in asked if one["alarm_s"] is None or one["alarm_s"] > rehearsed.ASKED[one["fault"]][1]]
        peak = max(one["peak_over_cap_kelvin"] for one in mine)
        told = [one["alarm_s"] for one in asked if one["alarm_s"] is not None]
        seen = f"{len(late)} alarms missed or late, {max(told):.0f} s at most; " if told else "no alarm is asked for; "
        seen += f"air at most {peak:+.1f} K over the cut-off"
        welded = "relay-welded" in faults
        limit = (
            "alarm; the heat itself only the hard-wired cut-out ends" if welded else f"alarm, ≤ {MARGIN_KELVIN:+.0f} K"
        )
        rows.append(Row(what, len(mine), seen, limit, not late and (welded or peak <= MARGIN_KELVIN)))
    early = sum(len(one["early"]) for one in cases)
    hours = sum(one["hours"] for one in cases)
    rows.append(
        Row(
            "… alarms before the fault",
            len(cases),
            f"{early} in {hours:.0f} h",
            "≤ 1 per 1000 h",
            early * 1000 <= hours,
        )
    )
    return rows


def _ordinary_jobs(quick):
    kinds = list(rehearsed.ORDINARY)
    if quick:
        return [(rehearsed.ordinary, (kind, 1)) for kind in (kinds[0], kinds[3], kinds[4], kinds[6])]
    return [(rehearsed.ordinary, (kind, seed)) for seed in range(1, _some(ORDINARY_COOKS) + 1) for kind in kinds]


def _ordinary_rows(results, _quick):
    hours, alarms = sum(one[0] for one in results), [name for one in results for _, name in one[1]]
    left = sum(one[2] for one in results)
    seen = f"{len(alarms)} alarms in {hours:.0f} h {sorted(set(alarms)) if alarms else ''}, {left} chubs not pulled"
    # Fewer than 1000 h can show 0 only; n is said.
    met = len(alarms) * 1000 <= hours
    return [
        Row(
            "ordinary cooks: cold and wind, full load, flares, turning, stall, one alone",
            len(results),
            seen,
            "≤ 1 per 1000 h",
            met,
        )
    ]


def _power_rows(results, _quick):
    rows = []
    for one in results:
        long = one["minutes"] > 30
        heats, resumed = one["heats_after_s"], one["resumed_after_s"]
        met = one["asked"] == [long] and heats is not None and not one["other_alarms"] and one["pulses"] == 0
        met = met and (resumed is not None and resumed <= heats <= resumed + 60 if long else heats <= 60)
        seen = f"{'asked' if one['asked'] == [True] else 'said'}, "
        seen += "never heated" if heats is None else f"heated after {heats:.0f} s"
        seen += f" ({resumed:.0f} s: the person resumed)" if resumed is not None else ""
        asked = "asks first" if long else "resumes and says so"
        rows.append(
            Row(
                f"power cut of {one['minutes']} min at core 120 °F",
                1,
                seen,
                f"{asked}, no start pulse, no other alarm",
                met,
            )
        )
    return rows


def _acl_rows(results, _quick):
    one = results[0]
    seen = f"{len(one['wrong'])} wrong and {len(one['missing'])} missing of {one['allowed']} that may arrive, "
    seen += f"{len(one['cleared'])} cleared by others, {one['let_in']} strangers let in"
    met = one["allowed"] > 100 and not (one["wrong"] or one["missing"] or one["cleared"] or one["let_in"])
    what = "every account × topic × read/write × retain, last wills, strangers, at the receiver"
    return [Row(what, one["attempts"], seen, "0 wrong deliveries", met)]


def _soak_jobs(quick):
    return [
        (soak.kit, (12, 6) if quick else (_some(336), _some(336) / 2)),
        (soak.hub, (1 if quick else _some(HUB_SOAK_H),)),
    ]


def _soak_rows(results, _quick):
    kit, hub = results
    if "broke" in kit:
        return [Row("soak of the kit", 0, kit["broke"], "flat", False)]
    lost = kit["free_after_a_quarter"] - kit["free_at_the_end"]
    flat = lost <= KIT_HEAP_BYTES and kit["violations"] == 0 and kit["wraps"] == 1 and kit["on"] > 3600
    seen = (
        f"{lost} B less heap than after a quarter ({kit['least_free']} B free at least), {kit['violations']} violations"
    )
    grown = hub["kib_at_the_end"] - hub["kib_after_a_quarter"]
    told = f"{grown} KiB more than after a quarter of {hub['rows']} readings, {hub['grants']} permits, "
    told += f"{hub['faults']} faults"
    steady = (
        hub["grants"] >= 0.9 * hub["rows"] / 5.0
        and grown <= HUB_KIB
        and hub["faults"] == 0
        and hub["rows"] == hub["hours"] * 3600
    )
    return [
        Row(
            f"soak of the kit across the wrap of its ticks, {kit['hours']} h",
            1,
            seen,
            f"≤ {KIT_HEAP_BYTES} B, 0 violations",
            flat,
        ),
        Row(f"soak of the hub, {hub['hours']} h", 1, told, f"≤ {HUB_KIB} KiB", steady),
    ]


SHARE = 1.0  # of the long form's counts, set by `run`
SENSOR_BATCHES = 77  # of each of 13 faults: 1001 batches
ORDINARY_COOKS = 40  # of each of 8 kinds: about 1000 h
HUB_SOAK_H = 336
KIT_HEAP_BYTES, HUB_KIB = 2048, 8192

HAZARD_BATCHES, ALONE_BATCHES = 20, 2
AGAIN = 5  # stand-by, disk and clock, each with another seed


def _each(run, quick):
    return [(run, (seed,)) for seed in range(4, 4 + (1 if quick else _some(AGAIN)))]


REAL_TIME = ("silence", "standby", "second-switch", "kills", "disk", "times", "two-hubs", "acl")
SECTIONS = {
    "silence": (_silence_jobs, _silence_rows),
    "standby": (lambda quick: _each(standby.run, quick), standby_rows),
    "second-switch": (_switch_jobs, switch_rows),
    "kills": (_kill_jobs, _kill_rows),
    "disk": (lambda quick: _each(disk.run, quick), _disk_rows),
    "times": (lambda quick: _each(times.run, quick), _times_rows),
    "outage": (lambda quick: [(outage.run, (n,)) for n in range(1, (1 if quick else _some(20)) + 1)], outage_rows),
    "two-hubs": (_two_hubs_jobs, _two_hubs_rows),
    "acl": (lambda quick: [(acl.run, ())], _acl_rows),
    "power": (lambda quick: [(power.run, (minutes, 3)) for minutes in (5, 30, 60, 180)], _power_rows),
    "sensors": (_sensor_jobs, _sensor_rows),
    "hazards": (_hazard_jobs, hazard_rows),
    "ordinary": (_ordinary_jobs, _ordinary_rows),
    "soak": (_soak_jobs, _soak_rows),
}


def as_markdown(rows):
    """The table of all rows."""
    lines = ["| fault | n | seen | asked | |", "|---|---|---|---|---|"]
    lines += [
        f"| {row.what} | {row.count} | {row.seen} | {row.asked} | {'met' if row.met else '**NOT MET**'} |"
        for row in rows
    ]
    return "\n".join(lines)
