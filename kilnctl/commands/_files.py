"""Files that a person names on the command line."""

from pathlib import Path

from ..errors import KilnctlError


def write_text(path: Path | str, text: str) -> None:
    """Write it, as UTF-8. Raises KilnctlError naming the file."""
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
