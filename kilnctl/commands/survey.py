"""`kilnctl survey RUN READINGS.csv`: how even the oven is, from loose thermocouples read over a soak."""

import argparse
from pathlib import Path

from ..record.run_record import read_run
from ..report import uniformity
from ._external import names, offset_option, offset_s, written
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run", metavar="RUN", help="folder of a run with at least one soak")
    parser.add_argument(
        "readings",
        metavar="CSV",
        help="a logger's readings: a column time_s (or time_min, time_h) since the run's start, and one in °C for each "
        "thermocouple (in °F when its name ends in _f)",
    )
    offset_option(parser)
    parser.add_argument("--only", metavar="NAME,…", default="", help="take these columns alone")
    parser.add_argument(
        "--out", metavar="FILE", help="where to write the page (default: survey.html in the run's folder)"
    )


def run(args: argparse.Namespace) -> int:

    record = read_run(args.run)
    u = chosen(args, record.oven)
    loose = uniformity.read_loose(args.readings, offset_s(args.offset), names(args.only))
    found = uniformity.survey(record, loose)
    print(u.words(uniformity.survey_text(found)))
    written(
        Path(args.out) if args.out else record.folder / "survey.html",
        u.words(uniformity.survey_page(record, loose, found)),
    )
    return 0
