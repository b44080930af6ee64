"""Read a run's folder back. A torn end is cut off and reported; anything else that is wrong is refused with file and
line.

Samples and events come from the journal where the run kept one (real runs), else from samples.csv and
events.csv (rehearsals).
"""

import csv
import dataclasses
import hashlib
import itertools
import json
import math
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..errors import KilnctlError
from ..safety import Trip
from ..settings.construction import Load
from ..settings.oven import Oven, load_oven
from ..settings.schedule import Cure, Schedule, Step, load_schedule
from .columns import NAMES
from .compact import BLOCK, CompactColumns
from .events import Event
from .journal import Damage, Entry, lines_of, segments
from .parts import LARGEST, built, mapping, number, words
from .power_columns import power_w
from .run_data import RunData, UnknownOven

#: A record larger than this is not read in one piece, bytes.
LARGEST_BYTES = 1_000_000_000
#: What the run taught the oven's model: written once it is over.
LESSON_FILE = "learning.json"
#: A row as it comes: where it stands (file, line), and its cells' text.
_Row = tuple[str, int, str]


@dataclass(kw_only=True)
class RunRecord(RunData):
    """A run read back from `folder`; `about` is its run.json as it stands."""

    folder: Path
    about: dict = field(default_factory=dict)


def read_run(folder: str | Path) -> RunRecord:
    """The record in `folder`. Raises KilnctlError (file:line where there is one) for what is no record of
    ours or is damaged inside."""
    folder = Path(folder)
    try:
        return _read_run(folder)
    except OSError as error:
        raise KilnctlError(f"{error.filename or folder}: cannot be read: {error.strerror}") from None


def not_a_folder(path: Path) -> str:
    """Why a path that should be a folder is none, in words."""
    return "this is a file" if path.exists() else "there is no such folder"


def _read_run(folder: Path) -> RunRecord:
    if not folder.is_dir():
        raise KilnctlError(f"{folder}: {not_a_folder(folder)}; give the folder of a run")
    problems: list[str] = []
    said = _said(folder)
    if segments(folder):
        data, events, trips, end = _from_journal(folder, problems)
        said = {**end.pop("start", {}), **said} if end else said
        outcome = words(end.get("outcome")) or words(said.get("outcome")) or "unfinished"
    elif (folder / "samples.csv").is_file():
        data = _columns(*_table(folder / "samples.csv", problems))
        events = read_events(folder / "events.csv", problems)
        listed = said.get("trips")
        trips = tuple(_trip(t) for t in listed) if isinstance(listed, list) else ()
        end, outcome = {}, words(said.get("outcome")) or "unfinished"
    else:
        raise KilnctlError(f"{folder}: this is not the folder of a run: it has neither samples.csv nor a journal")
    oven, schedule = _oven(folder, said, problems), _schedule(folder, said, problems)
    model = said["model"] if isinstance(said.get("model"), dict) else None
    # Where there is a journal only it counts: run.json may be from before the run was continued.
    energy = number(end.get("energy_j") if segments(folder) else said.get("energy_j"))
    if not math.isfinite(energy):
        steps = np.diff(data["time_s"], prepend=data["time_s"][:1])
        energy = float(np.nansum(power_w(data, oven, model) * steps))
        problems.append("the run ended without a total of its energy; it was added up from the samples")
    load = built(Load, said["load"], f"{folder / 'run.json'}: its load is") if said.get("load") else None
    return RunRecord(
        folder=folder,
        oven=oven,
        schedule=schedule,
        outcome=outcome,
        trips=trips,
        events=events,
        data=data,
        seed=said["seed"] if type(said.get("seed")) is int else None,
        controller=words(said.get("controller")),
        energy_j=energy,
        model=model,
        load=load,
        started=words(said.get("started")),
        rig=words(said.get("rig")),
        version=words(said.get("kilnctl")),
        model_words=words(said.get("model_words")),
        teaches=words(said.get("teaches")),
        lesson=lesson_words(folder),
        about=said,
        problems=tuple(problems),
    )


def _said(folder: Path) -> dict:
    path = folder / "run.json"
    try:
        said = json.loads(path.read_bytes())
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be read: {error.strerror}") from None
    except json.JSONDecodeError as error:
        raise KilnctlError(f"{path}:{error.lineno}: not a run.json of ours: {error.msg}") from None
    except (ValueError, RecursionError) as error:
        raise KilnctlError(f"{path}: not a run.json of ours: {error}") from None
    if not isinstance(said, dict):
        raise KilnctlError(f"{path}:1: not a run.json of ours")
    return said


def lesson_words(folder: Path) -> str:
    """What the run in `folder` has taught; empty where nothing was learnt, or not yet."""
    try:
        return words(mapping(json.loads((folder / LESSON_FILE).read_bytes())).get("words"))
    except (OSError, ValueError, RecursionError):
        return ""


def _oven(folder: Path, said: dict, problems: list[str]) -> Oven | UnknownOven:
    told = mapping(said.get("oven"))
    path = folder / "oven.yaml"
    if path.is_file():
        _same(path, words(told.get("sha256")), problems)
        return _named(load_oven(path), told)
    if not words(told.get("name")):
        raise KilnctlError(f"{folder}: neither run.json nor oven.yaml says which oven this was")
    problems.append("the oven's description is not in the record")
    return UnknownOven(told["name"], words(told.get("file")), words(told.get("sha256")))


def _schedule(folder: Path, said: dict, problems: list[str]) -> Schedule:
    path = folder / "schedule.yaml"
    if path.is_file():
        told = mapping(said.get("schedule"))
        _same(path, words(told.get("sha256")), problems)
        return _named(load_schedule(path), told)
    steps = dict(mapping(said.get("steps")))
    if not steps:
        raise KilnctlError(f"{folder}: neither run.json nor schedule.yaml says what was run")
    where = f"{folder / 'run.json'}: its steps are"
    listed = steps.get("steps")
    steps["steps"] = tuple(built(Step, s, where) for s in listed) if isinstance(listed, list) else ()
    if not steps["steps"]:
        raise KilnctlError(f"{where} not ours (there is none)")
    for name, kind in (("load", Load), ("cure", Cure)):
        steps[name] = built(kind, steps[name], where) if steps.get(name) else None
    return built(Schedule, steps, where)


def _named(settings, told: dict):
    """Settings read from the record's copy, under the name and checksum of the file that was run."""
    return dataclasses.replace(
        settings, file=words(told.get("file")) or settings.file, sha256=words(told.get("sha256")) or settings.sha256
    )


def _same(path: Path, sha256: str | None, problems: list[str]) -> None:
    if sha256 and hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
        problems.append(f"{path.name} in the record is not the file that was run: its checksum differs")


def _table(path: Path, problems: list[str]) -> tuple[list[str], Iterable[_Row]]:
    """Column names, and (file, line, text) of every whole row. A torn end after a power cut is removed and reported."""
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise KilnctlError(f"{path}: larger than {LARGEST_BYTES // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be read: {error.strerror}") from None
    # Zeros are what a file system leaves where a block was never written.
    whole = data[: (data.find(b"\0") if b"\0" in data else len(data))]
    whole = whole[: whole.rfind(b"\n") + 1]
    if len(whole) < len(data):
        problems.append(f"{path.name}: the last line was cut off and is left out")
    # Not `splitlines`: it also breaks at characters that a reason may contain.
    lines = [line.removesuffix("\r") for line in whole.decode("utf-8-sig", "replace").split("\n")[:-1]]
    if not lines:
        raise KilnctlError(f"{path}:1: it is empty")
    return _cells(f"{path}:1", lines[0]), ((str(path), n, line) for n, line in enumerate(lines[1:], 2))


def _cells(place: str, line: str) -> list[str]:
    try:
        return next(csv.reader([line]), [])
    except csv.Error as error:
        raise KilnctlError(f"{place}: not a line of cells: {error}") from None


def _columns(names: list[str], rows: Iterable[_Row], lenient: list[str] | None = None) -> CompactColumns:
    """Columns as arrays: numbers, and `reason` as words. Raises KilnctlError naming the line; with a list in `lenient`
    a row that is no sample is left out and reported there. Columns of ours that are not there are filled with NaN."""
    rows = iter(rows)
    if "time_s" not in names or len(set(names)) != len(names):
        raise KilnctlError("the samples have no column time_s, or two columns of one name")
    data, before = CompactColumns(names), -math.inf
    while block := list(itertools.islice(rows, BLOCK)):
        values, reasons = _together(names, block, before)
        if values is None:
            values, reasons = _one_by_one(names, block, before, lenient)
        if len(values["time_s"]):
            before = float(values["time_s"][-1])
            data.add(values, reasons)
    return data


def _together(names: list[str], block: list[_Row], before: float):
    """(columns, reasons) of the rows, where each of them is a whole sample; (None, None) where one may not be."""
    width = len(names)
    at = names.index("reason") if "reason" in names else None
    if at not in (None, width - 1):
        return None, None
    rows = [text for _, _, text in block]
    if any('"' in row or row.count(",") != width - 1 for row in rows):
        return None, None
    reasons = None
    if at is not None:
        rows, _, reasons = zip(*(row.rpartition(",") for row in rows), strict=True)
        width -= 1
    table = _numbers(",".join(rows))
    if table is None or table.size != width * len(block):
        return None, None
    columns = table.reshape(len(block), width).T
    values = {n: column.copy() for n, column in zip(names, columns, strict=False)}
    time_s = values["time_s"]
    if not (time_s[0] > before and np.all(np.diff(time_s) > 0.0)):
        return None, None
    with np.errstate(invalid="ignore"):
        if np.any(np.abs(table) > LARGEST):
            return None, None
    return values, reasons


def _numbers(cells: str) -> np.ndarray | None:
    """The numbers between the commas, an empty cell as NaN; None where one is no number."""
    cells = f",{cells},"
    while ",," in cells:
        cells = cells.replace(",,", ",nan,")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return np.fromstring(cells[1:-1], float, sep=",")
        except (DeprecationWarning, ValueError):
            return None


def _one_by_one(names: list[str], block: list[_Row], before: float, lenient: list[str] | None):
    """As `_together`, row by row, so that an error names its line."""
    clock, reason = names.index("time_s"), names.index("reason") if "reason" in names else None
    good: list[list[float]] = []
    reasons: list[str] = []
    for file, line, text in block:
        place = f"{file}:{line}"
        cells = _cells(place, text)
        try:
            if len(cells) != len(names):
                raise ValueError(f"{len(cells)} cells where there are {len(names)} columns")
            values = [math.nan if i == reason or not cells[i] else float(cells[i]) for i in range(len(names))]
            if any(abs(v) > LARGEST for v in values):
                raise ValueError("a number beyond all measure")
            now = float(cells[clock])
            if not now > before:
                raise ValueError(f"time goes from {before:g} s to {now:g} s")
        except ValueError as error:
            if lenient is None:
                raise KilnctlError(f"{place}: not a sample: {error}") from None
            lenient.append(f"{place}: not a sample, left out: {error}")
            continue
        before = now
        good.append(values)
        reasons.append(cells[reason] if reason is not None else "")
    table = np.array(good, float).reshape(-1, len(names))
    return {n: table[:, i] for i, n in enumerate(names)}, reasons if reason is not None else None


def read_events(path: Path, problems: list[str]) -> tuple[Event, ...]:
    """The events of an events.csv; what is wrong with it goes to `problems`. Raises KilnctlError with file and line."""
    if not path.is_file():
        problems.append("events.csv is not there: the run ended before it was written")
        return ()
    _, rows = _table(path, problems)
    found = []
    for file, line, words_of in rows:
        place = f"{file}:{line}"
        cells = _cells(place, words_of)
        try:
            time_s, kind, text = cells
            found.append(Event(float(time_s), kind, text))
        except ValueError:
            raise KilnctlError(f"{place}: not an event (time_s, kind, text)") from None
    return tuple(found)


def _trip(told) -> Trip:
    told = mapping(told)
    said = {name: words(told.get(name)) for name in ("fault", "act", "seen", "check")}
    return Trip(time_s=number(told.get("time_s")), **said)


def _from_journal(folder: Path, problems: list[str]):
    """(columns, events, trips, what its start and end say) of a journal."""
    damage, told = Damage(), _Told(list(NAMES))
    rows = _rows(folder, damage, told)
    first = list(itertools.islice(rows, 1))  # the column names come before it
    data = _columns(told.names, itertools.chain(first, rows), told.problems)
    problems += [f"{place}; left out" for place in damage.bad]
    if damage.missing:
        problems.append(f"{damage.missing} records of the journal are missing")
    problems += told.problems
    return data, tuple(told.events), tuple(told.trips), told.end


@dataclass
class _Told:
    """What a journal holds besides its samples."""

    names: list[str]
    events: list[Event] = field(default_factory=list)
    trips: list[Trip] = field(default_factory=list)
    end: dict = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def _rows(folder: Path, damage: Damage, told: _Told) -> Iterator[_Row]:
    """Yields each sample; other entries go into `told`."""
    begun = False
    for sequence, text, file, line in lines_of(folder, damage):
        if text.startswith("sample "):
            begun = True
            yield f"{folder}/{file}", line, text[7:]
            continue
        entry = Entry(sequence, text, file, line)
        place = f"{folder / file}:{line}"
        if entry.kind == "columns":
            if begun and entry.body.split(",") != told.names:
                raise KilnctlError(f"{place}: the columns change in the middle of the run")
            told.names[:] = entry.body.split(",")
            continue
        try:
            body = json.loads(entry.body)
            if not isinstance(body, dict):
                raise ValueError("no mapping")
        except (ValueError, RecursionError) as error:
            raise KilnctlError(f"{place}: a record of kind '{entry.kind}' that is not ours ({error})") from None
        time_s = number(body.get("time_s"))
        if entry.kind == "trip":
            told.trips.append(_trip(body))
        elif entry.kind == "end":
            told.end.update(body)
        elif entry.kind == "start":
            told.end.setdefault("start", {k: v for k, v in body.items() if k not in ("time_s", "text")})
        elif entry.kind == "lost":
            told.problems.append(
                f"{place}: {body.get('records')} records were lost before this one (slow or full disk)"
            )
        text = str(body.get("text", "")) or (
            f"{body.get('fault')}: {body.get('seen')}" if entry.kind == "trip" else entry.kind
        )
        if entry.kind != "lost":
            told.events.append(Event(time_s, entry.kind, text))
