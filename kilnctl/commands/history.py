"""`kilnctl history RUNS`: the runs of one oven, and its ageing."""

import argparse

from ..report.ageing import read_history
from ..report.history_text import history_page, history_text
from ._asking import oven_of
from ._files import write_text
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("runs", metavar="RUNS", help="folder below which the runs lie")
    parser.add_argument("--oven", metavar="NAME", help="the oven, where there are runs of several")
    parser.add_argument(
        "--since",
        metavar="RUN",
        help="folder name of the run where the past begins, for example after a repair",
    )
    parser.add_argument("--out", metavar="FILE", help="write an HTML page as well")


def run(args: argparse.Namespace) -> int:

    history = read_history(args.runs, args.oven, args.since)
    u = chosen(args, oven_of(history.runs[-1].folder) if history.runs else None)
    print(u.words(history_text(history, u)))
    if args.out:
        write_text(args.out, u.words(history_page(history, u)))
        print(f"\nthe page lies in {args.out}")
    return 0
