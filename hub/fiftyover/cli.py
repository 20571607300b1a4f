"""The command line: one word a job. Each command lives in its own room and is loaded only when asked for."""

from __future__ import annotations

import argparse
import importlib
import sys
from typing import Protocol, cast

from . import __version__
from .errors import HubError


class Command(Protocol):
    """What a room's command module offers."""

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare the options."""

    def run(self, args: argparse.Namespace) -> int:
        """Do the job; the exit code."""


# word -> (module, one line of help)
COMMANDS = {
    "demo": ("fiftyover.app.demo", "a whole simulated cook: broker, kit firmware, hub and page on this machine"),
    "setup": ("fiftyover.broker.setup", "make accounts, broker configuration, certificates and the service unit"),
    "serve": ("fiftyover.app.serve", "run the hub"),
    "plan": ("fiftyover.app.plan", "the batch sheet of a recipe: weights, cure, casings, hooks, times, shopping"),
    "report": ("fiftyover.reports.report_command", "the record of a batch: page, table, data, label, export, delete"),
    "store": ("fiftyover.app.store_command", "copy old batches to a database of your own, see what still waits"),
    "dashboards": ("fiftyover.app.dashboards_command", "Grafana dashboards: build them anew, or push them to a server"),
    "kit": ("fiftyover.bench.command", "a kit over USB: find, flash, setup, check, calibrate, watch, update"),
    "rehearse": ("fiftyover.rehearse.command", "rehearse a cook against a simulated smoker, many times real time"),
}


def parser_for(words: list[str]) -> argparse.ArgumentParser:
    """Build the parser; only the asked command's module is imported, so that --help stays quick."""
    parser = argparse.ArgumentParser(
        prog="fiftyover",
        description="Hold a small electric smoker 50 °F above the meat, call each chub when done, keep the record.",
    )
    parser.add_argument("--version", action="version", version=f"fiftyover {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = next((word for word in words if word in COMMANDS), None)
    for word, (module, line) in COMMANDS.items():
        sub = commands.add_parser(word, help=line, description=line[0].upper() + line[1:] + ".")
        if word == asked:
            command = cast(Command, importlib.import_module(module))
            command.add_arguments(sub)
            sub.set_defaults(run=command.run)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; a fault a person can mend is one sentence and exit code 2."""
    words = sys.argv[1:] if argv is None else argv
    args = parser_for(words).parse_args(words)
    try:
        return int(args.run(args))
    except HubError as fault:
        print(f"fiftyover {args.command}: {fault}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    raise SystemExit(main())
