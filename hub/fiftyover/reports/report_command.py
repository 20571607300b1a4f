"""`fiftyover report`: the record of a batch as page, table or data; compare, label, export, import, delete."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from fiftyover import settings as hub_settings
from fiftyover.batch.opening import Opened, opened
from fiftyover.clock import Clock
from fiftyover.errors import HubError, PlanError, StoreError
from fiftyover.reports import chart, paper, parquet, record_view, rig_record
from fiftyover.reports import record as records
from fiftyover.reports.figures import UNITS
from fiftyover.store import Reader, carry, erase

ENDS_MS = 60_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("batch", nargs="?", metavar="BATCH", help="id of the batch, or its beginning (the newest)")
    add("--settings", type=Path, metavar="HUB.TOML", help="settings file (default: hub.toml, if there is one)")
    add("--store", type=Path, metavar="FILE", help="the record, instead of the settings'")
    add("--list", action="store_true", help="name the batches of the record")
    add("--rig", action="store_true", help="say which places of this smoker run hot, over all batches")
    add("--units", choices=UNITS, help="instead of the settings' own")
    add("--json", action="store_true", help="print one JSON object")
    add("--html", type=Path, metavar="FILE", help="write the record as one page")
    add("--csv", type=Path, metavar="FILE", help="write the curves as a table")
    add("--parquet", type=Path, metavar="FILE", help="the same as a Parquet file (extra `parquet`)")
    add("--label", type=Path, metavar="FILE", help="write a page of labels, one a chub")
    add("--compare", metavar="OTHER", help="put another batch beside it, from hanging")
    add("--export", type=Path, metavar="FILE", help="write the whole batch, to be put into another record")
    add("--import", type=Path, metavar="FILE", dest="take_in", help="put an exported batch into this record")
    add("--delete", action="store_true", help="delete the batch for good; asks for --yes")
    add("--yes", action="store_true", help="do it")


def run(args: argparse.Namespace) -> int:
    """Do what was asked; 0, or HubError in one sentence."""
    settings = _settings(args.settings)
    path = args.store or settings.store.path
    units = args.units or settings.hub.units
    clock = Clock()
    if args.take_in is not None:
        batch_id = carry.put_in(path, _json_file(args.take_in), clock.utc_ms())
        sys.stdout.write(f"Batch {batch_id} is in {path} now.\n")
        return 0
    if not path.exists():
        raise StoreError(f"There is no record {path}: name it with --store, or run the hub first.")
    reader = Reader(path, clock.utc_zero_ms, clock.boot_uuid())
    try:
        return _report(args, reader, path, units, clock)
    finally:
        reader.close()


def _report(args: argparse.Namespace, reader: Reader, path: Path, units: str, clock: Clock) -> int:
    if args.list:
        sys.stdout.write("".join(f"{line}\n" for line in _listing(reader)))
        return 0
    if args.rig:
        places, _ = rig_record.learned(reader)
        sys.stdout.write(paper.text("This smoker", [rig_record.block(places)], (), "") + "\n")
        return 0
    batch_id = _chosen(reader, args.batch)
    if args.delete:
        return _delete(reader, path, batch_id, args.yes, clock.utc_ms())
    found, frames = records.read(reader, batch_id)
    from_ms, to_ms = span_ms(found)
    record = records.record(found, frames, len(reader.gaps(found.kit, from_ms, to_ms)) if found.kit else 0)
    if args.export is not None:
        beside = [(kit, *span) for kit, span in _held(found)]
        data = carry.taken_out(reader, batch_id, found.kit, from_ms, to_ms, beside)
        _write(args.export, json.dumps(data, allow_nan=False, ensure_ascii=False))
    if args.csv is not None:
        _write(args.csv, _csv(record_view.rows_of_csv(frames, from_ms)))
    if args.parquet is not None:
        about = {"batch": record["batch"], "name": record["name"], "kit": record["kit"] or ""}
        parquet.write(args.parquet, record_view.rows_of_csv(frames, from_ms), about)
    if args.html is not None:
        _write(args.html, page(record, frames, units))
    if args.label is not None:
        words = record_view.label_words(record, _packed(found), units)
        _write(args.label, paper.page("label.html", **words))
    if args.compare is not None:
        other, other_frames = records.read(reader, _chosen(reader, args.compare))
        blocks = record_view.compared(record, records.record(other, other_frames), units)
        sys.stdout.write(paper.text("Compared", blocks, (), record["beside"]) + "\n")
    elif args.json:
        sys.stdout.write(json.dumps(record, allow_nan=False) + "\n")
    elif not any((args.export, args.csv, args.parquet, args.html, args.label)):
        notices = [record["ending"]] if record["ending"] else []
        sys.stdout.write(
            paper.text(_title(record), record_view.blocks(record, units), notices, record["beside"]) + "\n"
        )
    return 0


def page(record: Mapping[str, Any], frames: Any, units: str) -> str:
    """The record as one HTML page without links or scripts."""
    return paper.page(
        "record.html",
        title=_title(record),
        subtitle=f"Batch {record['batch']}, hung {record['hung_utc'] or 'not yet'} (UTC), kit {record['kit'] or '-'}",
        ending=record["ending"],
        chart=chart.svg(frames, record, units),
        blocks=record_view.blocks(record, units),
        closing=record["beside"],
    )


def span_ms(found: Opened) -> tuple[int, int]:
    """From the first to after the last thing of a batch that frames belong to (UTC ms)."""
    hung = [event.utc_ms for event in found.cook if event.kind == "hung"]
    last = [event.utc_ms for event in (*found.cook, *found.days)]
    if not hung:
        return (0, 0)
    return min(hung), max(last) + ENDS_MS


def _title(record: Mapping[str, Any]) -> str:
    return f"Batch record: {record['name']}"


def _listing(reader: Reader) -> list[str]:
    lines = []
    for line in reader.batches():
        try:
            name = opened(line.batch_id, reader.events(line.batch_id)).plan.name
        except HubError:
            name = "(not readable by this version)"
        lines.append(f"{line.batch_id}  {name}")
    return lines


def _chosen(reader: Reader, word: str | None) -> str:
    known = [line.batch_id for line in reader.batches()]
    if not known:
        raise PlanError(f"There is no batch in {reader.path} yet.")
    if word is None:
        return known[0]
    found = [one for one in known if one == word] or [one for one in known if one.startswith(word)]
    if len(found) != 1:
        told = f"several begin with {word!r}" if found else f"none begins with {word!r}"
        raise PlanError(f"Which batch? {told[0].upper()}{told[1:]}; known are {', '.join(known[:8])}.")
    return found[0]


def _readings(found: Opened) -> list[tuple[str, tuple[int, int]]]:
    """(kit, span in UTC ms) of a batch's readings: of the smoker, and of its cure hold's refrigerator."""
    return [*([(found.kit, span_ms(found))] if span_ms(found) != (0, 0) else []), *_held(found)]


def _held(found: Opened) -> list[tuple[str, tuple[int, int]]]:
    """(kit, span in UTC ms) of the readings of the cure hold's refrigerator, if a probe watched it."""
    told, day = [], found.day
    held = [event.utc_ms for event in found.days if event.kind == "into-refrigerator" and event.at_s == day.held_s]
    if held and day.water_probe is not None:
        ends = [event.utc_ms for event in found.cook if event.kind == "hung"] or [found.days[-1].utc_ms]
        told.append((day.water_kit or found.kit, (held[0], max(held[0], ends[0]) + 1)))
    return told


def _delete(reader: Reader, path: Path, batch_id: str, sure: bool, utc_ms: int) -> int:
    found = opened(batch_id, reader.events(batch_id))
    if not sure:
        raise PlanError(
            f"Batch {batch_id} ({found.plan.name}) would be gone for good: say --yes, or --export it first."
        )
    others = [line.batch_id for line in reader.batches() if line.batch_id != batch_id]
    kept = []
    for one in others:
        try:
            kept += _readings(opened(one, reader.events(one)))
        except HubError:
            continue
    reader.close()
    parts = [
        erase.Part(kit, span, [other for other_kit, other in kept if other_kit == kit])
        for kit, span in _readings(found) or [(found.kit, (0, 0))]
    ]
    copies = erase.erase(path, batch_id, parts, utc_ms)
    told = (
        f" Older copies of the record held it too and were removed: {', '.join(c.name for c in copies)}."
        if copies
        else ""
    )
    sys.stdout.write(f"Batch {batch_id} is gone.{told}\n")
    return 0


def _packed(found: Opened) -> str:
    packed = [event.utc_ms for event in found.days if event.kind == "packed"]
    return (date.fromtimestamp(packed[-1] / 1000.0) if packed else date.today()).strftime("%d %B %Y")


def _settings(path: Path | None) -> hub_settings.Settings:
    if path is not None:
        return hub_settings.load(path)
    usual = Path("hub.toml")
    return hub_settings.load(usual) if usual.exists() else hub_settings.Settings()


def _json_file(path: Path) -> Mapping[str, Any]:
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as fault:
        raise StoreError(f"{path} cannot be read as an exported batch ({fault}): export it again.") from None
    if not isinstance(data, dict):
        raise StoreError(f"{path} holds no exported batch: name the file that `report --export` wrote.")
    return data


def _csv(rows: list[list[Any]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise PlanError(f"{path} cannot be written ({fault.strerror}): name another file.") from None
