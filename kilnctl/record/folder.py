"""The data of a run's folder: samples.csv, events.csv, run.json, and the settings used. `report.finishing` adds the
pictures and the page.

Nothing in it depends on the clock of the day, so that equal runs give equal bytes.
"""

import csv
import dataclasses
import hashlib
import json
import math
import os
import re
import unicodedata
from collections.abc import Iterator, MutableMapping
from pathlib import Path
from typing import Any

import numpy as np

from .. import __version__
from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .columns import COLUMNS, NAMES, row_text
from .compact import CompactColumns
from .durable import write_whole
from .journal import segments
from .run_data import RunData, UnknownOven

#: Samples between two writes to the file.
_FLUSH = 500
#: Samples that are turned into text together; more would take memory without a gain.
_AT_ONCE = 5000
_NOT_SAID = ("places", "assumptions", "file", "sha256")


def slug(text: str) -> str:
    """A name for a folder or a socket, of a to z, digits and hyphens, at most 40 of them. Where letters are lost (other
    alphabets, accents, a long end) a checksum keeps two names apart: two ovens must never share state and socket."""
    whole = unicodedata.normalize("NFC", text.lower())
    letters = "".join(c for c in unicodedata.normalize("NFKD", whole) if not unicodedata.combining(c))
    plain = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")
    if whole.isascii() and 0 < len(plain) <= 40:
        return plain
    return f"{plain[:31].strip('-') or 'run'}-{hashlib.sha256(whole.encode()).hexdigest()[:8]}"


def new_folder(out: str | Path, oven_name: str, schedule_name: str) -> Path:
    """Make a new folder below `out`, never an existing one. Raises KilnctlError where that cannot be done."""
    base = Path(out) / f"{slug(oven_name)}-{slug(schedule_name)}"
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

    def __init__(self, folder: Path, name: str = "samples.csv"):
        self.path = folder / name
        try:
            # Open from sample to sample; `close` closes it.
            self._file = open(self.path, "w", newline="", encoding="utf-8")  # noqa: SIM115
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
            raise KilnctlError(
                f"{self.path}: cannot be written: {error.strerror}; what was written so far is kept"
            ) from None

    def close(self) -> None:
        try:
            self._file.close()
        except OSError as error:
            raise KilnctlError(f"{self.path}: cannot be written: {error.strerror}") from None


def plain(value: Any) -> Any:
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


@dataclasses.dataclass(frozen=True)
class Begun:
    """What is known of a run before its first sample. `started`: time of day in words, for display only;
    `rig`: what was heated; `teaches`: folder of the models that learn from it, if any do."""

    oven: Oven | UnknownOven
    schedule: Schedule
    load: Load | None = None
    model: object = None
    seed: int | None = None
    controller: str = ""
    started: str = ""
    rig: str = ""
    outcome: str = "unfinished"
    model_words: str = ""
    teaches: str = ""


def about(run: RunData | Begun) -> dict:
    """What run.json says of a run, as JSON values."""
    schedule = {
        f.name: plain(getattr(run.schedule, f.name))
        for f in dataclasses.fields(run.schedule)
        if f.name not in _NOT_SAID
    }
    said = {
        "kilnctl": __version__,
        "outcome": run.outcome,
        "controller": run.controller,
        "seed": run.seed,
        "oven": {"name": run.oven.name, "file": Path(run.oven.file).name, "sha256": run.oven.sha256},
        "schedule": {
            "name": run.schedule.name,
            "file": Path(run.schedule.file).name,
            "sha256": run.schedule.sha256,
        },
        "steps": schedule,
        "load": plain(run.load),
        "model": plain(run.model),
        "columns": {c.name: c.doc for c in COLUMNS},
    }
    # Only a real run has a time of day; a rehearsal's record always has the same bytes.
    more = ("model_words", "teaches", "started", "rig")
    return said | {name: value for name in more if (value := getattr(run, name))}


def begin(folder: Path, begun: Begun) -> None:
    """Write what is known before the first sample, so that even a killed run leaves a readable record:
    run.json and copies of the settings files, checked to be what was loaded. Raises KilnctlError."""
    path = folder
    try:
        for source, sha256, name in (
            (begun.oven.file, begun.oven.sha256, "oven.yaml"),
            (begun.schedule.file, begun.schedule.sha256, "schedule.yaml"),
        ):
            path = Path(source) if source else folder
            if source and path.is_file():
                data = path.read_bytes()
                if hashlib.sha256(data).hexdigest() != sha256:
                    raise KilnctlError(f"{source}: it was changed after it was read; start again")
                path = folder / name
                write_whole(path, data)
        path = folder / "run.json"
        write_whole(path, _json(about(begun)))
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def write_data(folder: Path, run: RunData) -> None:
    """Write what is not there yet of samples, settings and events. Raises KilnctlError naming the file."""
    if not (folder / "run.json").is_file():
        begin(folder, Begun(run.oven, run.schedule, run.load, run.model, run.seed, run.controller))
    if not (folder / "samples.csv").is_file() or segments(folder):
        write_samples(folder, run)
    path = folder / "events.csv"
    try:
        with open(path, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(("time_s", "kind", "text"))
            writer.writerows((f"{e.time_s:.1f}", e.kind, " ".join(e.text.split())) for e in run.events)
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def conclude(folder: Path, run: RunData, summary: object) -> None:
    """Write the final run.json, the last of a run's files: if it has a summary, the other files exist too.
    Raises KilnctlError."""
    said = about(run) | {"energy_j": run.energy_j, "summary": plain(summary), "trips": plain(run.trips)}
    path = folder / "run.json"
    try:
        write_whole(path, _json(said))
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def write_samples(folder: Path, run: RunData) -> None:
    """samples.csv of a run whose samples are in memory (those of a journal, for instance): whole, or the one before it
    stays. Raises KilnctlError."""
    writer = SampleWriter(folder, "samples.csv.new")
    for block in _blocks(run.data):
        for row in zip(*(values.tolist() for values in block), strict=True):
            writer(row)
    writer.close()
    try:
        os.replace(writer.path, folder / "samples.csv")
    except OSError as error:
        raise KilnctlError(f"{folder / 'samples.csv'}: cannot be written: {error.strerror}") from None


def _blocks(data: MutableMapping[str, np.ndarray]) -> Iterator[list[np.ndarray]]:
    """All columns, some thousand rows at a time: each column of a record that was read back is unpacked once."""
    if isinstance(data, CompactColumns):
        yield from data.blocks(NAMES)
        return
    for begin_at in range(0, len(data["time_s"]), _AT_ONCE):
        yield [data[name][begin_at : begin_at + _AT_ONCE] for name in NAMES]


def _json(value: dict) -> bytes:
    return (json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()
