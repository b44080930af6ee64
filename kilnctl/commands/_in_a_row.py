"""Several rehearsals in a row: after each, the model learns from its record, as after a real run."""

import argparse
import math

from ..errors import KilnctlError
from ..model.trained_file import load_model
from ..output import Units
from ..plants.injection import load_faults
from ..plants.outside import load_plant
from ..plants.plant import truth_of
from ..record.folder import new_folder
from ..record.model_store import ModelStore
from ..record.run_record import read_run
from ..report.lessons import learn_from
from ..report.verdict import verdict
from ..run.prepare import prepare
from ..run.rehearsal import usual_plant
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import ExitStatus
from ._progress import SimulationProgress
from ._recorded import recorded


def rehearse_in_a_row(args: argparse.Namespace, oven: Oven, schedule: Schedule, u: Units) -> int:
    """`rehearse --runs`. Each run has the next seed; the models lie next to the records. Raises KilnctlError."""
    if args.runs < 2 or args.compare or args.controller != "model":
        raise KilnctlError("--runs: 2 or more, with the model in control; it goes with no --compare")
    folder = new_folder(args.out, oven.name, schedule.name)
    store = ModelStore(folder.with_name(f"{folder.name}-models"))
    if args.model:
        store.add_chosen(load_model(args.model, oven), oven)
    print(f"{'run':<4} {'overshoot':>10} {'soak rms':>10} {'swing':>8}  what it taught")
    worst = ExitStatus.DONE
    for k in range(args.runs):
        worst = max(worst, _one(args, oven, schedule, store, k, folder, u))
        if worst == ExitStatus.ENDED:
            break
        folder = new_folder(args.out, oven.name, schedule.name) if k + 1 < args.runs else folder
    print(f"\nthe models lie in {store.folder}/, the records beside it")
    return worst


def _one(args, oven: Oven, schedule: Schedule, store: ModelStore, k: int, folder, u: Units) -> ExitStatus:
    seed, faults = args.seed + k, load_faults(args.faults) if args.faults else ()
    plant = load_plant(args.plant, oven) if args.plant else usual_plant(oven, schedule, seed, faults)
    ready = prepare(oven, schedule, store.in_use(oven)[0] or None, truth_of(plant).chamber_c)
    progress = SimulationProgress(f"rehearsing {k + 1}", args.quiet)
    result, summary = recorded(ready, plant, seed, folder, progress, u)
    status = ExitStatus.of_run(result.outcome, verdict(result, summary, u).good)
    told = learn_from(read_run(folder), store) if status != ExitStatus.ENDED else None
    rms = max((s.rms_k for s in summary.soaks if math.isfinite(s.rms_k)), default=math.nan)
    figures = (u.difference(summary.overshoot_k), u.difference(rms), u.difference(summary.swing_k))
    taught = u.words(told.words) if told is not None else result.outcome
    print(f"{k + 1:<4} {figures[0]:>10} {figures[1]:>10} {figures[2]:>8}  {taught}", flush=True)
    return status
