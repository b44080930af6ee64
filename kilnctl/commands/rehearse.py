"""`kilnctl rehearse OVEN SCHEDULE`: the whole chain on a virtual oven, in simulated time."""

import argparse
import sys
import time

from ..errors import KilnctlError
from ..output import chosen, clock
from ..run.summary import as_text, compared, summarise


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("schedule", help="schedule file (YAML)")
    parser.add_argument(
        "--out", metavar="DIR", default="runs", help="folder below which the record is written (default: runs)"
    )
    parser.add_argument(
        "--seed", type=int, default=0, metavar="N", help="seed of the virtual oven's noise (default: 0)"
    )
    parser.add_argument(
        "--compare", action="store_true", help="beside it, an on/off thermostat of ±3 °C on the same oven and seed"
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
        "--plant", metavar="FILE.py:NAME", help="your own simulation of the oven; RUNS THAT FILE'S CODE"
    )
    parser.add_argument("--faults", metavar="FILE", help="faults to inject into the virtual oven (YAML)")
    parser.add_argument("--quiet", action="store_true", help="no progress while it runs")


class Progress:
    """A line on a terminal that renews itself; a line every ten simulated hours or so elsewhere."""

    def __init__(self, what: str, quiet: bool):
        self.what, self.quiet, self.started, self.shown = what, quiet, time.monotonic(), 0.0

    def __call__(self, time_s: float, left_s: float, phase: str) -> None:
        now = time.monotonic()
        if self.quiet or now - self.shown < (0.2 if sys.stderr.isatty() else 5.0):
            return
        self.shown = now
        text = f"{self.what}: {clock(time_s)} of simulated time, {phase}, {time_s / max(1e-6, now - self.started):.0f} × real time"
        print(
            f"\r\x1b[K{text}" if sys.stderr.isatty() else text,
            end="" if sys.stderr.isatty() else "\n",
            file=sys.stderr,
            flush=True,
        )

    def end(self) -> None:
        if not self.quiet and sys.stderr.isatty() and self.shown:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def run(args: argparse.Namespace) -> int:
    from .. import load_oven, load_schedule, size
    from ..plants.injection import load_faults
    from ..plants.plant import load_plant, truth_of
    from ..record.folder import Begun, SampleWriter, begin, finish, new_folder
    from ..run.prepare import prepare
    from ..run.rehearsal import simulate, usual_plant
    from ..safety import schedule_trip_words

    problems = []
    loaded = []
    for load, path in ((load_oven, args.oven), (load_schedule, args.schedule)):
        try:
            loaded.append(load(path))
        except KilnctlError as error:
            problems.append(str(error))
    if problems:
        raise KilnctlError("\n".join(problems))
    oven, schedule = loaded
    u = chosen(args, oven, schedule)
    if args.seed < 0:
        raise KilnctlError("--seed: a whole number from 0")
    if args.compare and args.plant:
        raise KilnctlError("--compare needs a plant that can be made twice alike; leave it out with --plant")
    own = load_plant(args.plant, oven) if args.plant else None
    faults = load_faults(args.faults) if args.faults else ()
    print(f"{oven.name}: {schedule.name}" + (f" ({schedule.about})" if schedule.about else ""))
    # Refuse before anything is written: layers above their limit, steps the oven may not or cannot do, unproved ventilation.
    size(oven)
    plant = own if own is not None else usual_plant(oven, schedule, args.seed, faults)
    start_c = truth_of(plant).chamber_c
    ready = prepare(oven, schedule, args.model, start_c, controller=args.controller)
    print(f"model: {u.words(ready.model_words)}")
    trip_c = ready.policy.schedule_trip_c
    print(u.knowing(trip_c).words(schedule_trip_words(schedule, trip_c)))
    for shortfall in ready.programme.shortfalls:
        print(f"note: {u.words(shortfall.note)}")
    folder = new_folder(args.out, oven.name, schedule.name)
    begin(folder, Begun(oven, schedule, ready.load, ready.model, args.seed, ready.controller_name))
    writer = SampleWriter(folder)
    progress = Progress("rehearsing", args.quiet)
    try:
        result = simulate(ready, plant, args.seed, progress=progress, sink=writer)
    finally:
        writer.close()
        progress.end()
    summary = summarise(result)
    finish(folder, result, summary, u.scale)
    print()
    print(as_text(summary, u.scale))
    print(_flicker(oven, result))
    for trip in result.trips:
        print(u.words(f"\nTRIP at {clock(trip.time_s)}: {trip.seen}.\n  {trip.done}\n  Check: {trip.check}."))
    if args.compare and result.outcome != "interrupted":
        progress = Progress("rehearsing the thermostat", args.quiet)
        again = usual_plant(oven, schedule, args.seed, faults)
        thermostat = prepare(oven, schedule, ready.model, truth_of(again).chamber_c, controller="thermostat")
        other = simulate(thermostat, again, args.seed, progress=progress)
        progress.end()
        print("\nThe same oven, load and seed with an on/off thermostat:\n")
        print(compared(summary, summarise(other), u.words("thermostat ±3 °C"), u.scale))
    print(f"\n{result.outcome}; the record lies in {folder}/ (open {folder}/run.html)")
    return {"finished": 0, "tripped": 1, "interrupted": 130}[result.outcome]


def _flicker(oven, result) -> str:
    """What this run's switching does to lamps on the same line, by the firing that it asked for."""
    from ..firing import flicker, pattern_for

    supply, tick_s = flicker.supply_of(oven), oven.control.tick_s
    if len(result.duty) * tick_s < 60.0:
        return "flicker              –"
    pst = flicker.of_run(pattern_for(oven), result.duty, tick_s, oven.elements.power_w, supply)
    worst = max(pst)
    return (
        f"flicker              Pst {worst:.2f} in the worst ten minutes, Plt {flicker.worst_plt(pst):.2f} in the worst two hours "
        f"(limits {flicker.PST_LIMIT:g} and {flicker.PLT_LIMIT:g}): {flicker.in_words(worst)}"
    )
