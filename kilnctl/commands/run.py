"""`kilnctl run OVEN SCHEDULE`: a real run, in real time, on any rig."""

import argparse
import dataclasses
import sys

from ..body import load_oven
from ..errors import KilnctlError
from ..run.prepare import load_of
from ..service.operating_system import places
from ..service.run_models import RunModels
from ..service.session import prepare
from ..service.start_policy import StartPolicy, StartWishes
from ..settings.schedule import load_schedule
from ..terms import ExitStatus, Outcome
from . import _options
from ._options import chosen
from ._serving import Serving, serve


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("schedule", nargs="?", help="schedule file (YAML); leave it out with --idle")
    parser.add_argument(
        "--idle", action="store_true", help="wait for schedules (`kilnctl start`), and after each for the next"
    )
    parser.add_argument(
        "--model",
        metavar="FILE",
        help="the trained model to control with, from `kilnctl fit --save`; it learns nothing (default: what this "
        "oven's runs have taught)",
    )
    _options.learning(parser)
    parser.add_argument(
        "--rig", choices=("virtual", "board", "pins"), help="instead of the rig that the oven's file names"
    )
    parser.add_argument(
        "--speed",
        type=_options.number,
        default=1.0,
        metavar="N",
        help="of a virtual rig: so many times real time (default: 1)",
    )
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="seed of a virtual rig's noise (default: 0)")
    parser.add_argument("--faults", metavar="FILE", help="faults to inject into a virtual rig (YAML)")
    _options.out(parser, "records are")
    parser.add_argument(
        "--keep",
        type=_options.number,
        metavar="MB",
        help="remove the oldest other records below --out, whole ones, when all together are larger than this",
    )
    parser.add_argument(
        "--home",
        metavar="DIR",
        help="folder of the service's state and socket (default: the user's, or the service manager's)",
    )
    _options.start(parser)
    parser.add_argument(
        "--anew", action="store_true", help="forget a run that was cut off, and start from the beginning"
    )
    parser.add_argument("--quiet", action="store_true", help="say only what matters")


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven)
    chosen(args, oven)
    if bool(args.schedule) == args.idle:
        raise KilnctlError("give a schedule file, or --idle to wait for one")
    schedule = load_schedule(args.schedule) if args.schedule else None
    if args.rig:
        oven = dataclasses.replace(oven, rig=dataclasses.replace(oven.rig, kind=args.rig))
    order = None
    if schedule is not None:
        home, _ = places(oven.name, args.home)
        model, note = RunModels(home, oven.rig.kind, given=args.model).chosen(oven)
        if note:
            print(f"note: {note}", file=sys.stderr)
        order = prepare(oven, schedule, model)
    wishes = StartWishes(args.acknowledge or "", args.reading_is_right, args.anew, args.confirm)
    serving = Serving(
        oven,
        load_of(oven, schedule),
        home=args.home,
        out=args.out,
        shown=args.shown,
        quiet=args.quiet,
        idle=args.idle,
        speed=args.speed,
        seed=args.seed,
        faults=args.faults,
        attended=args.attended,
        keep_mb=args.keep,
        model=args.model,
        learning=not args.no_learning,
    )
    outcome, _, good = serve(serving, StartPolicy(wishes, order))
    if args.idle:
        return ExitStatus.HEAT_CUT if outcome == Outcome.LOST else ExitStatus.DONE
    return ExitStatus.of_run(outcome, good)
