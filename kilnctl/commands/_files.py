"""Files that a person names on the command line."""

from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..settings.oven import Oven
from ..settings.schedule import Schedule, load_schedule


def oven_and_schedule(oven_file: str, schedule_file: str) -> tuple[Oven, Schedule]:
    """Read both. Raises KilnctlError with the problems of both."""
    problems, oven, schedule = [], None, None
    try:
        oven = load_oven(oven_file)
    except KilnctlError as error:
        problems.append(str(error))
    try:
        schedule = load_schedule(schedule_file)
    except KilnctlError as error:
        problems.append(str(error))
    if oven is None or schedule is None:
        raise KilnctlError("\n".join(problems))
    return oven, schedule


def write_text(path: Path | str, text: str) -> None:
    """Write it, as UTF-8. Raises KilnctlError naming the file."""
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
