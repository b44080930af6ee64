"""`kilnctl learn OVEN`: the commissioning run, under every interlock, and the record that `kilnctl fit`
reads."""

import argparse
from pathlib import Path

from ..body import load_oven
from ..commissioning import learning_run as learning
from ..commissioning.experiment import Experiment
from ..errors import KilnctlError
from ..output import Units, about, clock, typed
from ..plants.injection import load_faults
from ..plants.outside import load_plant
from ..plants.plant import truth_of
from ..record.folder import Begun, SampleWriter, begin, new_folder
from ..report.finishing import finish
from ..run.prepare import PreparedRun
from ..run.summary import summarise
from ..run.virtual_plant import virtual_oven
from ..service.session import check_apart
from ..service.start_policy import StartPolicy, StartWishes
from ..settings.oven import Oven
from ..terms import ExitStatus, Outcome
from ..units import UnitError, parse
from . import _options
from ._options import chosen
from ._progress import SimulationProgress
from ._serving import Serving, serve

_WHY = """Why it runs like this: full power from cold tells heat capacities from the first slopes; the coast
after it, the elements' stored heat and the sensor's lag; levels of power above and below what holds, the
losses and the depth of the lining; a second temperature, what grows with temperature; the long fall without
heat, the outer lining and the leaks. Nothing is heated above the ceiling, and the fall needs nobody to watch
it: the heat is off."""


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument(
        "--ceiling",
        metavar="TEMP",
        help="never above this, such as '230 °C' or '450 °F' (default: the oven's highest)",
    )
    parser.add_argument("--to", metavar="TEMP", help="upper working temperature (default: a little below the ceiling)")
    _options.out(parser)
    parser.add_argument("--hot", action="store_true", help="start although the oven is warm")
    parser.add_argument(
        "--loaded",
        action="store_true",
        help="the usual load is in the oven (default: it is empty, as it should be)",
    )
    parser.add_argument(
        "--continue",
        dest="interrupted",
        metavar="FOLDER",
        help="go on after a run that was interrupted or killed: with its temperatures and load, from its record",
    )
    parser.add_argument("--plan", action="store_true", help="only say what would be done, how long it takes and why")
    _options.virtual_oven(parser)
    parser.add_argument(
        "--speed",
        type=_options.number,
        metavar="N",
        help="through the service, in N times real time (on a virtual rig; a real one has 1)",
    )
    parser.add_argument("--home", metavar="DIR", help="folder of the service's state and socket (default: the user's)")
    _options.learning(parser)
    _options.start(parser)
    parser.add_argument("--quiet", action="store_true", help="no progress while it runs")


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven)
    u = chosen(args, oven)
    _options.check_seed(args.seed)
    in_service = args.speed is not None or (oven.rig.kind != "virtual" and not args.plant)
    if in_service and args.plant:
        raise KilnctlError("--speed is for this oven's own rig, not for one of --plant")
    ready = _prepared(args, oven)
    plan, first = ready.programme.experiment, ready.programme.begin.stage
    print(
        f"{oven.name}: learning run around {' and '.join(u.temperature(t) for t in plan.temperatures_c)}, "
        f"never above {u.temperature(plan.ceiling_c)}, about {about(plan.left_s[first])}, "
        f"of it {about(plan.heated_s(first))} until the last heat, then the long fall"
    )
    if args.plan:
        _show(plan, u)
        print(f"\nnext: kilnctl learn {typed(args.oven)}")
        return 0
    hot = args.hot or bool(args.interrupted)
    return _in_service(args, ready, hot) if in_service else _simulated(args, ready, hot, u)


def _prepared(args: argparse.Namespace, oven: Oven) -> PreparedRun[learning.LearningProgramme]:
    ceiling_c, top_c = _temperature(args.ceiling, "--ceiling"), _temperature(args.to, "--to")
    if not args.interrupted:
        load = oven.usual_load if args.loaded else None
        return learning.prepare(oven, ceiling_c=ceiling_c, top_c=top_c, load=load)
    was = learning.interrupted(oven, args.interrupted)
    _refuse_other(args, was, ceiling_c, top_c)
    return learning.prepare(oven, ceiling_c=was.ceiling_c, top_c=was.top_c, load=was.load, begin_stage=was.stage)


def _simulated(args: argparse.Namespace, ready: PreparedRun[learning.LearningProgramme], hot: bool, u: Units) -> int:
    oven, faults = ready.oven, load_faults(args.faults) if args.faults else ()
    plant = load_plant(args.plant, oven) if args.plant else virtual_oven(oven, ready.load, args.seed, faults)
    start_c = truth_of(plant).chamber_c
    if start_c is not None:
        learning.refuse_hot(oven, start_c, hot)  # before anything is written
    folder = new_folder(args.out, oven.name, ready.schedule.name)
    begun = Begun(
        oven, ready.schedule, ready.load, ready.model, args.seed, ready.controller_name, model_words=ready.model_words
    )
    begin(folder, begun)
    writer, progress = SampleWriter(folder), SimulationProgress("learning", args.quiet)
    try:
        result = learning.carry_out(
            ready,
            plant,
            args.seed,
            hot=hot,
            progress=lambda t, left, phase: progress(t, left, f"{phase}, about {about(left)} left"),
            sink=writer,
        )
    finally:
        writer.close()
        progress.end()
    for trip in result.trips:
        print(u.words(f"\nTRIP at {clock(trip.time_s)}: " + "\n  ".join(trip.lines)))
    print(
        f"{result.outcome}: {about(float(result.time_s[-1]) if len(result.time_s) else 0.0)}, "
        f"{result.energy_j / 3.6e6:.2f} kWh; the record lies in {folder}/",
        flush=True,
    )
    finish(folder, result, summarise(result), u)
    _next(args, result.outcome, folder)
    return ExitStatus.of_run(result.outcome)


def _next(args: argparse.Namespace, outcome: str, folder: Path | None) -> None:
    if outcome == Outcome.FINISHED:
        earlier = f" {typed(args.interrupted)}" if args.interrupted else ""
        print(f"next: kilnctl fit {typed(args.oven)}{earlier} {typed(folder)}")
    else:
        print(f"to go on: kilnctl learn {typed(args.oven)} --continue {typed(folder)}")


def _in_service(args: argparse.Namespace, ready: PreparedRun, hot: bool) -> int:
    """The same run in real time, by the service that runs schedules: start test, journal, socket, watchdog."""
    check_apart(ready.oven)
    wishes = StartWishes(args.acknowledge or "", args.reading_is_right, anew=True, confirm=args.confirm)
    policy = StartPolicy(wishes, ready, lambda chamber_c: learning.refuse_hot(ready.oven, chamber_c, hot))
    serving = Serving(
        ready.oven,
        ready.load,
        home=args.home,
        out=args.out,
        shown=args.shown,
        quiet=args.quiet,
        speed=1.0 if args.speed is None else args.speed,
        seed=args.seed,
        faults=args.faults,
        attended=args.attended,
        learning=not args.no_learning,
    )
    outcome, folder, _ = serve(serving, policy)
    _next(args, outcome, folder)
    return ExitStatus.of_run(outcome)


def _temperature(text: str | None, option: str) -> float | None:
    if text is None:
        return None
    try:
        return parse(text, "temperature")
    except UnitError as error:
        raise KilnctlError(f"{option}: {error}") from None


def _refuse_other(
    args: argparse.Namespace, was: learning.Interrupted, ceiling_c: float | None, top_c: float | None
) -> None:
    """The rest of an interrupted run, as its record says; no other option may contradict it. Raises KilnctlError."""
    for option, asked, before in (("--ceiling", ceiling_c, was.ceiling_c), ("--to", top_c, was.top_c)):
        if asked is not None and abs(asked - before) > 0.5:
            raise KilnctlError(
                f"{option}: the interrupted run had {before:.0f} °C; leave it out to go on, or begin a new run without "
                "--continue"
            )
    if args.loaded and was.load is None:
        raise KilnctlError(
            "--loaded: the interrupted run was of the empty oven; take the load out, or begin a new run without "
            "--continue"
        )


def _show(plan: Experiment, u: Units) -> None:
    for stage, left, after in zip(plan.stages, plan.left_s, (*plan.left_s[1:], 0.0), strict=True):
        print(f"  {about(left - after):>10s}  {u.words(stage.name)}")
    print(f"\n{_WHY}")
