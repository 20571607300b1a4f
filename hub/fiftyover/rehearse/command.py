"""`fiftyover rehearse`: one whole cook on a simulated smoker, many times real time."""

import argparse
import json
import sys

from fiftyover.rehearse import faults, outcome
from fiftyover.rehearse.options import add_arguments, scenario_from
from fiftyover.rehearse.rehearsal import Rehearsal
from fiftyover.rehearse.scenario import build_plant

__all__ = ["add_arguments", "run"]


def run(args: argparse.Namespace) -> int:
    """Rehearse as asked and print the outcome; 0 whether or not all was pulled, HubError for bad input."""
    if "list" in args.fault:
        sys.stdout.write(faults.listing() + "\n")
        return 0
    scenario = scenario_from(args)
    made = Rehearsal(scenario, build_plant(scenario))
    found = outcome.as_dict(scenario, made.run(), made.hub.plan.margin_kelvin)
    sys.stdout.write((json.dumps(found) if args.json else outcome.as_text(scenario, found)) + "\n")
    return 0
