"""`kilnctl status OVEN`: what a running oven does now. Status 1 when it has tripped."""

import json

from ..record.summary import clock
from . import _asking


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("--json", action="store_true", help="everything, for programs")


def run(args) -> int:
    said = _asking.asked(args, {"ask": "status"})
    if args.json:
        print(json.dumps(said, indent=2, ensure_ascii=False))
        return 1 if said.get("trips") else 0
    temperature = "no trustworthy reading" if said.get("chamber_c") is None else f"chamber {said['chamber_c']:.1f} °C"
    print(f"{said['oven']}: {said['state']}, {temperature}")
    if said.get("danger"):
        print(f"  DANGER: {said['danger']}")
    for trip in said.get("trips", ()):
        print(f"  TRIP: {trip['seen']}. {trip['done']} Check: {trip['check']}")
    if said.get("reason"):
        print(f"  {said['reason']}")
    if said.get("running"):
        print(f"  {said['schedule']}, step {said['step']}, {clock(said['run_s'])} since the start, {said['energy_j'] / 3.6e6:.2f} kWh")
        if said.get("reference_c") is not None:
            print(f"  should be {said['reference_c']:.1f} °C; {said['demand_w']:.0f} W of {said['full_w']:.0f} W")
        if said.get("part_estimate_c") is not None:
            print(f"  part about {said['part_estimate_c']:.0f} °C (±{2 * (said['part_sd_k'] or 0):.0f} K)")
        print(f"  record: {said['folder']}")
    for warning in said.get("warnings", ()):
        print(f"  warning: {warning}")
    if said.get("notice"):
        print(f"  {said['notice']}")
    return 1 if said.get("trips") else 0
