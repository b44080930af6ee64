"""`kilnctl learn OVEN`: the commissioning run, under every interlock, and the record that `kilnctl fit`
reads."""

import argparse
from pathlib import Path

from ..errors import KilnctlError
from ..record.summary import clock
from ..units import UnitError, parse

_WHY = """Why it runs like this: full power from cold tells heat capacities from the first slopes; the coast
after it, the elements' stored heat and the sensor's lag; levels of power above and below what holds, the
losses and the depth of the lining; a second temperature, what grows with temperature; the long fall without
heat, the outer lining and the leaks. Nothing is heated above the ceiling, and the fall needs nobody to watch
it: the heat is off."""


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument(
        "--ceiling",
        metavar="TEMP",
        help="never above this, such as '230 °C' or '450 °F' (default: the oven's highest)",
    )
    parser.add_argument(
        "--to", metavar="TEMP", help="upper working temperature (default: a little below the ceiling)"
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="runs",
        help="folder below which the record is written (default: runs)",
    )
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
        help="go on after an interrupted run, with its record",
    )
    parser.add_argument(
        "--plan", action="store_true", help="only say what would be done, how long it takes and why"
    )
    parser.add_argument(
        "--seed", type=int, default=0, metavar="N", help="seed of the virtual oven's noise (default: 0)"
    )
    parser.add_argument(
        "--plant", metavar="FILE.py:NAME", help="your own simulation of the oven; RUNS THAT FILE'S CODE"
    )
    parser.add_argument("--faults", metavar="FILE", help="faults to inject into the virtual oven (YAML)")
    parser.add_argument("--quiet", action="store_true", help="no progress while it runs")


def run(args: argparse.Namespace) -> int:
    from .. import load_oven
    from ..model import learn as learning
    from ..record.folder import Begun, SampleWriter, begin, finish, new_folder
    from ..record.summary import summarise
    from .rehearse import Progress

    oven = load_oven(args.oven)
    if args.seed < 0:
        raise KilnctlError("--seed: a whole number from 0")
    if oven.rig.kind != "virtual" and not args.plant and not args.plan:
        raise KilnctlError(
            f"{args.oven}: this oven is wired to a real rig ({oven.rig.kind}); this command drives virtual "
            "ovens only. See the plan with "
            "--plan, or try it on a virtual oven with 'rig: {kind: virtual}'"
        )
    load = oven.usual_load if args.loaded else None
    begin_stage, hot = (_stage(args.interrupted), True) if args.interrupted else (0, args.hot)
    wanted = dict(
        ceiling_c=_temperature(args.ceiling, "--ceiling"),
        top_c=_temperature(args.to, "--to"),
        load=load,
        begin_stage=begin_stage,
    )
    programme = learning.prepare(oven, **wanted)
    plan = programme.experiment
    print(
        f"{oven.name}: learning run around {' and '.join(f'{t:.0f} °C' for t in plan.temperatures_c)}, "
        f"never above {plan.ceiling_c:.0f} °C, "
        f"about {clock(plan.left_s[programme.begin.stage])}"
    )
    if args.plan:
        _show(plan)
        return 0
    plant, faults = None, ()
    if args.plant:
        from ..plants.protocol import load_plant

        plant = load_plant(args.plant, oven)
    if args.faults:
        from ..plants.faults import load_faults

        faults = load_faults(args.faults)
    if getattr(plant, "chamber_c", None) is not None:
        learning.refuse_hot(oven, plant.chamber_c, hot)
    schedule = learning.as_schedule(programme)
    folder = new_folder(args.out, oven.name, schedule.name)
    begin(folder, Begun(oven, schedule, load, programme.model, args.seed, "learning run"))
    writer, progress = SampleWriter(folder), Progress("learning", args.quiet)
    try:
        result = learning.learn(
            oven,
            plant,
            args.seed,
            hot=hot,
            faults=faults,
            progress=lambda t, left, phase: progress(t, left, f"{phase}, about {clock(left)} left"),
            sink=writer,
            **wanted,
        )
    finally:
        writer.close()
        progress.end()
    finish(folder, result, summarise(result))
    for trip in result.trips:
        print(
            f"\nTRIP at {clock(trip.time_s)}: {trip.seen}.\n  {trip.done}\n  With the power off, check: "
            f"{trip.check}."
        )
    print(
        f"{result.outcome}: {clock(float(result.time_s[-1]) if len(result.time_s) else 0.0)}, "
        f"{result.energy_j / 3.6e6:.2f} kWh; the record lies in {folder}/"
    )
    if result.outcome == "finished":
        earlier = f" {args.interrupted}" if args.interrupted else ""
        print(f"next: kilnctl fit {args.oven}{earlier} {folder}")
    else:
        print(f"to go on: kilnctl learn {args.oven} --continue {folder}")
    return {"finished": 0, "tripped": 1, "interrupted": 130}[result.outcome]


def _temperature(text: str | None, option: str) -> float | None:
    if text is None:
        return None
    try:
        return parse(text, "temperature")
    except UnitError as error:
        raise KilnctlError(f"{option}: {error}") from None


def _stage(folder: str) -> int:
    """The stage that an interrupted learning run had reached: the last 'step' of its samples."""
    from ..model.records import read_table

    table, _ = read_table(Path(folder) / "samples.csv")
    steps = table.get("step")
    if steps is None or not len(steps) or not steps[-1] >= 1.0:
        raise KilnctlError(f"{folder}: no learning run was begun there")
    return int(steps[-1]) - 1


def _show(plan) -> None:
    for stage, left, after in zip(plan.stages, plan.left_s, (*plan.left_s[1:], 0.0)):
        print(f"  {clock(left - after):>8s}  {stage.name}")
    print(f"\n{_WHY}")
