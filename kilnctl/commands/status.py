"""`kilnctl status OVEN`: what a running oven does now. Exit status 3 when it has tripped."""

import argparse
import json

from ..output import Units, about
from ..safety.messages import lines
from ..terms import ExitStatus
from . import _asking
from ._options import chosen


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("--json", action="store_true", help="everything, for programs")


def run(args: argparse.Namespace) -> int:
    said = _asking.asked(args, {"ask": "status"})
    u = (
        args.shown
        if args.shown.imperial or args.units or not said.get("folder")
        else chosen(args, _asking.oven_of(said["folder"]))
    )
    if args.json:
        print(json.dumps(said, indent=2, ensure_ascii=False))
    else:
        tell_status(said, u)
    return ExitStatus.HEAT_CUT if said.get("trips") or said.get("danger") else ExitStatus.DONE


def tell_status(said: dict, u: Units) -> None:
    temperature = (
        "no trustworthy reading" if said.get("chamber_c") is None else f"chamber {u.temperature(said['chamber_c'], 1)}"
    )
    print(f"{said['oven']}: {said['state']}, {temperature}")
    if said.get("danger"):
        print(f"  DANGER: {u.words(said['danger'])}")
    for trip in said.get("trips", ()):
        print(u.words("  TRIP: " + "\n    ".join(lines(trip["act"], trip["seen"], trip["check"]))))
    if said.get("heat_proof"):
        print(f"  {said['heat_proof']}.")
    if said.get("reason"):
        print(f"  {u.words(said['reason'])}")
    if said.get("running"):
        _tell_run(said, u)
    for warning in said.get("warnings", ()):
        print(f"  warning: {u.words(warning)}")
    if said.get("refusal") and not said.get("trips"):
        print(f"  no run can start: {u.words(said['refusal'])}")
    if said.get("notice"):
        print(f"  {u.words(said['notice'])}")


def _tell_run(said: dict, u: Units) -> None:
    print(
        f"  {said['schedule']}, step {said['step']}, {about(said['run_s'])} since the start, "
        f"{said['energy_j'] / 3.6e6:.2f} kWh"
    )
    if said.get("reference_c") is not None:
        reference = u.temperature(said["reference_c"], 1)
        print(f"  should be {reference}; {said['demand_w']:.0f} W of {said['full_w']:.0f} W")
    if said.get("part_estimate_c") is not None:
        either_way = u.difference(2 * (said["part_sd_k"] or 0), 0)
        print(f"  part about {u.temperature(said['part_estimate_c'])} (±{either_way})")
    print(f"  record: {said['folder']}")
