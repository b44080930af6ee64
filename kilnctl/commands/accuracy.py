"""`kilnctl accuracy RUN READINGS.csv`: the control sensor against a calibrated one next to it. Exit status 1
when no soak was steady."""

import argparse
from pathlib import Path

from ..record.run_record import read_run
from ..report import uniformity
from ..terms import ExitStatus
from ._external import names, offset_option, offset_s, written
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run", metavar="RUN", help="folder of a run with at least one soak")
    parser.add_argument(
        "readings",
        metavar="CSV",
        help="the reference's readings: a column time_s (or time_min, time_h) since the run's start, and one in °C",
    )
    parser.add_argument(
        "--reference", metavar="NAME", default="", help="which column is the reference, where there are several"
    )
    offset_option(parser)
    parser.add_argument(
        "--out", metavar="FILE", help="where to write the page (default: accuracy.html in the run's folder)"
    )


def run(args: argparse.Namespace) -> int:

    record = read_run(args.run)
    u = chosen(args, record.oven)
    loose = uniformity.read_loose(args.readings, offset_s(args.offset), names(args.reference))
    found = uniformity.accuracy(record, loose)
    print(u.words(uniformity.accuracy_text(found)))
    written(
        Path(args.out) if args.out else record.folder / "accuracy.html",
        u.words(uniformity.accuracy_page(record, loose, found)),
    )
    return ExitStatus.DONE if any(a.steady for a in found) else ExitStatus.ANSWER_NO
