"""Files that a person names on the command line."""

from pathlib import Path
from typing import overload

from ..errors import KilnctlError
from ..settings.oven import Oven, load_oven
from ..settings.schedule import Schedule, load_schedule


@overload
def load(oven: str, schedule: str) -> tuple[Oven, Schedule]: ...


@overload
def load(oven: str, schedule: None) -> tuple[Oven, None]: ...


@overload
def load(oven: str, schedule: str | None) -> tuple[Oven, Schedule | None]: ...


def load(oven: str, schedule: str | None) -> tuple[Oven, Schedule | None]:
    """The oven and the schedule of these files. Raises KilnctlError with all that is wrong in both."""
    problems: list[str] = []

    def read(loader, path: str):
        try:
            return loader(path)
        except KilnctlError as error:
            problems.append(str(error))
            return None

    loaded = read(load_oven, oven), read(load_schedule, schedule) if schedule else None
    if problems:
        raise KilnctlError("\n".join(problems))
    return loaded


def write_text(path: Path | str, text: str) -> None:
    """Write it, as UTF-8. Raises KilnctlError naming the file."""
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
