"""What the small commands that speak to a running service have in common."""

import argparse
import getpass
from pathlib import Path

from ..errors import KilnctlError


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML), or the oven's name")
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")


def asked(args: argparse.Namespace, request: dict) -> dict:
    """The service's answer; raises KilnctlError where nobody answers."""
    from ..service.door import ask

    return ask(socket_of(args), request)


def socket_of(args: argparse.Namespace) -> Path:
    """Where the oven's service listens."""
    from ..service import host

    name = args.oven
    if name.endswith((".yaml", ".yml")):
        from .. import load_oven

        name = load_oven(name).name
    return host.places(name, args.home)[1]


def told(answer: dict) -> int:
    """Print what the service says to a request; 1 when it refuses."""
    if not answer.get("ok"):
        raise KilnctlError(answer.get("words", "refused"))
    print(answer.get("words", "done"))
    return 0


def me() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "the command line"
