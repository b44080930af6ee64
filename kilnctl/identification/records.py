"""What a fit reads: a `Log` of time, reading and power, from a run, a run's folder, or a CSV from elsewhere.

Bad records are refused here with a message that says where and what to do; a bad fit without a warning is worse than
none."""

import csv
import dataclasses
import json
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..errors import KilnctlError
from ..record.journal import segments
from ..record.parts import built, mapping
from ..record.run_data import RunData
from ..record.run_record import read_events, read_run
from ..settings.construction import Load
from ..settings.oven import Oven

#: Shortest record worth fitting, and least movement of the reading in it.
SHORTEST_S, LEAST_SPAN_K = 600.0, 5.0
#: A larger file is not read, bytes.
LARGEST_BYTES = 400_000_000
#: Least share of rows with a reading, and with a power; fewest readings; coarsest sampling, s.
LEAST_READINGS, LEAST_POWERS, FEWEST, COARSEST_S = 0.3, 0.7, 60, 120.0
#: Readings outside this range are no °C of an oven; a start this near to the room in another unit tells that unit, K.
COLDEST_C, HOTTEST_C, UNIT_K = -40.0, 1400.0, 4.0
#: Power above this share of the rated one is a wrong unit or rating; below this share it holds too little heat.
MOST_POWER, LEAST_POWER = 1.35, 0.02
#: A highest value that stands for so long is the end of the range, s: of fine readings, and of coarse ones, which
#: repeat themselves.
SATURATED_S, SATURATED_COARSE_S = 60.0, 600.0

#: What a column may hold: role → {unit: (factor, offset)} into s, °C, shares of full power, W, V.
_UNITS = {
    "time": {"s": (1.0, 0.0), "ms": (1e-3, 0.0), "min": (60.0, 0.0), "h": (3600.0, 0.0)},
    "chamber": {"c": (1.0, 0.0), "f": (5.0 / 9.0, -160.0 / 9.0), "k": (1.0, -273.15)},
    "room": {"c": (1.0, 0.0), "f": (5.0 / 9.0, -160.0 / 9.0), "k": (1.0, -273.15)},
    "fired": {"1": (1.0, 0.0), "%": (0.01, 0.0)},
    "commanded": {"1": (1.0, 0.0), "%": (0.01, 0.0)},
    "duty": {"1": (1.0, 0.0), "%": (0.01, 0.0)},
    "power": {"w": (1.0, 0.0), "kw": (1000.0, 0.0)},
    "supply": {"v": (1.0, 0.0)},
    "door": {"1": (1.0, 0.0)},
    "limit": {"c": (1.0, 0.0), "f": (5.0 / 9.0, -160.0 / 9.0), "k": (1.0, -273.15)},
}
#: The names of our own records, and what they stand for.
_OWN = {
    "time_s": "time",
    "chamber_c": "chamber",
    "ambient_c": "room",
    "fired": "fired",
    "commanded": "commanded",
    "duty": "duty",
    "power_w": "power",
    "supply_v": "supply",
    "door_open": "door",
    "limit_c": "limit",
}
#: Columns that give the power, best first.
_POWERS = ("power", "fired", "commanded", "duty")


@dataclass(frozen=True)
class Log:
    """One record. power_w[i] is the mean electric power from sample i − 1 to sample i; NaN readings are
    allowed, they are left out.

    ambient_c: one value a sample, or None where it was not measured; `doors`: (from, to) in s when it was open; `load`:
    what was in; limit_c: the second sensor in the chamber, None where there was none."""

    name: str
    time_s: np.ndarray
    reading_c: np.ndarray
    power_w: np.ndarray
    ambient_c: np.ndarray | None = None
    doors: tuple[tuple[float, float], ...] = ()
    load: Load | None = None
    notes: tuple[str, ...] = field(default_factory=tuple)
    limit_c: np.ndarray | None = None


#: A record of an oven: in memory, a run's folder, or a CSV file.
Source = RunData | Log | str | Path


def as_log(oven: Oven, source: Source, columns: dict[str, str] | None = None, load: Load | None = None) -> Log:
    """A checked `Log` from a Log, a `Run`, a run's folder, or a CSV file. `columns`: {role: "column" or
    "column:unit"} with the roles time, chamber, power or fired or duty, room, supply, door, limit. Raises
    KilnctlError for a record that cannot be used."""
    if isinstance(source, Log):
        log = source
    elif isinstance(source, RunData):
        log = _of_run(oven, source)
    else:
        path = Path(source)
        if path.is_dir():
            log = _of_folder(oven, path)
        else:
            log = _of_table(oven, str(source), *read_table(path), columns or {}, load)
    check(oven, log)
    return log


def _of_run(oven: Oven, run: RunData) -> Log:
    names = [n for n in _OWN if n in run.data]
    table = {n: np.asarray(run.data[n], float) for n in names}
    doors, opened = [], None
    for event in run.events:
        if event.kind == "door":
            if "opened" in event.text:
                opened = event.time_s
            elif opened is not None:
                doors.append((opened, event.time_s))
                opened = None
    name = run.schedule.name + ("" if run.seed is None else f" (seed {run.seed})")
    return _of_table(oven, name, table, {}, {}, run.load, tuple(doors))


def _of_folder(oven: Oven, folder: Path) -> Log:
    if segments(folder):
        # A run of the service, over or still going on: its journal is what counts.
        run = read_run(folder)
        if run.oven.name != oven.name:
            raise KilnctlError(f"{folder}: this record is of '{run.oven.name}', not of '{oven.name}'")
        return dataclasses.replace(_of_run(oven, run), name=folder.name)
    samples = folder / "samples.csv"
    table, problems = read_table(samples)
    load = None
    about = folder / "run.json"
    if about.is_file():
        try:
            said = mapping(json.loads(about.read_text(encoding="utf-8")))
        except (OSError, ValueError, RecursionError) as error:
            raise KilnctlError(f"{about}: it does not say what was in the oven as our records do ({error})") from None
        load = built(Load, said["load"], f"{about}: its load is") if said.get("load") else None
        name = mapping(said.get("oven")).get("name")
        if name and name != oven.name:
            raise KilnctlError(f"{folder}: this record is of '{name}', not of '{oven.name}'")
    doors, opened = [], None
    events = folder / "events.csv"
    if events.is_file():
        for event in read_events(events, []):
            if event.kind == "door":
                if "opened" in event.text:
                    opened = event.time_s
                elif opened is not None:
                    doors.append((opened, event.time_s))
                    opened = None
    return _of_table(oven, folder.name, table, problems, {}, load, tuple(doors))


def read_table(path: Path) -> tuple[dict[str, np.ndarray], dict[str, str]]:
    """Columns of a CSV as numbers; what is not a number is NaN, and the first such cell of each column is
    remembered."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise KilnctlError(f"{path}: larger than {LARGEST_BYTES // 1_000_000} MB; split it into runs")
        with open(path, newline="", encoding="utf-8-sig", errors="replace") as file:
            head = file.readline()
            file.seek(0)
            mark = max(",;\t", key=head.count)
            rows = csv.reader(file, delimiter=mark)
            names = [n.strip() for n in next(rows, [])]
            if not names or all(not n for n in names):
                raise KilnctlError(f"{path}: the file is empty")
            if len(set(names)) != len(names):
                raise KilnctlError(f"{path}: two columns have the same name")
            cells: list[list[float]] = [[] for _ in names]
            bad: dict[str, str] = {}
            for number, row in enumerate(_whole(rows, len(names), _torn(path)), 2):
                if not row:
                    continue
                for i, name in enumerate(names):
                    text = row[i].strip() if i < len(row) else ""
                    try:
                        value = float(text.replace(",", ".") if mark == ";" else text) if text else math.nan
                    except ValueError:
                        value = math.nan
                        bad.setdefault(name, f"line {number}: '{text[:30]}' is not a number")
                    cells[i].append(value)
    except FileNotFoundError:
        raise KilnctlError(
            f"{path}: there is no such file; give a run's folder, or a table of readings (CSV)"
        ) from None
    except (OSError, csv.Error) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise KilnctlError(f"{path}: cannot be read: {reason}") from None
    return {name: np.array(c) for name, c in zip(names, cells)}, bad


def _torn(path: Path) -> bool:
    """Whether the last line has no end: it was being written when the program or the computer went down."""
    with open(path, "rb") as file:
        file.seek(max(0, path.stat().st_size - 1))
        return file.read(1) not in (b"\n", b"\r", b"")


def _whole(rows, cells: int, torn: bool):
    """The rows; a torn last one, which has fewer cells than there are columns, is left out."""
    last = None
    for row in rows:
        if last is not None:
            yield last
        last = row
    if last is not None and not (torn and len(last) < cells):
        yield last


def _of_table(
    oven: Oven, name: str, table: dict, bad: dict, columns: dict[str, str], load: Load | None, doors=()
) -> Log:
    found: dict[str, np.ndarray] = {}
    where: dict[str, str] = {}
    for role, wanted in columns.items():
        if role not in _UNITS:
            raise KilnctlError(f"{name}: a column can be {', '.join(_UNITS)}; '{role}' is none of them")
        column, _, unit = wanted.partition(":")
        if column not in table:
            raise KilnctlError(f"{name}: there is no column '{column}'; it has {', '.join(table)}")
        unit = (unit or next(iter(_UNITS[role]))).strip().lower().replace("°", "")
        if unit not in _UNITS[role]:
            raise KilnctlError(f"{name}: '{unit}' is no unit for '{role}'; known are {', '.join(_UNITS[role])}")
        factor, offset = _UNITS[role][unit]
        found[role], where[role] = table[column] * factor + offset, column
    # Our records hold shares; the model takes them as shares of the rated power and computes itself what hotter or
    # colder elements give.
    ours = "commanded" in table and "power" not in found
    for column, role in _OWN.items():
        if column in table and role not in found and not (ours and role == "power"):
            found[role], where[role] = table[column], column
    missing = [role for role in ("time", "chamber") if role not in found]
    if missing or not any(r in found and np.isfinite(found[r]).any() for r in _POWERS):
        missing += [] if any(r in found for r in _POWERS) else ["power, fired or duty"]
        hint = "; ".join(bad[where[r]] for r in where if where[r] in bad)
        raise KilnctlError(
            f"{name}: no usable column for {' and for '.join(missing) or 'the power'}; it has "
            f"{', '.join(table) or 'no columns'}. Say "
            f"which is which, for example time=t:s, chamber=T1:C, power=P:W" + (f" ({hint})" if hint else "")
        )
    for role, column in where.items():
        if column in bad and np.isnan(found[role]).mean() > 0.5:
            raise KilnctlError(f"{name}: column '{column}', {bad[column]}")
    if "door" in found and not doors:
        doors = _spans(found["time"], np.nan_to_num(found["door"]) > 0.5)
    time_s, reading_c, power_w = found["time"], found["chamber"], _power(oven, name, found)
    return Log(name, time_s, reading_c, power_w, found.get("room"), doors, load, limit_c=found.get("limit"))


def _power(oven: Oven, name: str, found: dict) -> np.ndarray:
    """Power from each sample to the one before it, W: measured, else the share that was fired, else the one that was
    commanded, else the duty of the tick before."""
    full = np.full(len(found["time"]), oven.elements.power_w)
    if "supply" in found:
        volts = found["supply"] / oven.supply.voltage_v
        full = full * np.where(np.isfinite(volts) & (volts > 0.3), volts, 1.0) ** 2
    if "power" in found and np.isfinite(found["power"]).any():
        return found["power"]
    if "fired" in found and np.isfinite(found["fired"]).any():
        share = found["fired"]
    elif "commanded" in found and np.isfinite(found["commanded"]).any():
        share = found["commanded"]
    else:
        share = np.concatenate((found["duty"][:1] * 0.0, found["duty"][:-1]))
    if np.nanmax(share) > 1.05:
        raise KilnctlError(
            f"{name}: the share of full power goes up to {np.nanmax(share):g}; give it from 0 to 1, or say "
            "that it is in per cent (…:%)"
        )
    return share * full


def _spans(time_s: np.ndarray, flags: np.ndarray) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(int), [0]))))
    return tuple((float(time_s[a]), float(time_s[min(b, len(time_s) - 1)])) for a, b in zip(edges[::2], edges[1::2]))


def check(oven: Oven, log: Log) -> None:
    """Raise KilnctlError, naming the record and the row, for what cannot be fitted."""
    _check_times(log)
    good = np.isfinite(log.reading_c)
    _check_amount(log, good)
    _check_readings(oven, log, good)
    _check_power(oven, log)
    _saturated(log, good, float(np.max(log.reading_c[good])))


def _refused(log: Log, why: str) -> KilnctlError:
    return KilnctlError(f"{log.name}: {why}")


def _check_times(log: Log) -> None:
    t, y, p = log.time_s, log.reading_c, log.power_w
    if not len(t) == len(y) == len(p):
        raise _refused(log, f"{len(t)} times, {len(y)} readings and {len(p)} powers: they must be as many")
    if len(t) == 0:
        raise _refused(log, "the record is empty")
    if not np.isfinite(t).all():
        raise _refused(log, f"row {int(np.flatnonzero(~np.isfinite(t))[0]) + 1} has no time")
    back = np.flatnonzero(np.diff(t) <= 0.0)
    if len(back):
        raise _refused(
            log, f"time does not go forward at row {int(back[0]) + 2} ({t[back[0]]:g} s, then {t[back[0] + 1]:g} s)"
        )


def _check_amount(log: Log, good: np.ndarray) -> None:
    t = log.time_s
    if good.mean() < LEAST_READINGS:
        raise _refused(log, f"only {100 * good.mean():.0f} % of the readings are numbers")
    if t[-1] - t[0] < SHORTEST_S or good.sum() < FEWEST:
        raise _refused(
            log,
            f"{good.sum()} readings over {t[-1] - t[0]:.0f} s are too few to learn from; 10 minutes and 60 "
            "readings are the least",
        )
    if np.median(np.diff(t)) > COARSEST_S:
        raise _refused(
            log, f"one sample every {np.median(np.diff(t)):.0f} s is too coarse; record at least one a minute"
        )


def _check_readings(oven: Oven, log: Log, good: np.ndarray) -> None:
    y = log.reading_c[good]
    low, high = float(np.min(y)), float(np.max(y))
    first = float(np.median(y[:3]))
    room = oven.site.ambient_c if log.ambient_c is None else float(np.nanmedian(log.ambient_c))
    if high > HOTTEST_C or low < COLDEST_C or abs(first - (room + 273.15)) < UNIT_K < abs(first - room):
        raise _refused(
            log,
            f"readings from {low:.0f} to {high:.0f} are no °C of an oven; say the column's unit (…:F or "
            "…:K) if it is another",
        )
    if abs(first - (1.8 * room + 32.0)) < UNIT_K and high > oven.limits.trip_at_c + 20.0:
        raise _refused(
            log,
            f"it starts at {first:.0f} and goes to {high:.0f}, far above this oven's limit: that looks like °F (…:F)",
        )
    if high - low < LEAST_SPAN_K:
        raise _refused(
            log,
            f"the reading stays between {low:.1f} and {high:.1f} °C: nothing can be learnt from an oven "
            "that does not move",
        )


def _check_power(oven: Oven, log: Log) -> None:
    p, rated = log.power_w, oven.elements.power_w
    if not np.isfinite(p).any() or np.isfinite(p).mean() < LEAST_POWERS:
        raise _refused(log, "the power is missing in most rows")
    most = float(np.nanmax(p))
    if float(np.nanmin(p)) < -0.001 * rated:
        raise _refused(log, f"power of {np.nanmin(p):g} W: heat cannot be negative")
    if most <= 0.0:
        raise _refused(log, "no power was ever fired: a record without heating cannot tell how strong the losses are")
    if most > MOST_POWER * rated:
        raise _refused(
            log,
            f"power of {most:.0f} W in an oven of {rated:.0f} W: check the unit, and 'elements: power' in "
            "the description",
        )
    if most < LEAST_POWER * rated:
        raise _refused(
            log,
            f"power never exceeds {most:g} W in an oven of {rated:.0f} W: is it in kW (…:kW), or a share "
            "of full power? If it is right, the record holds too little heat to learn from",
        )


def _saturated(log: Log, good: np.ndarray, high: float) -> None:
    """A reading that stands at one and the same highest value, bit for bit, while heat goes on, is at the end
    of its range."""
    t, y = log.time_s[good], log.reading_c[good]
    steps = np.abs(np.diff(y))
    if np.mean(steps == 0.0) > 0.5:
        longest = max((b - a for a, b in _spans(t, y >= high - 1e-9)), default=0.0)
        wanted = SATURATED_COARSE_S
    else:
        longest, wanted = max((b - a for a, b in _spans(t, y >= high - 1e-9)), default=0.0), SATURATED_S
    if longest > wanted:
        raise KilnctlError(
            f"{log.name}: the reading stands at its highest value, {high:g} °C, for {longest:.0f} s: the "
            "sensor or its converter was at the "
            "end of its range. Leave that part out"
        )
