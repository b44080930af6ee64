"""`kilnctl report RUN`: one self-contained page of evidence from a run's folder."""

import argparse
import contextlib
import sys
from pathlib import Path

from ..errors import KilnctlError
from ..record.care import known_log
from ..record.retention import pending
from ..record.run_record import read_run
from ..report.finishing import finish_record
from ..report.run_report import parse_price, run_csv, run_page
from ..report.summary_text import summary_text
from ..report.verdict import verdict
from ..run.summary import summarise
from ..service.operating_system import places
from ._files import write_text
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run", metavar="RUN", help="folder of a run")
    parser.add_argument("--out", metavar="FILE", help="where to write the page (default: report.html in that folder)")
    parser.add_argument("--price", metavar="PRICE", help="price of energy, for example '0.30 EUR/kWh'")
    parser.add_argument(
        "--csv",
        metavar="FILE",
        help="write the figures as CSV as well; '-' prints them instead of the summary",
    )
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one: its log of tests")


def run(args: argparse.Namespace) -> int:

    price = parse_price(args.price) if args.price else None
    record = read_run(args.run)
    if pending(record.folder):
        # The service ended before it made the page. The report is made even if nothing can be written there.
        with contextlib.suppress(KilnctlError):
            finish_record(record.folder)
    summary = summarise(record)
    units = chosen(args, record.oven)
    target = Path(args.out) if args.out else record.folder / "report.html"
    done, problems = known_log(places(record.oven.name, args.home)[0])
    for words in problems:
        print(f"note: {words}", file=sys.stderr)
    write_text(target, run_page(record, summary, units, price, done))
    figures = run_csv(record, summary, price)
    if args.csv == "-":
        print(figures, end="")
        return 0
    if args.csv:
        write_text(args.csv, figures)
    print(f"{record.oven.name}: {record.schedule.name}\n\n{units.words(verdict(record, summary, units).words)}\n")
    print(summary_text(summary, units))
    if price is not None:
        print(f"cost                 {price.of(summary.energy_kwh)}")
    for problem in record.problems:
        print(f"note: {problem}")
    print(f"\nthe page lies in {target}: open it in a browser")
    return 0
