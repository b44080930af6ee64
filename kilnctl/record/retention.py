"""Old runs make room for new ones: the oldest records are removed until what is left is small enough.

Only folders that are records of ours are touched, whole, never the newest one, never one that is being written,
never a link.
"""

import fcntl
import os
import re
import shutil
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from ..errors import KilnctlError
from .journal import segments

#: A folder whose name begins with this is half removed; the next clearing removes it first.
_GOING = ".going-"


@dataclass(frozen=True)
class Cleared:
    """What was removed (folder names, oldest first), bytes freed and left, and why a folder stayed that should have
    been removed."""

    removed: tuple[str, ...]
    freed_bytes: int
    left_bytes: int
    kept_back: tuple[str, ...]


def natural(name: str) -> list[tuple[int, str]]:
    """Sort key that puts run-2 before run-10."""
    return [(int(digits or 0), words) for digits, words in re.findall(r"(\d+)|(\D+)", name)]


def size_of(folder: Path) -> int:
    """Bytes of the files in a folder, without following links."""
    return sum(os.lstat(Path(place) / name).st_size for place, _, names in os.walk(folder) for name in names)


def is_record(folder: Path) -> bool:
    return (
        not folder.name.startswith(_GOING)
        and folder.is_dir()
        and not folder.is_symlink()
        and ((folder / "run.json").is_file() or bool(segments(folder)))
    )


def being_written(folder: Path) -> bool:
    """Whether another process (or this one) holds the folder's journal."""
    there = segments(folder)
    if not there:
        return False
    handle = os.open(there[-1], os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return False
    except OSError:
        return True
    finally:
        os.close(handle)


def pending(folder: Path) -> bool:
    """Whether the run in `folder` was kept in a journal that is newer than its run.json, and no process writes it: its
    page has yet to be made."""
    try:
        if not is_record(folder) or not (there := segments(folder)):
            return False
        told = folder / "run.json"
        newer = not told.is_file() or max(p.stat().st_mtime_ns for p in there) > told.stat().st_mtime_ns
        return newer and not being_written(folder)
    except (OSError, KilnctlError):
        return False


def pending_in(place: Path) -> list[Path]:
    """The folders directly below `place` that are `pending`, by name; none where it cannot be read."""
    try:
        return sorted(p for p in place.iterdir() if pending(p))
    except OSError:
        return []


def clear_old(place: str | Path, keep_bytes: int, *, keep_runs: int = 1, spare: Collection[Path] = ()) -> Cleared:
    """Remove the oldest records below `place` (by the time their last file was written) until all of them together are
    at most keep_bytes; the newest keep_runs always stay, and those in `spare` (a run that may yet go on). Raises
    KilnctlError where `place` cannot be read; what cannot be removed stays and is reported."""
    place = Path(place)
    if keep_bytes < 0 or keep_runs < 1:
        raise ValueError("keep_bytes must be at least 0, keep_runs at least 1")
    removed, kept_back, freed = [], [], 0
    kept = {Path(p).resolve() for p in spare}
    try:
        for half in [p for p in place.iterdir() if p.name.startswith(_GOING)]:
            shutil.rmtree(half, ignore_errors=True)
        runs = [
            (
                max(p.stat().st_mtime_ns for p in folder.iterdir()),
                natural(folder.name),
                folder,
                size_of(folder),
            )
            for folder in place.iterdir()
            if is_record(folder)
        ]
    except OSError as error:
        raise KilnctlError(f"{place}: cannot be read: {error.strerror}") from None
    runs.sort()
    left = sum(size for *_, size in runs)
    for _, _, folder, size in runs[: max(0, len(runs) - keep_runs)]:
        if left <= keep_bytes:
            break
        if folder.resolve() in kept:
            continue
        if being_written(folder):
            kept_back.append(f"{folder.name}: it is being written")
            continue
        try:
            # Renamed first, in one step, so that half a record is never read.
            going = folder.with_name(_GOING + folder.name)
            os.rename(folder, going)
            shutil.rmtree(going)
        except OSError as error:
            kept_back.append(f"{folder.name}: {error.strerror}")
            continue
        removed.append(folder.name)
        freed, left = freed + size, left - size
    return Cleared(tuple(removed), freed, left, tuple(kept_back))
