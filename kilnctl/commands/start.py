"""`kilnctl start OVEN SCHEDULE`: start a schedule on an idle service (`kilnctl run OVEN --idle`)."""

from pathlib import Path

from ..errors import KilnctlError
from ..service.socket_server import ask_to_start
from ..settings.schedule import load_schedule
from . import _asking


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("schedule", help="schedule file (YAML)")
    parser.add_argument("--model", metavar="FILE", help="the trained model to control with")
    parser.add_argument("--confirm", action="store_true", help="start although the limits are unlike the last run's")


def run(args) -> int:

    load_schedule(args.schedule)
    request = {
        "ask": "start",
        "schedule": str(Path(args.schedule).resolve()),
        "by": _asking.me(),
        "confirm": args.confirm,
    }
    if args.model:
        request["model"] = str(Path(args.model).resolve())
    u = _asking.units_of(args)
    answer = ask_to_start(_asking.socket_of(args), request)
    if answer.get("confirm"):
        raise KilnctlError(
            "these limits are unlike the last run's:\n  "
            + "\n  ".join(u.words(w) for w in answer["confirm"])
            + "\nif that is right, say --confirm"
        )
    for shortfall in answer.get("shortfalls", ()):
        print(f"note: {u.words(shortfall)}")
    return _asking.told(answer)
