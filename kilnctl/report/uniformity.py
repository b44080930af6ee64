"""Two checks with loose thermocouples, from a run's record and a logger's CSV.

*Uniformity survey*: several loose thermocouples over a soak; how far from the target the working space is, and which
tolerance class that reaches. *System accuracy check*: one reference thermocouple next to the control sensor; how far
apart they are, and the calibration point that follows.

The tolerances of the classes are those of the aerospace industry's published pyrometry standard (SAE AMS 2750: classes
1 to 6 are ±3, 6, 8, 10, 14 and 28 °C; from memory). To say which of them a soak stayed within is a comparison and no
certificate: the standard asks for calibrated instruments, numbers of sensors by volume, and intervals that a record
cannot show.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import KilnctlError
from ..identification.records import read_table
from ..output import celsius, clock
from ..record.run_record import RunRecord
from ..run.summary import Soak, summarise
from .html import aside, document, facts, figures, notice, section, table

#: Class → tolerance either way, K.
CLASSES_K = {1: 3.0, 2: 6.0, 3: 8.0, 4: 10.0, 5: 14.0, 6: 28.0}
#: Fewest loose thermocouples, and samples of each in a soak, that make a survey.
FEWEST_SENSORS, FEWEST_SAMPLES = 3, 10
#: Corners and centre of the working space (common practice).
USUAL_SENSORS = 9
#: A reference may not drift against the control sensor by more than this within the soak to count as steady, K (one
#: standard deviation).
STEADY_K = 1.5


@dataclass(frozen=True)
class Loose:
    """Readings of loose thermocouples: `time_s` on the run's clock, one array of °C for each name."""

    time_s: np.ndarray
    readings_c: dict[str, np.ndarray]
    source: str


@dataclass(frozen=True)
class Place:
    """One loose thermocouple in one soak: lowest, mean and highest deviation from the target, K."""

    name: str
    low_k: float
    mean_k: float
    high_k: float
    samples: int


@dataclass(frozen=True)
class SoakSurvey:
    """One soak's uniformity. `reached` is the best class that every sensor stayed within from settling to the end, None
    for none; `before_k` is the highest any of them went above the target before that."""

    soak: Soak
    places: tuple[Place, ...]
    worst_k: float
    spread_k: float
    before_k: float
    reached: int | None


@dataclass(frozen=True)
class Accuracy:
    """The control sensor against a reference in one soak: mean difference (control − reference), its standard
    deviation, K, and what both showed, °C."""

    soak: Soak
    difference_k: float
    sd_k: float
    control_c: float
    reference_c: float
    samples: int
    steady: bool


def read_loose(path: str | Path, offset_s: float = 0.0, only: tuple[str, ...] = ()) -> Loose:
    """A logger's CSV: a column `time` (or `time_s`, `time_min`, `time_h`) since the run's start, and one for each
    thermocouple in °C (in °F when its name ends in `_f`). `offset_s` is added to its times; `only` takes these columns
    alone. Raises KilnctlError."""
    columns, bad = read_table(Path(path))
    times = {"time": 1.0, "time_s": 1.0, "time_min": 60.0, "time_h": 3600.0}
    clocks = [n for n in columns if n.lower() in times]
    if len(clocks) != 1:
        raise KilnctlError(
            f"{path}:1: there should be one column 'time_s', 'time_min' or 'time_h', counted from the run's start; "
            f"its columns are {', '.join(columns)}"
        )
    clock_name = clocks[0]
    time_s = columns.pop(clock_name) * times[clock_name.lower()] + offset_s
    for name in only:
        if name not in columns:
            raise KilnctlError(f"{path}:1: there is no column '{name}'; its columns are {', '.join(columns)}")
    chosen = {n: v for n, v in columns.items() if (not only or n in only) and np.isfinite(v).any()}
    told = [f"{name}, {words}" for name, words in bad.items() if name == clock_name or name in only]
    if told:
        raise KilnctlError(f"{path}: {'; '.join(told)}")
    if not len(time_s) or not chosen:
        raise KilnctlError(f"{path}: no column holds temperatures")
    if not np.all(np.diff(time_s) > 0.0):
        line = int(np.argmin(np.diff(time_s) > 0.0)) + 3
        raise KilnctlError(f"{path}:{line}: time does not go forward there")
    readings = {n: celsius(v) if n.lower().endswith("_f") else v for n, v in chosen.items()}
    wild = [n for n, v in readings.items() if np.nanmax(np.abs(v)) > 1800.0]
    if wild:
        raise KilnctlError(
            f"{path}: column '{wild[0]}' holds what no thermocouple shows; °C are expected (or °F in columns that end "
            "in _f)"
        )
    return Loose(time_s, readings, Path(path).name)


def survey(run: RunRecord, loose: Loose) -> tuple[SoakSurvey, ...]:
    """The uniformity of every soak that was reached. Raises KilnctlError for too few sensors, or times that do not
    meet."""
    if len(loose.readings_c) < FEWEST_SENSORS:
        raise KilnctlError(
            f"{loose.source}: {len(loose.readings_c)} thermocouples; a survey wants at least {FEWEST_SENSORS} (usual "
            f"are {USUAL_SENSORS}: the corners of the working space and its middle)"
        )
    out = []
    for soak in _settled(run, loose):
        inside = (loose.time_s >= soak.settled_s) & (loose.time_s <= soak.end_s)
        before = loose.time_s < soak.settled_s
        places, above = [], -math.inf
        for name, values in loose.readings_c.items():
            seen = values[inside] - soak.target_c
            seen = seen[np.isfinite(seen)]
            if len(seen) < FEWEST_SAMPLES:
                raise KilnctlError(
                    f"{loose.source}: '{name}' has {len(seen)} readings in soak '{soak.name}' "
                    f"({clock(soak.settled_s)} to {clock(soak.end_s)}); {FEWEST_SAMPLES} are needed"
                )
            places.append(Place(name, float(seen.min()), float(seen.mean()), float(seen.max()), len(seen)))
            early = values[before] - soak.target_c
            above = max(above, float(np.nanmax(early)) if np.isfinite(early).any() else -math.inf)
        worst = max(max(-p.low_k, p.high_k) for p in places)
        together_c = np.array([v[inside] for v in loose.readings_c.values()])
        with np.errstate(invalid="ignore"):
            spread = float(np.nanmax(np.nanmax(together_c, axis=0) - np.nanmin(together_c, axis=0)))
        reached = next((number for number, k in CLASSES_K.items() if worst <= k and above <= k), None)
        out.append(SoakSurvey(soak, tuple(places), worst, spread, above, reached))
    return tuple(out)


def accuracy(run: RunRecord, loose: Loose) -> tuple[Accuracy, ...]:
    """The control sensor against one reference in every soak that was reached. Raises KilnctlError."""
    if len(loose.readings_c) != 1:
        raise KilnctlError(
            f"{loose.source}: {len(loose.readings_c)} columns of temperatures ({', '.join(loose.readings_c)}); say "
            "which is the reference (--reference NAME)"
        )
    ((name, reference),) = loose.readings_c.items()
    out = []
    for soak in _settled(run, loose):
        inside = (loose.time_s >= soak.settled_s) & (loose.time_s <= soak.end_s) & np.isfinite(reference)
        if np.sum(inside) < FEWEST_SAMPLES:
            raise KilnctlError(
                f"{loose.source}: '{name}' has {int(np.sum(inside))} readings in soak '{soak.name}'; {FEWEST_SAMPLES} "
                "are needed"
            )
        good = np.isfinite(run.chamber_c)
        control = np.interp(loose.time_s[inside], run.time_s[good], run.chamber_c[good])
        apart = control - reference[inside]
        sd = float(np.std(apart, ddof=1))
        out.append(
            Accuracy(
                soak,
                float(np.mean(apart)),
                sd,
                float(np.mean(control)),
                float(np.mean(reference[inside])),
                len(apart),
                sd <= STEADY_K,
            )
        )
    return tuple(out)


def _settled(run: RunRecord, loose: Loose) -> list[Soak]:
    soaks = [s for s in summarise(run).soaks if math.isfinite(s.settled_s)]
    if not soaks:
        raise KilnctlError(f"{run.folder}: no soak of this run settled; there is nothing to survey")
    met = [s for s in soaks if loose.time_s[0] <= s.end_s and loose.time_s[-1] >= s.settled_s]
    if not met:
        raise KilnctlError(
            f"{loose.source}: its times, {clock(float(loose.time_s[0]))} to {clock(float(loose.time_s[-1]))}, meet no "
            f"soak of the run ({', '.join(f'{clock(s.settled_s)} to {clock(s.end_s)}' for s in soaks)}); shift them "
            "with --offset"
        )
    return met


def survey_text(found: tuple[SoakSurvey, ...]) -> str:
    """What the terminal shows: the verdict of the worst soak first."""
    worst = max(found, key=lambda s: s.worst_k)
    where = f", furthest in '{worst.soak.name}'" if len(found) > 1 else ""
    lines = [f"{_class_words(worst)}{where}; below, each place against the soak's target:", ""]
    for s in found:
        lines.append(
            f"{s.soak.name}: {s.soak.target_c:.0f} °C, from {clock(s.soak.settled_s)} to {clock(s.soak.end_s)}"
        )
        lines += [f"  {p.name:20s} {p.low_k:+6.1f} … {p.high_k:+6.1f} K, mean {p.mean_k:+6.1f} K" for p in s.places]
        lines.append(f"  spread {s.spread_k:.1f} K, furthest from the target {s.worst_k:.1f} K: {_class_words(s)}")
    return "\n".join(lines)


def _class_words(s: SoakSurvey) -> str:
    if s.reached is None:
        return f"outside every class (the widest is ±{CLASSES_K[6]:g} K)"
    return f"within class {s.reached} (±{CLASSES_K[s.reached]:g} K)"


def accuracy_text(found: tuple[Accuracy, ...]) -> str:
    lines = []
    for a in found:
        lines.append(
            f"{a.soak.name}: control {a.control_c:.1f} °C, reference {a.reference_c:.1f} °C, apart "
            f"{a.difference_k:+.2f} K (±{a.sd_k:.2f} K over {a.samples} "
            f"readings){'' if a.steady else '; NOT STEADY, do not correct by it'}"
        )
    steady = [a for a in found if a.steady]
    if far := [a for a in steady if abs(a.difference_k) > CLASSES_K[6]]:
        # No sensor in order is so far off: such a line in a file would hide a wrong type, place or reference.
        apart = f"{abs(far[0].difference_k):.0f} K apart is more than any calibration corrects"
        causes = "types of thermocouple, place, polarity, clock of the logger"
        lines += ["", f"{apart}: look for the cause ({causes}), and measure again"]
    elif steady:
        lines += ["", "as calibration in the oven's file, if the reference is a calibrated one:", "    calibration:"]
        lines += [
            f"      - {{reads: {a.control_c:.1f} °C, is: {a.reference_c:.1f} °C}}"
            for a in sorted(steady, key=lambda a: a.control_c)
        ]
    return "\n".join(lines)


_CARE = (
    "Loose thermocouples in a hot oven: lead them so that the door closes on them without cutting the insulation, "
    "keep metal sheaths away from live elements, and switch the supply off while placing them. "
)


def survey_page(run: RunRecord, loose: Loose, found: tuple[SoakSurvey, ...]) -> str:
    """The survey as a page of its own."""
    parts = [
        figures(
            [
                ("soaks", str(len(found))),
                ("thermocouples", str(len(loose.readings_c))),
                ("widest spread", f"{max(s.spread_k for s in found):.1f} K"),
            ]
        )
    ]
    for s in found:
        rows = [
            (p.name, f"{p.low_k:+.1f} K", f"{p.mean_k:+.1f} K", f"{p.high_k:+.1f} K", str(p.samples)) for p in s.places
        ]
        when = f"From {clock(s.soak.settled_s)} to {clock(s.soak.end_s)}"
        body = f"<p>{when}: {_class_words(s)}, spread {s.spread_k:.1f} K.</p>"
        body += table(("thermocouple", "lowest", "mean", "highest", "readings"), rows)
        if s.before_k > s.worst_k:
            body += notice(f"Before the soak had settled one of them was {s.before_k:.1f} K above the target.")
        parts.append(section(f"{s.soak.name}, {s.soak.target_c:.0f} °C", body))
    if len(loose.readings_c) < USUAL_SENSORS:
        parts.append(notice(f"{len(loose.readings_c)} thermocouples; usual are {USUAL_SENSORS}."))
    parts.append(
        section(
            "Classes",
            table(("class", "tolerance"), [(str(n), f"± {k:g} K") for n, k in CLASSES_K.items()])
            + aside(
                "Tolerances of the published pyrometry standard SAE AMS 2750, from memory. Staying within one is no "
                "certificate: the standard also asks for calibrated instruments, for sensors by the volume, and for "
                "intervals."
            ),
        )
    )
    parts.append(_origin(run, loose))
    return document(f"Uniformity survey · {run.oven.name}", "".join(parts), run.schedule.name)


def accuracy_page(run: RunRecord, loose: Loose, found: tuple[Accuracy, ...]) -> str:
    """The system accuracy check as a page of its own."""
    rows = [
        (
            a.soak.name,
            f"{a.control_c:.1f} °C",
            f"{a.reference_c:.1f} °C",
            f"{a.difference_k:+.2f} K",
            f"± {a.sd_k:.2f} K",
            "yes" if a.steady else "no",
        )
        for a in found
    ]
    body = table(("soak", "control", "reference", "control − reference", "standard deviation", "steady"), rows)
    body += aside(
        "The difference is of the whole chain: thermocouple, cable, terminals and converter, at the place where both "
        "tips are. Tips further apart than a few millimetres measure the oven, not the sensor."
    )
    return document(
        f"System accuracy check · {run.oven.name}",
        section("Control sensor and reference", body) + _origin(run, loose),
        run.schedule.name,
    )


def _origin(run: RunRecord, loose: Loose) -> str:
    pairs = [("run", f"{run.schedule.name}, {run.outcome}"), ("record", run.folder.name), ("readings", loose.source)]
    pairs += [("oven file", f"sha256 {run.oven.sha256}")] if run.oven.sha256 else []
    return section("Where it comes from", facts(pairs)) + aside(_CARE)
