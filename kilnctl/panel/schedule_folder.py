"""The folder of schedules that the panel reads and writes. A name that comes from a page is looked up in a list of what
is there, never joined to a path; links and pipes are not followed; a save, a rename or a deletion loses nothing: the
earlier file is kept below `.earlier`."""

import hashlib
import os
import re
import stat
import threading
import time
from pathlib import Path

from ..errors import KilnctlError
from ..record.durable import make_folder, write_whole
from ..record.folder import slug
from ..settings.schedule import schedule_of

#: Most bytes of a schedule, schedules listed, earlier versions kept of one name, and names of deleted schedules.
LARGEST_SCHEDULE, MOST_SCHEDULES, MOST_KEPT, MOST_DELETED = 32_000, 300, 10, 40
EARLIER = ".earlier"


class Exists(KilnctlError):
    """Another file has that name. `sha256` is that of its content."""

    def __init__(self, words: str, name: str, sha256: str):
        super().__init__(words)
        self.name, self.sha256 = name, sha256


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def plain_bytes(path: Path, most: int) -> bytes:
    """Up to `most` bytes of a plain file. Raises OSError for anything else, without waiting for a pipe."""
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(0, "not a plain file")
        return os.read(handle, most)
    finally:
        os.close(handle)


class ScheduleFolder:
    """Raises KilnctlError for what cannot be done."""

    def __init__(self, folder: Path):
        self.folder, self._lock = Path(folder), threading.Lock()

    def files(self) -> dict[str, Path]:
        """{name: path} of the plain files that are schedules by their names."""
        try:
            found = sorted(
                p
                for p in self.folder.iterdir()
                if p.suffix in (".yaml", ".yml")
                and not p.name.startswith(".")
                and stat.S_ISREG(p.stat(follow_symlinks=False).st_mode)
            )
        except OSError:
            return {}
        return {p.name: p for p in found[:MOST_SCHEDULES]}

    def path(self, name: str) -> Path:
        found = self.files().get(name)
        if found is None:
            raise KilnctlError(f"there is no schedule '{name}'")
        return found

    def text(self, name: str) -> str:
        path = self.path(name)
        try:
            return plain_bytes(path, LARGEST_SCHEDULE + 1).decode("utf-8", "replace")
        except OSError as error:
            raise KilnctlError(f"{name}: cannot be read: {error.strerror}") from None

    # ---- changes: one at a time ----

    def save(self, name: str, source: str, over: str = "") -> str:
        """Write a schedule that is sound. `over`: sha256 of the file that it replaces; empty for a new one. An empty
        name is made from the schedule's. Returns the file's name. Raises Exists."""
        if len(source.encode("utf-8", "replace")) > LARGEST_SCHEDULE:
            raise KilnctlError(f"longer than {LARGEST_SCHEDULE // 1000} kB")
        source = source.replace("\r\n", "\n")
        made = schedule_of(source, name or "new.yaml")
        with self._lock:
            name = self._name(name) if name.strip() else self._free(made.name)
            if name in self.files():
                standing = sha256(self.text(name))
                if over != standing:
                    words = (
                        f"{name} has been changed since it was opened" if over else f"there is a {name} already"
                    ) + "; nothing was saved"
                    raise Exists(words, name, standing)
                self._keep(name, "saved over")
            self._write(name, source)
        return name

    def copy(self, name: str, to: str) -> str:
        with self._lock:
            text, to = self.text(name), self._new(to)
            self._write(to, text)
        return to

    def rename(self, name: str, to: str) -> str:
        with self._lock:
            path, to = self.path(name), self._new(to)
            self._keep(name, f"renamed to {to}")
            try:
                path.rename(self.folder / to)
            except OSError as error:
                raise KilnctlError(f"{name}: cannot be renamed: {error.strerror}") from None
        return to

    def delete(self, name: str) -> str:
        """Delete it. The text is kept; returns the version with which `restore` brings it back."""
        with self._lock:
            path, version = self.path(name), self._keep(name, "deleted")
            try:
                path.unlink()
            except OSError as error:
                raise KilnctlError(f"{name}: cannot be deleted: {error.strerror}") from None
        return version

    def restore(self, name: str, version: str) -> str:
        """Make an earlier version the present one; the text that it replaces is kept too."""
        with self._lock:
            text = self._earlier_text(name, version)
            if name in self.files():
                self._keep(name, "an earlier one was brought back")
            elif len(self.files()) >= MOST_SCHEDULES:
                raise KilnctlError("too many schedules; move some away")
            self._write(name, text)
        return name

    # ---- what was there before ----

    def versions(self, name: str) -> list[dict]:
        """The newest first: {version, when, why}."""
        found = []
        for path in reversed(self._kept(name)):
            when, why = path.stem.split("~", 2)[0], path.stem.split("~", 2)[-1]
            found.append({"version": path.stem, "when": when.replace("_", " ")[:16], "why": why.replace("-", " ")})
        return found

    def earlier(self, name: str, version: str) -> str:
        with self._lock:
            return self._earlier_text(name, version)

    def deleted(self) -> list[dict]:
        """Deleted schedules that can be restored: {file, version, when}."""
        there, out = self.files(), []
        for name in self._names():
            versions = self.versions(name)
            if name not in there and versions:
                out.append({"file": name, **versions[0]})
        return out

    # ---- inside ----

    def _names(self) -> list[str]:
        try:
            return sorted(p.name for p in (self.folder / EARLIER).iterdir() if p.is_dir() and not p.is_symlink())
        except OSError:
            return []

    def _kept(self, name: str) -> list[Path]:
        if name not in self._names():
            return []
        return sorted(p for p in (self.folder / EARLIER / name).iterdir() if p.suffix == ".yaml")

    def _earlier_text(self, name: str, version: str) -> str:
        path = next((p for p in self._kept(name) if p.stem == version), None)
        if path is None:
            raise KilnctlError(f"there is no such earlier version of {name}")
        try:
            return plain_bytes(path, LARGEST_SCHEDULE + 1).decode("utf-8", "replace")
        except OSError as error:
            raise KilnctlError(f"{name}: cannot be read: {error.strerror}") from None

    def _keep(self, name: str, why: str) -> str:
        """Put the present text of that name among the earlier ones; returns its version."""
        text, folder = self.text(name), self.folder / EARLIER / name
        last = self._kept(name)
        number = int(last[-1].stem.split("~")[1]) + 1 if last else 1
        stamp = max(time.strftime("%Y-%m-%d_%H-%M-%S"), last[-1].stem.split("~")[0] if last else "")
        version = f"{stamp}~{number:06d}~{re.sub(r'[^a-z0-9]+', '-', why.lower())}"
        try:
            make_folder(folder)
            write_whole(folder / f"{version}.yaml", text.encode())
            for old in [*last, folder / f"{version}.yaml"][:-MOST_KEPT]:
                old.unlink()
            self._tidy(name)
        except OSError as error:
            raise KilnctlError(f"{name}: what stands there cannot be kept, so it is left: {error.strerror}") from None
        return version

    def _tidy(self, but: str) -> None:
        """Beyond MOST_DELETED names, remove the schedules that were deleted longest ago."""
        there = self.files()
        gone = sorted(
            (self._kept(n)[-1].name, n) for n in self._names() if n not in there and n != but and self._kept(n)
        )
        for _, name in gone[: max(0, len(gone) - MOST_DELETED)]:
            for path in self._kept(name):
                path.unlink()
            (self.folder / EARLIER / name).rmdir()

    def _name(self, wanted: str) -> str:
        """The file name for the name that a person gives."""
        if wanted in self.files():
            return wanted
        return f"{slug(wanted.removesuffix('.yaml').removesuffix('.yml'))}.yaml"

    def _new(self, wanted: str) -> str:
        """A name that no file has. Raises Exists."""
        name = self._name(wanted)
        if name in self.files():
            raise Exists(f"there is a {name} already; nothing was changed", name, sha256(self.text(name)))
        return name

    def _free(self, wanted: str) -> str:
        stem, there = slug(wanted), self.files()
        names = (f"{stem}.yaml" if k == 1 else f"{stem}-{k}.yaml" for k in range(1, MOST_SCHEDULES + 2))
        return next(n for n in names if n not in there)

    def _write(self, name: str, text: str) -> None:
        path, there = self.folder / name, self.files()
        if name not in there:
            if len(there) >= MOST_SCHEDULES:
                raise KilnctlError("too many schedules; move some away")
            if path.is_symlink() or path.exists():
                raise KilnctlError(f"{name}: it is a link or no plain file; see to it there")
        try:
            write_whole(path, text.encode())
        except OSError as error:
            raise KilnctlError(f"{name}: cannot be written: {error.strerror}") from None
