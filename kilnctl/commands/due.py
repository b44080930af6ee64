"""`kilnctl due OVEN`: the repeated tests of SAFETY.md: list those that are due, or note one that was done."""

import argparse
import datetime
import sys

from ..body import load_oven
from ..errors import KilnctlError
from ..output import typed
from ..record import care
from ..service.operating_system import places
from ..terms import ExitStatus
from . import _options


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")
    parser.add_argument("--done", metavar="TEST", help=f"note that a test was done: {', '.join(care.NAMES)}")
    parser.add_argument("--by", metavar="NAME", default="", help="with --done: who did it")
    parser.add_argument("--result", metavar="WORDS", default="", help="with --done: what was seen or measured")
    parser.add_argument("--failed", action="store_true", help="with --done: it was not passed")
    parser.add_argument("--on", metavar="DATE", help="with --done: the day, such as 2026-03-31 (default: today)")
    parser.add_argument("--all", action="store_true", help="show all that was ever noted as well")


def run(args: argparse.Namespace) -> int:
    oven, today = load_oven(args.oven), datetime.date.today()
    home, _ = places(oven.name, args.home)
    if args.done:
        care.add(home, care.CareDone(args.done, _day(args.on, today), args.by, args.result, not args.failed))
    elif args.by or args.result or args.failed or args.on:
        raise KilnctlError("--by, --result, --failed and --on go with --done TEST")
    done, problems = care.read_log(home)
    for words in problems:
        print(f"note: {words}", file=sys.stderr)
    standing = care.due(done, today)
    count = sum(d.now for d in standing)
    print(f"{oven.name}: " + (f"{count} of {len(standing)} tests are due" if count else "no test is due") + "\n")
    width = max(len(d.test.name) for d in standing)
    for d in standing:
        last = f"last {d.last.day} by {d.last.by}" if d.last else "never noted"
        print(f"{_when(d):<16} {d.test.name:<{width}}  {last}")
        if d.now:
            print(f"{'':<16} {'':<{width}}  → {d.test.what}")
    if args.all:
        print()
        for d in done:
            print(f"{d.day}  {d.test:<{width}}  {'passed' if d.passed else 'NOT PASSED'}  {d.by}  {d.result}".rstrip())
    print("\nIt refuses nothing: SAFETY.md says what each test is for. Local rules may ask for more.")
    first = next((d.test.name for d in standing if d.now), None)
    if first is not None:
        note = typed("kilnctl", "due", args.oven, "--done", first)
        print(f"next: do one as SAFETY.md says, then note it: {note} --by NAME")
    return ExitStatus.ANSWER_NO if count else ExitStatus.DONE


def _when(d: care.CareDue) -> str:
    if d.failed:
        return "NOT PASSED"
    if d.days is None:
        return "due"
    if d.days > 0:
        return f"due in {_days(d.days)}"
    return f"{_days(-d.days)} overdue" if d.days < 0 else "due today"


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def _day(text: str | None, today: datetime.date) -> str:
    if text is None:
        return today.isoformat()
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise KilnctlError(f"--on: '{text}' is no date such as {today.isoformat()}") from None
    if day > today:
        raise KilnctlError(f"--on: {text} has not come yet")
    return day.isoformat()
