"""`kilnctl survey RUN READINGS.csv`: how even the oven is, from loose thermocouples read over a soak."""

import argparse
from pathlib import Path

from ..errors import KilnctlError
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run", metavar="RUN", help="folder of a run with at least one soak")
    parser.add_argument(
        "readings",
        metavar="CSV",
        help="a logger's readings: a column time_s (or time_min, time_h) since the run's start, and one in °C for each "
        "thermocouple (in °F when its name ends in _f)",
    )
    parser.add_argument(
        "--offset", metavar="TIME", default="0 s", help="added to the logger's times, such as '-90 s' (default: 0 s)"
    )
    parser.add_argument("--only", metavar="NAME,…", default="", help="take these columns alone")
    parser.add_argument(
        "--out", metavar="FILE", help="where to write the page (default: survey.html in the run's folder)"
    )


def offset_s(text: str) -> float:
    from ..units import UnitError, parse

    try:
        sign = -1.0 if text.strip().startswith("-") else 1.0
        return sign * parse(text.strip().lstrip("+-"), "time")
    except UnitError as error:
        raise KilnctlError(f"--offset: {error}") from None


def names(text: str) -> tuple[str, ...]:
    return tuple(n.strip() for n in text.split(",") if n.strip())


def written(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
    print(f"\nthe page lies in {path}")


def run(args: argparse.Namespace) -> int:
    from ..record.run_record import read_run
    from ..report import survey

    record = read_run(args.run)
    u = chosen(args, record.oven)
    loose = survey.read_loose(args.readings, offset_s(args.offset), names(args.only))
    found = survey.survey(record, loose)
    print(u.words(survey.survey_text(found)))
    written(
        Path(args.out) if args.out else record.folder / "survey.html", u.words(survey.survey_page(record, loose, found))
    )
    return 0
