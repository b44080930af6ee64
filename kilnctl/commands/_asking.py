"""Shared by the small commands that talk to a running service."""

import argparse
import getpass
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..service import operating_system
from ..service.socket_server import ask
from ..settings.oven import Oven
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML), or the oven's name")
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")


def asked(args: argparse.Namespace, request: dict) -> dict:
    """The service's answer; raises KilnctlError when no service answers."""

    u = units_of(args)
    answer = ask(socket_of(args), request)
    return answer | {"words": u.words(answer["words"])} if isinstance(answer.get("words"), str) else answer


def socket_of(args: argparse.Namespace) -> Path:
    """Where the oven's service listens."""

    oven = the_oven(args)
    return operating_system.places(args.oven if oven is None else oven.name, args.home)[1]


def units_of(args: argparse.Namespace):
    """The units of what is printed."""
    return chosen(args, the_oven(args))


def the_oven(args: argparse.Namespace) -> Oven | None:
    """The oven of a file, or None where the oven's name was given; the file is read once for all of a command."""
    if not hasattr(args, "described"):
        args.described = load_oven(args.oven) if args.oven.endswith((".yaml", ".yml")) else None
    return args.described


def oven_of(folder: str | Path):
    """The oven from the file in a run's folder; None without one, since such a record is shown too."""

    try:
        return load_oven(Path(folder) / "oven.yaml")
    except KilnctlError:
        return None


def told(answer: dict) -> int:
    """Print the service's answer to a request. Returns 1 when it refuses."""
    if not answer.get("ok"):
        raise KilnctlError(answer.get("words", "refused"))
    print(answer.get("words", "done"))
    return 0


def me() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "the command line"
