"""`kilnctl rehearse OVEN SCHEDULE`: the whole chain on a virtual oven, in simulated time."""

import argparse
from collections.abc import Sequence

from ..body.bursts import pattern_for
from ..errors import KilnctlError
from ..firing import flicker
from ..output import Units, clock, typed
from ..plants.injection import PlantFault, load_faults
from ..plants.outside import load_plant
from ..plants.plant import truth_of
from ..plants.virtual_oven import VirtualOven
from ..record.events import last_of_bursts
from ..record.folder import new_folder
from ..report.summary_text import drying_words, summaries_compared, summary_text
from ..report.verdict import verdict
from ..run.prepare import PreparedRun, prepare
from ..run.rehearsal import simulate, usual_plant
from ..run.result import Run
from ..run.summary import Summary, summarise
from ..safety import schedule_trip_words
from ..settings.oven import Oven
from ..sizing import size
from ..terms import ExitStatus, Outcome
from . import _options
from ._files import oven_and_schedule
from ._in_a_row import rehearse_in_a_row
from ._options import chosen
from ._progress import SimulationProgress
from ._recorded import recorded


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("schedule", help="schedule file (YAML)")
    _options.out(parser)
    parser.add_argument(
        "--compare",
        action="store_true",
        help="also run an on/off thermostat of ±3 °C on the same oven and seed",
    )
    parser.add_argument(
        "--controller",
        choices=("model", "thermostat", "pi", "pid"),
        default="model",
        help="what controls (default: model)",
    )
    parser.add_argument(
        "--model",
        metavar="FILE",
        help="the trained model to control with, from `kilnctl fit --save` (default: from the description)",
    )
    parser.add_argument(
        "--runs",
        type=int,
        default=1,
        metavar="N",
        help="so many in a row; after each its model learns from the record, as after a real run (default: 1)",
    )
    _options.virtual_oven(parser)
    parser.add_argument("--quiet", action="store_true", help="no progress while it runs")


def run(args: argparse.Namespace) -> int:
    oven, schedule = oven_and_schedule(args.oven, args.schedule)
    u = chosen(args, oven, schedule)
    _options.check_seed(args.seed)
    if args.compare and args.plant:
        raise KilnctlError("--compare needs a plant that can be made twice alike; leave it out with --plant")
    own = load_plant(args.plant, oven) if args.plant else None
    faults = load_faults(args.faults) if args.faults else ()
    print(f"{oven.name}: {schedule.name}" + (f" ({schedule.about})" if schedule.about else ""))
    # Refuse before anything is written: layers above their limit, steps the oven must not or cannot do, unproved
    # ventilation.
    size(oven)
    if args.runs != 1:
        return rehearse_in_a_row(args, oven, schedule, u)
    plant = own if own is not None else usual_plant(oven, schedule, args.seed, faults)
    ready = prepare(oven, schedule, args.model, truth_of(plant).chamber_c, controller=args.controller)
    _announce(ready, u)
    folder = new_folder(args.out, oven.name, schedule.name)
    result, summary = recorded(ready, plant, args.seed, folder, SimulationProgress("rehearsing", args.quiet), u)
    told = verdict(result, summary, u)
    print(f"\n{u.words(told.words)}\n")
    print(summary_text(summary, u))
    print(_flicker(oven, result))
    if isinstance(plant, VirtualOven) and plant.drying is not None:
        print(u.words(drying_words(plant.drying)))
    for trip in result.trips:
        print(u.words(f"\nTRIP at {clock(trip.time_s)}: " + "\n  ".join(trip.lines)))
    if args.compare and result.outcome != Outcome.INTERRUPTED:
        _compare(args, ready, summary, faults, u)
    print(f"\n{result.outcome}; the record lies in {folder}/ (open {folder}/run.html)")
    bursts = last_of_bursts(result.events)
    if bursts is not None:
        print(f"note: {u.words(bursts)}")
    print(f"next: {_next(args, told.good, result.outcome, bursts is not None)}")
    return ExitStatus.of_run(result.outcome, told.good)


def _next(args: argparse.Namespace, good: bool, outcome: str, bursts: bool) -> str:
    both = typed(args.oven, args.schedule)
    if good:
        return f"kilnctl study {both} (how sure that is)"
    if outcome != Outcome.INTERRUPTED and args.faults:
        return f"kilnctl rehearse {both} (the same without the faults of {args.faults})"
    if outcome == Outcome.FINISHED and bursts:
        return f"allow shorter bursts in {args.oven} (switching), then kilnctl check {both}"
    if outcome == Outcome.FINISHED:
        return f"change the schedule as the first line says, then kilnctl check {both}"
    if outcome == Outcome.TRIPPED:
        return f"look at the page, mend what the trip names in oven or schedule, then kilnctl check {typed(args.oven)}"
    return "the same command begins again"


def _announce(ready: PreparedRun, u: Units) -> None:
    trip_c = ready.policy.schedule_trip_c
    print(f"model: {u.words(ready.model_words)}")
    print(u.knowing(trip_c).words(schedule_trip_words(ready.schedule, trip_c)))
    for shortfall in ready.programme.shortfalls:
        print(f"note: {u.words(shortfall.note)}")


def _compare(
    args: argparse.Namespace, ready: PreparedRun, summary: Summary, faults: Sequence[PlantFault], u: Units
) -> None:
    """A thermostat on the same oven, load and seed, for comparison."""
    oven, schedule = ready.oven, ready.schedule
    plant = usual_plant(oven, schedule, args.seed, faults)
    # From the same model as ours: one without its doubt would refuse what ours has just tried.
    thermostat = prepare(oven, schedule, args.model, truth_of(plant).chamber_c, controller="thermostat")
    progress = SimulationProgress("rehearsing the thermostat", args.quiet)
    other = simulate(thermostat, plant, args.seed, progress=progress)
    progress.end()
    print("\nThe same oven, load and seed with an on/off thermostat:\n")
    print(summaries_compared(summary, summarise(other), u.words("thermostat ±3 °C"), u))


def _flicker(oven: Oven, result: Run) -> str:
    """The flicker of lamps on the same line, from this run's commanded firing."""
    supply, tick_s = flicker.supply_of(oven), oven.control.tick_s
    if supply is None:
        return f"flicker              {flicker.NOT_JUDGED}"
    if len(result.duty) * tick_s < 60.0:
        return "flicker              –"
    power_w = oven.elements.power_w
    assert power_w is not None, "known once the file is read"
    pst = flicker.of_run(pattern_for(oven), result.duty, tick_s, power_w, supply)
    worst, plt = max(pst), flicker.worst_plt(pst)
    return (
        f"flicker              Pst {worst:.2f} in the worst ten minutes, Plt {plt:.2f} in the worst two hours "
        f"(limits {flicker.PST_LIMIT:g} and {flicker.PLT_LIMIT:g}): {flicker.in_words(worst)}"
    )
