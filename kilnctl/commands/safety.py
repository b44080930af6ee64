"""`kilnctl safety`: print SAFETY.md, which you must read before you connect anything."""

import argparse

from ._shipped import shipped


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--where", action="store_true", help="print the file's path instead of its text")


def run(args: argparse.Namespace) -> int:
    path = shipped("SAFETY.md")
    print(path if args.where else path.read_text(encoding="utf-8"), end="\n" if args.where else "")
    return 0
