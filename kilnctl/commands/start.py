"""`kilnctl start OVEN SCHEDULE`: start a schedule on an idle service (`kilnctl run OVEN --idle`), now or so that it is
ready at a time of day."""

import argparse
import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import KilnctlError
from ..output import about
from ..panel.ready_at import CARE, missing, next_time
from ..record import care
from ..record.model_store import ModelStore
from ..safety import changed_limits
from ..service.operating_system import places
from ..service.socket_server import ask, ask_to_start
from ..settings.oven import Oven
from ..settings.schedule import Schedule, load_schedule
from . import _asking, _options

if TYPE_CHECKING:
    from ..panel.preview import RunPreview


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("schedule", help="schedule file (YAML)")
    parser.add_argument(
        "--model",
        metavar="FILE",
        help="the trained model to control with; it learns nothing (default: what this oven's runs have taught)",
    )
    _options.learning(parser)
    parser.add_argument("--confirm", action="store_true", help="start although the limits are unlike the last run's")
    parser.add_argument(
        "--ready-at",
        metavar="HH:MM",
        help="let it wait, and begin so that it ends at that time of day, as the model expects (at most a day away)",
    )
    parser.add_argument(
        "--allowed-by",
        metavar="NAME",
        default="",
        help="with --ready-at: who has looked into the oven and allows that it begins with nobody there",
    )


def run(args: argparse.Namespace) -> int:
    schedule = load_schedule(args.schedule)
    request = {
        "ask": "start",
        "schedule": str(Path(args.schedule).resolve()),
        "by": args.allowed_by or _asking.me(),
        "confirm": args.confirm,
        "learning": not args.no_learning,
    }
    oven = _asking.the_oven(args)
    if oven is not None:
        request["oven_sha256"] = oven.sha256
    if args.model:
        request["model"] = str(Path(args.model).resolve())
    u = _asking.units_of(args)
    if args.ready_at is not None:
        request |= _later(args, schedule)
    elif args.allowed_by:
        raise KilnctlError("--allowed-by goes with --ready-at")
    answer = ask_to_start(_asking.socket_of(args), request)
    if answer.get("confirm"):
        raise KilnctlError(u.words(changed_limits.to_confirm(answer["confirm"])))
    for shortfall in answer.get("shortfalls", ()):
        print(f"note: {u.words(shortfall)}")
    return _asking.told(answer)


def _later(args: argparse.Namespace, schedule: Schedule) -> dict:
    """When it shall be ready, and how long it takes; what an unattended start needs is asked for first."""
    from ..panel.preview import preview_of  # noqa: PLC0415 - slow to load, and a start at once needs no forecast

    oven = _asking.the_oven(args)
    if oven is None:
        raise KilnctlError(
            "--ready-at needs the oven's file, not its name: the time that the run takes follows from it"
        )
    try:
        ready_s = next_time(args.ready_at, datetime.datetime.now().astimezone())
    except KilnctlError as error:
        raise KilnctlError(f"--ready-at: {error}") from None
    _unattended(args, oven, schedule)
    status = ask(_asking.socket_of(args), {"ask": "status"})
    if status.get("running"):
        raise KilnctlError("a run is going on")
    plan = preview_of(oven, schedule, status.get("chamber_c"), args.model or _learnt(oven, status))
    _expected(plan, schedule)
    return {"ready_s": ready_s, "takes_s": plan.duration_s, "sha256": schedule.sha256}


def _learnt(oven: Oven, status: dict) -> str | None:
    """The file of the model that the service would take by itself; None for the description's."""
    folder = status.get("models")
    return (ModelStore(Path(folder)).in_use(oven)[0] or None) if folder else None


def _unattended(args: argparse.Namespace, oven: Oven, schedule: Schedule) -> None:
    """Raises KilnctlError, naming all that is missing; prints what to bear in mind."""
    home, _ = places(oven.name, args.home)
    lacks = missing(schedule, care.read_log(home)[0], datetime.date.today(), args.oven)
    if not args.allowed_by.strip():
        lacks.append("somebody has to look into the oven, shut the door and allow it: --allowed-by NAME")
    if lacks:
        raise KilnctlError("a start with nobody there needs more:\n  " + "\n  ".join(lacks))
    if not oven.door.switch:
        print("note: no switch tells whether the door is shut; nobody sees it if it is not", file=sys.stderr)
    print(f"note: {CARE}", file=sys.stderr)


def _expected(plan: "RunPreview", schedule: Schedule) -> None:
    if plan.outcome != "finished":
        raise KilnctlError(
            f"{schedule.name} is not expected to end well ({plan.outcome}); it does not start with nobody there. "
            + " ".join(plan.words[-1:])
        )
    print(f"by the model it takes {about(plan.duration_s)} from here, and about {plan.energy_kwh:.1f} kWh")
