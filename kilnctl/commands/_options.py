"""The option that nearly every command has: the units of what it prints."""

import argparse

from ..output import IMPERIAL, METRIC, Units


def units_option(parser: argparse.ArgumentParser) -> None:
    """`--units`, the one option for the units of what is printed."""
    parser.add_argument(
        "--units",
        choices=(METRIC, IMPERIAL),
        help="units of what is printed: °C, mm and W, or °F, inches and BTU (default: as the oven's file)",
    )


def chosen(args: argparse.Namespace, *settings) -> Units:
    """The units that this command prints in: as its option says, else as the oven's file writes its temperatures. They
    are kept in `args.shown`, for the message of an error."""
    said = next((s for s in (getattr(x, "units", None) for x in settings) if s), METRIC)
    args.shown = Units(getattr(args, "units", None) or said).knowing(*settings)
    return args.shown
