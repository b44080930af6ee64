"""`kilnctl doctor [OVEN]`: what is wrong on this computer, each with its remedy."""

import argparse

from ..body import load_oven
from ..output import typed
from ..service import computer
from ..service.operating_system import places
from ..terms import ExitStatus


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", nargs="?", help="oven file (YAML): what it needs of this computer is looked at too")
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it is given one")
    parser.add_argument("--out", metavar="DIR", default="runs", help="folder of records (default: runs)")


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven) if args.oven else None
    home, socket = places(oven.name if oven else "any oven", args.home)
    findings = computer.examine(oven.rig if oven else None, home, socket, args.out)
    wrong = sum(f.grade == computer.WRONG for f in findings)
    print(f"{wrong} to mend before an oven is run here\n" if wrong else "nothing here stands in the way of a run\n")
    width = max(len(f.about) for f in findings)
    for finding in findings:
        print(f"{finding.grade:<6} {finding.about:<{width}}  {finding.seen}")
        if finding.remedy:
            print(f"{'':<6} {'':<{width}}  → {finding.remedy}")
    oven_file = typed(args.oven) if args.oven else "OVEN"
    print("\nnext: " + ("mend what is WRONG above, then ask again" if wrong else f"kilnctl check {oven_file}"))
    return ExitStatus.ANSWER_NO if wrong else ExitStatus.DONE
