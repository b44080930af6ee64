"""A run's folder: samples.csv, events.csv, run.json, the settings used, and the page of curves.

Nothing in it depends on the clock of the day, so that equal runs give equal bytes.
"""

import csv
import dataclasses
import json
import math
import re
import shutil
from pathlib import Path

from .. import __version__
from ..errors import KilnctlError
from .columns import COLUMNS, NAMES, row_text

_FLUSH = 500


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40] or "run"


def new_folder(out: str | Path, oven_name: str, schedule_name: str) -> Path:
    """Make a folder of its own below `out`, never an existing one. Raises KilnctlError where that cannot be done."""
    base = Path(out) / f"{_slug(oven_name)}-{_slug(schedule_name)}"
    try:
        Path(out).mkdir(parents=True, exist_ok=True)
        for number in range(1, 100000):
            folder = base if number == 1 else base.with_name(f"{base.name}-{number}")
            try:
                folder.mkdir()
                return folder
            except FileExistsError:
                continue
    except OSError as error:
        raise KilnctlError(f"{out}: no record can be written there: {error.strerror}") from None
    raise KilnctlError(f"{out}: too many runs of this name; move some away")


class SampleWriter:
    """Writes samples as they come, so that an interrupted run leaves everything up to then."""

    def __init__(self, folder: Path):
        self.path = folder / "samples.csv"
        try:
            self._file = open(self.path, "w", newline="", encoding="utf-8")
            self._writer = csv.writer(self._file, lineterminator="\n")
            self._writer.writerow(NAMES)
        except OSError as error:
            raise KilnctlError(f"{self.path}: cannot be written: {error.strerror}") from None
        self._count = 0

    def __call__(self, row: tuple) -> None:
        try:
            self._writer.writerow(row_text(row))
            self._count += 1
            if self._count % _FLUSH == 0:
                self._file.flush()
        except OSError as error:
            raise KilnctlError(f"{self.path}: cannot be written: {error.strerror}; what was written so far is kept") from None

    def close(self) -> None:
        try:
            self._file.close()
        except OSError as error:
            raise KilnctlError(f"{self.path}: cannot be written: {error.strerror}") from None


def plain(value):
    """Dataclasses and arrays as JSON values; NaN and infinity as null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def finish(folder: Path, run, summary, unit: str = "C") -> None:
    """Write everything but the samples. Raises KilnctlError naming the file."""
    from .page import curves, page

    about = {
        "kilnctl": __version__,
        "outcome": run.outcome,
        "controller": run.controller,
        "seed": run.seed,
        "oven": {"name": run.oven.name, "file": Path(run.oven.file).name, "sha256": run.oven.sha256},
        "schedule": {"name": run.schedule.name, "file": Path(run.schedule.file).name, "sha256": run.schedule.sha256},
        "load": plain(run.load),
        "model": plain(run.model),
        "summary": plain(summary),
        "trips": plain(run.trips),
        "columns": {c.name: c.doc for c in COLUMNS},
    }
    path = folder
    try:
        path = folder / "run.json"
        path.write_text(json.dumps(about, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        path = folder / "events.csv"
        with open(path, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(("time_s", "kind", "text"))
            writer.writerows((f"{e.time_s:.1f}", e.kind, e.text) for e in run.events)
        for source, name in ((run.oven.file, "oven.yaml"), (run.schedule.file, "schedule.yaml")):
            path = folder / name
            if source and Path(source).is_file():
                shutil.copyfile(source, path)
        if len(run.time_s):
            path = folder / "curves.svg"
            path.write_text(curves(run, summary, unit), encoding="utf-8")
            path = folder / "run.html"
            path.write_text(page(run, summary, unit), encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
