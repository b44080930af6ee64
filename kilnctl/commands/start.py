"""`kilnctl start OVEN SCHEDULE`: start a schedule on a service that waits (`kilnctl run OVEN --idle`)."""

import time
from pathlib import Path

from ..errors import KilnctlError
from . import _asking


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("schedule", help="schedule file (YAML)")
    parser.add_argument("--model", metavar="FILE", help="the trained model to control with")
    parser.add_argument("--confirm", action="store_true", help="start although the limits are unlike the last run's")


def run(args) -> int:
    from .. import load_schedule

    load_schedule(args.schedule)
    request = {"ask": "start", "schedule": str(Path(args.schedule).resolve()), "by": _asking.me(), "confirm": args.confirm}
    if args.model:
        request["model"] = str(Path(args.model).resolve())
    answer = _asking.asked(args, request)
    patience = time.monotonic() + 60.0
    while answer.get("pending") and time.monotonic() < patience:
        time.sleep(0.1)
        answer = _asking.asked(args, {"ask": "prepared"})
    if answer.get("confirm"):
        raise KilnctlError("these limits are unlike the last run's:\n  " + "\n  ".join(answer["confirm"]) + "\nif that is right, say --confirm")
    for shortfall in answer.get("shortfalls", ()):
        print(f"note: {shortfall}; the ramp will take the time it needs")
    return _asking.told(answer)
