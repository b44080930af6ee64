"""The list of faults of a virtual oven. Each is injected at a time, for a duration, from Python or from a YAML file.

    faults:
      - {kind: relay shorted, at: 40 min, for: 10 min}
      - {kind: thermocouple drifting, sensor: limit, at: 1 h, size: 20 K}

A fault without a duration is permanent. `size` has the unit of its kind; most kinds have none.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..errors import KilnctlError
from ..settings.document import parse_document, read_text
from ..settings.fields import choice, integer, many, quantity, text
from ..settings.yaml_reader import read_root
from ..units import DIMENSIONS, UnitError, parse


@dataclass(frozen=True)
class Kind:
    """One kind of fault: what happens, where it acts, and what its size means (dimension, default in SI, lowest,
    highest)."""

    name: str
    doc: str
    dimension: str | None = None
    usual: float | None = None
    low: float = 0.0
    high: float = 0.0


_KINDS = (
    Kind("relay shorted", "the solid-state relay conducts all the time; with `group`, only that group's relay"),
    Kind(
        "relay half-shorted",
        "one of the relay's two thyristors conducts all the time: half power between the bursts",
    ),
    Kind("relay open", "the relay never conducts"),
    Kind("contactor welded", "the contactor stays closed and does not follow its coil"),
    Kind("contactor not pulling in", "the contactor stays open and does not follow its coil"),
    Kind("element broken", "all element groups are open"),
    Kind("element group broken", "one element group is open (`group`, the first by default)"),
    Kind(
        "supply lost",
        "no mains; the contactor drops out and comes back with the mains when its coil is driven",
    ),
    Kind("supply sag", "the voltage is low by this share of nominal", "fraction", 0.15, 0.0, 0.9),
    Kind("thermocouple open", "the wire is broken; the front end says so"),
    Kind(
        "thermocouple shorted",
        "the two wires touch at the terminals: the reading is the terminals' temperature",
    ),
    Kind("thermocouple short to ground", "a wire touches earth; the front end says so"),
    Kind("thermocouple reversed", "plus and minus are swapped: the reading falls when the oven heats"),
    Kind("thermocouple pulled out", "the junction hangs in the room"),
    Kind(
        "thermocouple drifting",
        "the reading moves off by so much per hour",
        "rate",
        -20.0 / 3600.0,
        -1.0,
        1.0,
    ),
    Kind(
        "thermocouple reads low",
        "the reading shows so much less of what the chamber is above the room (a part of the circuit bridged)",
        "fraction",
        0.3,
        0.0,
        0.9,
    ),
    Kind(
        "thermocouple half out",
        "the junction sits this share of its way from the chamber to the room",
        "fraction",
        0.5,
        0.0,
        1.0,
    ),
    Kind(
        "thermocouple creeping out",
        "the same, but it takes an hour to get there and stays",
        "fraction",
        0.5,
        0.0,
        1.0,
    ),
    Kind("calibration wrong", "the reading is corrected by so much", "difference", -40.0, -500.0, 500.0),
    Kind("control and part sensors swapped", "each shows what is at the other's place"),
    *(
        Kind(f"thermocouple of type {letter}", f"the wires are of type {letter}, not of the described one")
        for letter in "BEJKNRST"
    ),
    Kind("thermocouple frozen", "the front end repeats its last conversion, and its sample counter stands"),
    Kind("converter repeating", "the front end repeats its last conversion, and its sample counter runs on"),
    Kind(
        "thermocouple noisy",
        "extra noise with wild single samples; size is its standard deviation",
        "difference",
        8.0,
        0.0,
        500.0,
    ),
    Kind("front end dead", "the converter chip does not answer"),
    Kind(
        "cold junction wrong",
        "the terminals are taken for so much warmer than they are",
        "difference",
        12.0,
        -100.0,
        150.0,
    ),
    Kind("door open", "the door stands open by this share of its opening", "fraction", 1.0, 0.0, 1.0),
    Kind("fan stopped", "the circulation fan stands"),
    Kind("ventilation lost", "no air is drawn through; the flow switch opens"),
    Kind(
        "load against the sensor",
        "the load touches the sensor, which follows the load instead of the chamber",
    ),
    Kind("board lost", "the I/O board does not answer; its lease runs out and it drops the heat by itself"),
    Kind(
        "loop stalled",
        "the tick loop does not run: no reading, no decision; the last command stands until a lease ends it",
    ),
    Kind("clock jump", "the measured time jumps by so much, once", "time", 3600.0, -864000.0, 864000.0),
)

#: Name → kind; the one list of what can be injected.
FAULT_KINDS: dict[str, Kind] = {kind.name: kind for kind in _KINDS}
SENSORS = ("control", "limit", "part")


@dataclass(frozen=True)
class PlantFault:
    """One fault: from `start_s` for `duration_s` (None: permanent). Times in seconds of simulated time, size in SI
    units.

    `sensor` says which thermocouple a sensor fault hits; `group` which element group or relay (1, 2, …; None: all).
    Raises ValueError for an unknown kind, a size out of range, or a target that does not exist for any oven.
    """

    kind: str
    start_s: float = 0.0
    duration_s: float | None = None
    size: float | None = None
    sensor: str = "control"
    group: int | None = None

    def __post_init__(self) -> None:
        kind = FAULT_KINDS.get(self.kind)
        if kind is None:
            raise ValueError(f"kind '{self.kind}' is none of: {', '.join(FAULT_KINDS)}")
        if not (self.start_s >= 0.0 and self.start_s < float("inf")):
            raise ValueError(f"start_s must not be negative, and finite, not {self.start_s!r}")
        if self.duration_s is not None and not self.duration_s > 0.0:
            raise ValueError(f"duration_s must be above zero, not {self.duration_s!r}")
        if self.sensor not in SENSORS:
            raise ValueError(f"sensor '{self.sensor}' is none of: {', '.join(SENSORS)}")
        if self.size is None:
            object.__setattr__(self, "size", kind.usual)
        elif kind.dimension is None:
            raise ValueError(f"size has no meaning for '{self.kind}'")
        elif not kind.low <= self.size <= kind.high:
            raise ValueError(
                f"size of '{self.kind}' must lie from {kind.low:g} to {kind.high:g} {DIMENSIONS[kind.dimension].unit}"
            )
        if self.kind == "element group broken" and self.group is None:
            object.__setattr__(self, "group", 1)

    @property
    def extent(self) -> float:
        """The size of a kind that has one, in SI units. Raises ValueError for any other kind."""
        if self.size is None:
            raise ValueError(f"'{self.kind}' has no size")
        return self.size

    @property
    def end_s(self) -> float:
        return float("inf") if self.duration_s is None else self.start_s + self.duration_s

    def acts_at(self, time_s: float) -> bool:
        return self.start_s <= time_s < self.end_s


@dataclass(frozen=True, kw_only=True)
class _Entry:
    """A fault as written in a file."""

    kind: str = choice(tuple(FAULT_KINDS), "what breaks")
    at_s: float = quantity("time", "when it happens, counted from the start", default=0.0, low=0.0, high=14 * 86400.0)
    for_s: float | None = quantity(
        "time", "how long it lasts; for good when not given", default=None, low=1e-3, high=14 * 86400.0
    )
    size: str | None = text("how much, with the unit that this kind asks for", default=None)
    sensor: str = choice(SENSORS, "which thermocouple", default="control")
    group: int | None = integer("which element group or relay", low=1, high=6, default=None)

    def problems(self) -> Iterator[tuple[str, str]]:
        try:
            self.fault()
        except ValueError as error:
            yield "size", str(error)

    def fault(self) -> PlantFault:
        size = None
        if self.size is not None:
            dimension = FAULT_KINDS[self.kind].dimension
            if dimension is None:
                raise ValueError(f"size has no meaning for '{self.kind}'")
            try:
                size = parse(self.size, dimension)
            except UnitError as error:
                raise ValueError(f"size: {error}") from error
        return PlantFault(self.kind, self.at_s, self.for_s, size, self.sensor, self.group)


@dataclass(frozen=True, kw_only=True)
class _File:
    about: str = text("what is being tried", default="")
    faults: tuple[_Entry, ...] = many(_Entry, "the faults", fewest=1, most=200)
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)


def load_faults(path: str | Path) -> tuple[PlantFault, ...]:
    """Read a faults file. Raises `SettingsError` with every problem found, each with file:line:column."""
    source, _ = read_text(path)
    made: Any = read_root(_File, parse_document(source, str(path)), str(path), {})
    return tuple(entry.fault() for entry in made.faults)


def check_faults(faults: tuple[PlantFault, ...], groups: int) -> None:
    """Raises KilnctlError when a fault names an element group that the oven lacks."""
    for fault in faults:
        if fault.group is not None and not 1 <= fault.group <= groups:
            raise KilnctlError(
                f"fault '{fault.kind}': the oven has {groups} element group(s), there is no group {fault.group}"
            )
