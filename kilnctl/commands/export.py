"""`kilnctl export RUNS FILE`: the measured columns of one or many runs in one table, CSV or Parquet."""

import argparse
import sys
from pathlib import Path

from ..errors import KilnctlError
from ..report.run_table import Csv, Parquet, RunRows, runs_below
from . import _options


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("runs", metavar="RUNS", help="folder of a run, or a folder below which runs lie")
    parser.add_argument("file", metavar="FILE", help="table to write: NAME.csv or NAME.parquet (extra 'export')")
    parser.add_argument("--oven", metavar="NAME", help="only runs of this oven")
    parser.add_argument("--schedule", metavar="NAME", help="only runs of this schedule")
    parser.add_argument(
        "--every", type=_options.number, metavar="SECONDS", help="one row in so many seconds of a run (default: all)"
    )


def run(args: argparse.Namespace) -> int:
    if args.every is not None and not args.every > 0.0:
        raise KilnctlError("--every: seconds above 0")
    kind = {".csv": Csv, ".parquet": Parquet}.get(Path(args.file).suffix.lower())
    if kind is None:
        raise KilnctlError(f"{args.file}: name it .csv or .parquet, which says the kind of table")
    folders = runs_below(args.runs)
    table, count, rows = kind(args.file), 0, 0
    try:
        for folder in folders:
            part = _part(folder, args)
            if part is None:
                continue
            table.add(part)
            count, rows = count + 1, rows + len(part)
            if len(folders) > 1 and sys.stderr.isatty():
                print(f"\r{count} of {len(folders)} runs", end="", file=sys.stderr, flush=True)
        if not count:
            raise KilnctlError(f"{args.runs}: no run here fits")
        table.close()
    except BaseException:
        table.give_up()
        raise
    print(f"{rows} rows of {count} run{'s' * (count != 1)} are in {args.file}")
    return 0


def _part(folder: Path, args: argparse.Namespace) -> RunRows | None:
    """The rows of one run; None for a run that is filtered out, or, among many, cannot be read."""
    try:
        part = RunRows.read(folder, args.every)
    except KilnctlError as error:
        if Path(args.runs) == folder:
            raise
        print(f"left out: {error}", file=sys.stderr)
        return None
    if (args.oven and part.oven != args.oven) or (args.schedule and part.schedule != args.schedule):
        return None
    return part
