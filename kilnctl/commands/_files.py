"""Files that a person names on the command line."""

from pathlib import Path
from typing import overload

from ..body import load_oven
from ..errors import KilnctlError
from ..settings.oven import Oven
from ..settings.schedule import Schedule, load_schedule


@overload
def load(oven: str, schedule: str) -> tuple[Oven, Schedule]: ...


@overload
def load(oven: str, schedule: None) -> tuple[Oven, None]: ...


@overload
def load(oven: str, schedule: str | None) -> tuple[Oven, Schedule | None]: ...


def load(oven: str, schedule: str | None) -> tuple[Oven, Schedule | None]:
    """The oven and the schedule of these files. Raises KilnctlError with all that is wrong in both."""
    try:
        loaded = load_oven(oven)
    except KilnctlError as error:
        problems = str(error)
        if schedule is not None:
            try:
                load_schedule(schedule)
            except KilnctlError as other:
                problems += f"\n{other}"
        raise KilnctlError(problems) from None
    return loaded, load_schedule(schedule) if schedule is not None else None


def write_text(path: Path | str, text: str) -> None:
    """Write it, as UTF-8. Raises KilnctlError naming the file."""
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
