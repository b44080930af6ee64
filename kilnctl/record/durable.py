"""Files that survive a power cut: whole or not at all, and on the disk before the function returns.

The order is always: write a new file, fdatasync, rename it over the old one, fsync the folder. With any step left out,
crash images of ext4 lose everything (delayed allocation keeps new data in memory for many seconds).
"""

import json
import os
import zlib
from pathlib import Path


def sync_folder(folder: str | Path) -> None:
    """Put the names in `folder` on the disk. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(folder: str | Path) -> None:
    """Make `folder` and its parents where they are missing, durably. Raises OSError."""
    folder = Path(folder)
    missing = []
    while not folder.is_dir():
        missing.append(folder)
        folder = folder.parent
    for name in reversed(missing):
        name.mkdir(exist_ok=True)
        sync_folder(name.parent)


def write_whole(path: str | Path, data: bytes) -> None:
    """Replace `path` by `data`: after a power cut the file is the old or the new one, never a mixture. Raises OSError
    and leaves the old one."""
    path = Path(path)
    beside = path.with_name(path.name + ".new")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(handle, view) :]
        os.fdatasync(handle)
    except OSError:
        os.close(handle)
        beside.unlink(missing_ok=True)
        raise
    os.close(handle)
    os.replace(beside, path)
    sync_folder(path.parent)


def save_state(path: str | Path, state: dict) -> None:
    """Keep a small state (JSON values) with a checksum; the one before it stays next to it as `<name>.before`. Raises
    OSError.

    For what must be known after a power cut. About two disk syncs: not for the control tick.
    """
    path = Path(path)
    text = json.dumps(state, ensure_ascii=False, sort_keys=True, allow_nan=False).encode()
    if path.exists() and load_state(path, before=False) is not None:
        _keep_before(path)
    write_whole(path, text + b"\n%08x\n" % zlib.crc32(text))


def _keep_before(path: Path) -> None:
    """Give the state its second name, `<name>.before`. On a file system with hard links it keeps its first name, so
    that there is a newest state at every moment. Raises OSError."""
    before, link = path.with_name(path.name + ".before"), path.with_name(path.name + ".link")
    try:
        link.unlink(missing_ok=True)
        os.link(path, link)
    except OSError:
        os.replace(path, before)
        return
    os.replace(link, before)


def load_state(path: str | Path, *, before: bool = True) -> dict | None:
    """The state last kept, or the one before it where the last is damaged or gone; None where there is
    neither. Raises nothing."""
    path = Path(path)
    for candidate in (path, path.with_name(path.name + ".before"))[: 2 if before else 1]:
        try:
            text, check, rest = candidate.read_bytes().split(b"\n")
            if not rest and check == b"%08x" % zlib.crc32(text):
                state = json.loads(text)
                if isinstance(state, dict):
                    return state
        except (OSError, ValueError, RecursionError):
            continue
    return None
