"""`kilnctl study OVEN SCHEDULE`: a rehearsal on many ovens drawn from the uncertainties; also thickness and tuning."""

import argparse
import sys
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..output import typed
from ..record.durable import write_whole
from ..record.folder import slug
from ..report.study_page import study_page
from ..report.study_text import study_text, thickness_text, tuning_text
from ..settings.schedule import load_schedule
from ..studies import case_of, run_case, thickness_for, tuning
from ..studies.inputs import load_vary
from ..studies.replay_files import save_worst
from ..terms import ExitStatus
from ..units import UnitError, parse
from . import _options
from ._options import chosen
from ._progress import DrawsProgress


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("schedule", nargs="?", help="schedule file (YAML); left out with --reach")
    parser.add_argument("--draws", type=int, default=200, metavar="N", help="how many ovens to draw (default: 200)")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="seed of the draws (default: 0)")
    parser.add_argument(
        "--vary", metavar="FILE", help="uncertainties (YAML) instead of the description's own and the usual ones"
    )
    parser.add_argument("--model", metavar="FILE", help="trained model to control with, from `kilnctl fit --save`")
    parser.add_argument(
        "--from-fit", action="store_true", help="draw ovens from that model's covariance instead of the description"
    )
    parser.add_argument(
        "--whole", action="store_true", help="follow the last cooling to its end, not only for its first five minutes"
    )
    parser.add_argument(
        "--tuning", action="store_true", help="compare settings of 'control: trim' over the draws and suggest one"
    )
    parser.add_argument(
        "--reach",
        metavar="TEMPERATURE",
        help="instead of a schedule: which thickness of --layer holds this temperature?",
    )
    parser.add_argument("--layer", metavar="MATERIAL", help="with --reach: the layer whose thickness is wanted")
    parser.add_argument(
        "--confidence",
        default="95 %",
        metavar="SHARE",
        help="with --reach: share of the draws that must hold it (default: 95 %%)",
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="studies",
        help="folder below which it is kept; the same command goes on where it was interrupted",
    )
    parser.add_argument("--jobs", type=int, metavar="N", help="processes on this machine (default: one a core)")
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="compute on a running Dask cluster instead (extra 'cluster'), such as tcp://10.0.0.2:8786",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress while it runs")


def run(args: argparse.Namespace) -> int:

    _options.check_seed(args.seed)
    if args.jobs is not None and args.jobs < 1:
        raise KilnctlError("--jobs: a whole number from 1")
    if bool(args.reach) == bool(args.schedule):
        raise KilnctlError("give a schedule, or --reach with --layer")
    oven = load_oven(args.oven)
    vary = load_vary(args.vary) if args.vary else None
    executor = cluster(args.scheduler) if args.scheduler else None
    try:
        return _thickness(args, oven, vary, executor) if args.reach else _study(args, oven, vary, executor)
    finally:
        if executor is not None:
            executor.shutdown(wait=False)


def cluster(address: str):
    """An executor on a running Dask cluster. Raises KilnctlError without the extra, and when no scheduler answers."""
    try:
        from distributed import Client  # noqa: PLC0415 - of an extra that need not be there
    except ImportError:
        raise KilnctlError("--scheduler needs the extra 'cluster': pip install 'kilnctl[cluster]'") from None
    try:
        return Client(address, timeout="10s").get_executor(pure=False)
    except (OSError, ValueError) as error:
        raise KilnctlError(f"--scheduler {address}: no answer: {error}") from None


def _study(args, oven, vary, executor) -> int:

    schedule = load_schedule(args.schedule)
    u = chosen(args, oven, schedule)
    case = case_of(oven, schedule, vary, args.seed, args.model, None, args.from_fit, args.whole)
    kind = ("-fit" if args.from_fit else "") + ("-whole" if args.whole else "") + ("-tuning" if args.tuning else "")
    folder = Path(args.out) / f"{slug(oven.name)}-{slug(schedule.name)}{kind}-{args.seed}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise KilnctlError(f"{folder}: cannot be made: {error.strerror}") from None
    drawn = "from the covariance of the fit" if args.from_fit else "from the description's uncertainties"
    print(f"{oven.name}: {schedule.name}; ovens drawn {drawn}, each rehearsed with the real control and safety code\n")
    progress = DrawsProgress(args.quiet)
    try:
        if args.tuning:
            found = tuning.compare(case, args.draws, keep=folder, executor=executor, jobs=args.jobs, progress=progress)
            print(tuning_text(found, oven.control.trim, u))
            return 0
        made = run_case(
            case, args.draws, keep=folder / "draws.jsonl", executor=executor, jobs=args.jobs, progress=progress
        )
    except KeyboardInterrupt:
        print(f"\ninterrupted; the same command goes on where it stopped ({folder})", file=sys.stderr)
        return ExitStatus.ENDED
    finally:
        progress.end()
    print(study_text(made, u))
    saved = save_worst(made, folder / "worst", args.model)
    if saved:
        print("\nthe worst, as ovens to be rehearsed again:")
        extra = f" --model {typed(args.model)}" if args.model else ""
        for path, why in saved:
            print(f"  kilnctl rehearse {typed(path, args.schedule)}{extra}    # {why}")
    try:
        write_whole(folder / "study.html", study_page(made, u).encode())
    except OSError as error:
        raise KilnctlError(f"{folder}: cannot be written: {error.strerror}") from None
    print(f"\nthe draws lie in {folder}/draws.jsonl (open {folder}/study.html)")
    print(_next(args))
    return ExitStatus.ANSWER_NO if made.failed or made.tripped else ExitStatus.DONE


def _next(args: argparse.Namespace) -> str:
    if args.model or args.from_fit:
        model = f" --model {typed(args.model)}" if args.model else ""
        return f"next: kilnctl run {typed(args.oven, args.schedule)}{model}"
    return f"next: kilnctl learn {typed(args.oven)} (a learning run on the real oven narrows what is not known)"


def _thickness(args, oven, vary, executor) -> int:

    if not args.layer:
        raise KilnctlError("--reach wants --layer MATERIAL too: the layer whose thickness is asked for")
    values = {}
    for name, dimension in (("reach", "temperature"), ("confidence", "fraction")):
        try:
            values[name] = parse(getattr(args, name), dimension)
        except UnitError as error:
            raise KilnctlError(f"--{name}: {error}") from None

    u = chosen(args, oven)

    def told(metres: float, share: float) -> None:
        if not args.quiet:
            print(
                f"{u.thickness(metres):>9}: {100 * share:5.1f} % of {args.draws} ovens",
                file=sys.stderr,
                flush=True,
            )

    found = thickness_for(
        oven,
        args.layer,
        values["reach"],
        values["confidence"],
        args.draws,
        vary,
        args.seed,
        executor=executor,
        jobs=args.jobs,
        progress=told,
    )
    print(thickness_text(found, u))
    return ExitStatus.DONE if found.needed_m is not None and found.borne else ExitStatus.ANSWER_NO
