"""Options that more than one command has."""

import argparse
import re

from ..errors import KilnctlError
from ..output import IMPERIAL, METRIC, Units


def number(text: str) -> float:
    """A plain number on the command line. Raises what argparse tells of it in these words."""
    try:
        return float(text)
    except ValueError:
        point = ": write a decimal point" if re.fullmatch(r"[-+]?\d+,\d+", text) else ""
        raise argparse.ArgumentTypeError(f"'{text}' is not a number{point}") from None


def units_option(parser: argparse.ArgumentParser) -> None:
    """`--units`, the one option for the units of what is printed."""
    parser.add_argument(
        "--units",
        choices=(METRIC, IMPERIAL),
        help="units of what is printed: °C, mm and W, or °F, inches and BTU (default: as the oven's file)",
    )


def chosen(args: argparse.Namespace, *settings) -> Units:
    """The units that this command prints in: as its option says, else as the oven's file writes its temperatures. They
    are kept in `args.shown`, for error messages."""
    said = next((s for s in (getattr(x, "units", None) for x in settings) if s), METRIC)
    args.shown = Units(getattr(args, "units", None) or said).knowing(*settings)
    return args.shown


def oven(parser: argparse.ArgumentParser) -> None:
    """The oven's file, as the first argument."""
    parser.add_argument("oven", help="oven file (YAML)")


def out(parser: argparse.ArgumentParser, what: str = "the record is") -> None:
    """`--out`: where records go."""
    parser.add_argument(
        "--out", metavar="DIR", default="runs", help=f"folder below which {what} written (default: runs)"
    )


def virtual_oven(parser: argparse.ArgumentParser) -> None:
    """Options of a simulation: seed, plant and faults."""
    parser.add_argument(
        "--seed", type=int, default=0, metavar="N", help="seed of the virtual oven's noise (default: 0)"
    )
    parser.add_argument(
        "--plant",
        metavar="FILE.py:NAME",
        help="your own simulation of the oven, in Python or as a co-simulation unit (UNIT.fmu); RUNS THAT FILE'S CODE",
    )
    parser.add_argument("--faults", metavar="FILE", help="faults to inject into the virtual oven (YAML)")


def learning(parser: argparse.ArgumentParser) -> None:
    """`--no-learning`, for what heats."""
    parser.add_argument(
        "--no-learning",
        action="store_true",
        help="the oven's model learns nothing from this (`kilnctl models` lists what it has learnt)",
    )


def check_seed(seed: int) -> None:
    """Raises KilnctlError for an invalid seed."""
    if seed < 0:
        raise KilnctlError("--seed: a whole number from 0")


def start(parser: argparse.ArgumentParser) -> None:
    """What a person must confirm before a real oven is heated."""
    parser.add_argument(
        "--confirm", action="store_true", help="start although the limits are unlike the last run's, or there was none"
    )
    parser.add_argument(
        "--acknowledge", metavar="NAME", help="who has seen to the last run's trip, once its cause is gone"
    )
    parser.add_argument(
        "--reading-is-right",
        action="store_true",
        help="with --acknowledge: another thermometer shows that the chamber is where the reading says",
    )
    parser.add_argument(
        "--attended",
        action="store_true",
        help="a person stays next to the oven; needed with hardware that cannot switch the heat off by itself",
    )
