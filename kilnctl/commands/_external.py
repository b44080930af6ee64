"""Shared by the commands that read a logger's external thermocouples together with a run's record."""

import argparse
from pathlib import Path

from ..errors import KilnctlError
from ..units import UnitError, parse
from ._files import write_text


def offset_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--offset", metavar="TIME", default="0 s", help="added to the logger's times, such as '-90 s' (default: 0 s)"
    )


def offset_s(text: str) -> float:
    """Offset of a logger's clock, s. Raises KilnctlError for anything but a time."""

    try:
        sign = -1.0 if text.strip().startswith("-") else 1.0
        return sign * parse(text.strip().lstrip("+-"), "time")
    except UnitError as error:
        raise KilnctlError(f"--offset: {error}") from None


def names(text: str) -> tuple[str, ...]:
    """Names of columns, separated by commas."""
    return tuple(n.strip() for n in text.split(",") if n.strip())


def written(path: Path, text: str) -> None:
    """Write the page and print its place. Raises KilnctlError."""
    write_text(path, text)
    print(f"\nthe page lies in {path}")
