"""Photographs of past runs: JPEG files next to the panel's other state; a record itself is never changed."""

import re
import threading
from pathlib import Path

from ..errors import KilnctlError
from ..record.durable import make_folder, write_whole

#: Largest photograph, bytes (the page makes them smaller before it sends them); most of one run, and of all, bytes.
LARGEST_PHOTO, MOST_OF_A_RUN, MOST_BYTES = 600_000, 12, 300_000_000
_NAME, _RUN = re.compile(r"\d{2}\.jpg"), re.compile(r"[0-9a-f]{16}")


class Photos:
    """Files `folder`/run/NN.jpg."""

    def __init__(self, folder: Path):
        self.folder, self._lock = Path(folder), threading.Lock()

    def of(self, run: str) -> list[str]:
        """The names of a run's photographs, in the order in which they were taken in."""
        try:
            return sorted(p.name for p in self._place(run).iterdir() if _NAME.fullmatch(p.name))
        except FileNotFoundError:
            return []
        except OSError as error:
            raise KilnctlError(f"the photographs cannot be read: {error.strerror}") from None

    def keep(self, run: str, data: bytes) -> str:
        """Keep a photograph; returns its name. Raises KilnctlError."""
        # Start and end of a JPEG file (ITU-T T.81, markers SOI and EOI).
        if len(data) > LARGEST_PHOTO or not (data.startswith(b"\xff\xd8\xff") and data.endswith(b"\xff\xd9")):
            raise KilnctlError(f"a photograph is a JPEG file of {LARGEST_PHOTO // 1000} kB at most")
        with self._lock:
            there = self.of(run)
            if len(there) >= MOST_OF_A_RUN:
                raise KilnctlError(f"a run keeps {MOST_OF_A_RUN} photographs at most: remove one first")
            if self._size() + len(data) > MOST_BYTES:
                raise KilnctlError(
                    f"all photographs together have {MOST_BYTES // 1_000_000} MB at most: remove some first"
                )
            name = f"{int(there[-1][:2]) + 1 if there else 1:02d}.jpg"
            if not _NAME.fullmatch(name):
                name = next(n for n in (f"{k:02d}.jpg" for k in range(1, 100)) if n not in there)
            try:
                make_folder(self._place(run))
                write_whole(self._place(run) / name, data)
            except OSError as error:
                raise KilnctlError(f"the photograph cannot be kept: {error.strerror}") from None
        return name

    def file(self, run: str, name: str) -> Path:
        """Where a photograph is. Raises KilnctlError where there is none."""
        if name not in self.of(run):
            raise KilnctlError("there is no such photograph")
        return self._place(run) / name

    def remove(self, run: str, name: str) -> None:
        """Raises KilnctlError."""
        with self._lock:
            try:
                self.file(run, name).unlink()
            except OSError as error:
                raise KilnctlError(f"the photograph cannot be removed: {error.strerror}") from None

    def _place(self, run: str) -> Path:
        if not _RUN.fullmatch(run):
            raise KilnctlError("there is no such run")
        return self.folder / run

    def _size(self) -> int:
        return sum(p.stat().st_size for p in self.folder.glob("*/*.jpg"))
