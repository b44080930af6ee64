"""Files that come with kilnctl and are not code: the workshop's ovens and schedules, SAFETY.md."""

import importlib.metadata
from pathlib import Path

from ..errors import KilnctlError

#: Where they lie in an installation, below its prefix (pyproject.toml: data-files).
_SHARE = "share/kilnctl/"


def shipped(name: str) -> Path:
    """`configs` or `SAFETY.md`: in a checkout next to the package, else where the installer put it. Raises KilnctlError
    if it is in neither place."""
    beside = Path(__file__).resolve().parents[2]
    if (beside / "pyproject.toml").is_file() and (beside / name).exists():
        return beside / name
    try:
        files = importlib.metadata.files("kilnctl") or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    for file in files:
        _place, found, rest = file.as_posix().partition(_SHARE)
        if found and (rest == name or rest.startswith(f"{name}/")):
            return Path(str(file.locate())).resolve() if rest == name else _above(Path(str(file.locate())), rest, name)
    raise KilnctlError(f"{name} did not come with this installation; it lies in the source of kilnctl")


def _above(path: Path, rest: str, name: str) -> Path:
    """The folder `name` above a file that lies `rest` below the share."""
    return path.resolve().parents[len(Path(rest).parts) - len(Path(name).parts) - 1]
