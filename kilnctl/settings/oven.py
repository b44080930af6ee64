"""The oven, described once. Everything else (sizing, virtual oven, model, limits) follows from this."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import ClassVar

from ..errors import KilnctlError
from ..output import METRIC
from ..safety.limits import HARD_CEILINGS, bounds
from ..thermal.elements import SHEATHED_TO_C, resistance_factor, usual_alloy
from ..thermal.material_data import find
from .construction import (
    POWER_W,
    Bridge,
    Chamber,
    Door,
    Elements,
    Face,
    Fan,
    Load,
    Port,
    UserMaterial,
    Vent,
    Wall,
    Walls,
)
from .differences import Virtual
from .document import Problem, parse_document, read_text
from .equipment import TYPE_HIGHEST_C, Meters, Rig, Sensor, Sensors, Service, Supply, Switching
from .fields import many, one, quantity, text
from .yaml_reader import Reader, read_root

#: How far above the software's trip the independent limiter, and the I/O board's own ceiling, may be set, K: it
#: protects the oven when the software has failed.
LIMITER_ABOVE_K = 60.0
#: No description may ask for more than this: the highest chamber temperature that the
#: thermocouples, materials and rules of this project are made for.
CEILING_C = 1320.0


@dataclass(frozen=True, kw_only=True)
class Limits:
    highest_c: float = quantity(
        "temperature", "highest chamber temperature that a schedule may ask for", low=40.0, high=CEILING_C
    )
    trip_c: float | None = quantity(
        "temperature",
        "chamber temperature at which the software cuts the heat (usually 15 K or 2 % above the highest)",
        default=None,
        low=45.0,
        high=CEILING_C + 40.0,
    )
    limiter_c: float | None = quantity(
        "temperature",
        "setting of the independent hardware limiter, for the record and for checks: above the trip, by 60 K at most",
        default=None,
        low=45.0,
        high=CEILING_C + 80.0,
    )
    part_highest_c: float | None = quantity(
        "temperature",
        "highest temperature of any part, where a sensor is on it (10 K above, the heat is cut)",
        default=None,
        low=40.0,
        high=CEILING_C,
    )
    longest_s: float = quantity("time", "longest run", default=48 * 3600.0, low=60.0, high=14 * 86400.0)
    most_energy_j: float | None = quantity("energy", "most energy one run may use", default=None, low=1e4, high=1e10)

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.trip_c is not None and not self.highest_c + 3.0 <= self.trip_c <= self.highest_c + 60.0:
            yield (
                "trip_c",
                f"the trip must lie 3 K to 60 K above the highest chamber temperature ({self.highest_c:g} °C)",
            )
        if self.limiter_c is not None and self.limiter_c <= self.trip_at_c:
            yield "limiter_c", f"the limiter would open below or at the software's own trip ({self.trip_at_c:g} °C)"
        elif self.limiter_c is not None and self.limiter_c > self.trip_at_c + LIMITER_ABOVE_K:
            yield (
                "limiter_c",
                (
                    f"the limiter must lie at most {LIMITER_ABOVE_K:g} K above the software's trip "
                    f"({self.trip_at_c:g} °C), or it protects too late"
                ),
            )

    @property
    def trip_at_c(self) -> float:
        """Where the software cuts the heat: as given, else 15 K or 2 % above the highest, whichever is more."""
        return self.trip_c if self.trip_c is not None else self.highest_c + max(15.0, 0.02 * self.highest_c)


@dataclass(frozen=True, kw_only=True)
class Safety:
    """Thresholds of the rules that a maker may want tighter, or looser for an oven that trips without cause. Their
    bounds are those of `kilnctl.safety.limits`, which no setting moves; what is left out keeps the default, and other
    thresholds are not configurable."""

    sensor_coast_s: float | None = quantity(
        "time",
        "how long, without heat, a bad reading of a sensor may take to heal (usually 10 s)",
        default=None,
        key="bad reading",
        **bounds("sensor_coast_s"),
    )
    disagreement_k: float | None = quantity(
        "difference",
        "how far control and limit sensor may be apart, or 6 % if that is more (usually 40 K)",
        default=None,
        key="sensors apart",
        **bounds("disagreement_k"),
    )
    disagreement_s: float | None = quantity(
        "time",
        "for how long they may be further apart (usually 60 s)",
        default=None,
        key="sensors apart for",
        **bounds("disagreement_s"),
    )
    no_rise_s: float | None = quantity(
        "time",
        "full-power time without a rise (usually 10 min, with a wet load 20 min)",
        default=None,
        key="no rise",
        **bounds("no_rise_s"),
    )
    unasked_rise_k: float | None = quantity(
        "difference",
        "rise without heat being asked for (usually 6 K)",
        default=None,
        key="unasked rise",
        **bounds("unasked_rise_k"),
    )
    stall_s: float | None = quantity(
        "time",
        "longest gap between two looks at the oven (usually 2.5 s, which is the most); a fifth longer than the tick at "
        "least",
        default=None,
        key="gap",
        **bounds("stall_s"),
    )
    airflow_s: float | None = quantity(
        "time",
        "how long the ventilation may fail before the chamber is purged again (usually 2 s)",
        default=None,
        key="airflow lost",
        **bounds("airflow_s"),
    )
    purge_s: float | None = quantity(
        "time",
        "how long the chamber is purged, if that is more than four changes of its air take",
        default=None,
        key="purge",
        **bounds("purge_s"),
    )


@dataclass(frozen=True, kw_only=True)
class Site:
    ambient_c: float = quantity(
        "temperature", "usual room temperature", default=20.0, low=-30.0, high=50.0, assume="a heated workshop"
    )


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """How far the description may be off; used for the ranges in the sizing and for studies."""

    conductivity: float = quantity("fraction", "of the insulation's conductivity", default=0.15, low=0.0, high=0.6)
    emissivity: float = quantity("fraction", "of emissivities", default=0.10, low=0.0, high=0.5)
    heat_capacity: float = quantity("fraction", "of heat capacities", default=0.10, low=0.0, high=0.5)


@dataclass(frozen=True, kw_only=True)
class Control:
    tick_s: float = quantity(
        "time", "time between two looks at the oven (heat is given for 2 s at most)", default=1.0, low=0.2, high=2.0
    )
    #: Keys of earlier versions, and what the reader says about them.
    GONE: ClassVar[dict[str, str]] = {
        "robustness": "it never changed how an oven is controlled and is no setting any more; delete this line "
        "('trim' sets how quickly the control answers)"
    }
    trim: float = quantity(
        "fraction",
        "how quickly the trim answers heat that nobody accounts for: 1 is usual, less is gentler on the "
        "elements, more follows a disturbance sooner; `kilnctl study --tuning` compares",
        default=1.0,
        low=0.1,
        high=10.0,
    )


@dataclass(frozen=True, kw_only=True)
class Oven:
    """A whole oven file. Its first key is `oven:`, the name."""

    name: str = text("name of the oven", key="oven", longest=80)
    about: str = text("what it is for", default="")
    chamber: Chamber = one(Chamber, "inside of the chamber")
    walls: Walls = one(Walls, "the walls")
    materials: tuple[UserMaterial, ...] = many(UserMaterial, "materials that the library lacks", default=(), most=50)
    bridges: tuple[Bridge, ...] = many(Bridge, "paths for heat past the insulation", default=(), most=50)
    door: Door = one(Door, "door seal and switch", default=Door())
    ports: tuple[Port, ...] = many(Port, "openings that radiate", default=(), most=20)
    fan: Fan | None = one(Fan, "circulation fan", default=None)
    vent: Vent | None = one(Vent, "ventilation", default=None)
    elements: Elements = one(Elements, "heating elements")
    supply: Supply = one(Supply, "electrical supply")
    switching: Switching = one(Switching, "relay and contactor", default=Switching())
    sensors: Sensors = one(Sensors, "thermocouples", default=Sensors())
    meters: Meters = one(Meters, "meters wired to the controller", default=Meters())
    shelf: Load | None = one(Load, "shelf, hearth or rack that stays in the oven", default=None)
    usual_load: Load | None = one(Load, "what is usually put in", default=None)
    limits: Limits = one(Limits, "limits")
    safety: Safety = one(Safety, "thresholds of the rules, within bounds that no file moves", default=Safety())
    site: Site = one(Site, "where it stands", default=Site())
    uncertainty: Uncertainty = one(Uncertainty, "how sure the figures are", default=Uncertainty())
    control: Control = one(Control, "control", default=Control())
    rig: Rig = one(Rig, "how the oven is wired to this computer", default=Rig())
    service: Service = one(Service, "what the running service asks of the operating system", default=Service())
    virtual: Virtual | None = one(
        Virtual, "how a virtual oven differs from this description; written by studies", default=None
    )
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)
    file: str = ""
    sha256: str = ""
    #: The file's unit of temperature: commands print in it.
    units: str = field(default=METRIC, compare=False)

    def __post_init__(self) -> None:
        if self.elements.alloy is None:
            object.__setattr__(self, "elements", replace(self.elements, alloy=usual_alloy(self.limits.highest_c)))
        if self.elements.power_w is None and self.elements.resistance_ohm is not None:
            hot_ohm = self.elements.resistance_ohm * resistance_factor(self.elements.alloy, self.limits.highest_c)
            object.__setattr__(self, "elements", replace(self.elements, power_w=self.supply.voltage_v**2 / hot_ohm))

    def problems(self) -> Iterator[tuple[str, str]]:
        ohm, watts = self.elements.resistance_ohm, self.elements.power_w
        if ohm is not None and not POWER_W[0] <= watts <= POWER_W[1]:
            yield (
                "elements",
                (
                    f"{ohm:g} ohm on {self.supply.voltage_v:g} V would be {watts / 1000:.3g} kW; "
                    "0.02 kW to 20 kW is accepted"
                ),
            )
        if ohm is not None and self.supply.connection in ("star", "delta"):
            yield "elements", "with three phases give the 'power' of all elements together, not a 'resistance'"
        if self.chamber.opening == "top" and self.walls.roof is not None:
            yield "walls", "an oven that opens at the top has its lid as 'door'; leave 'roof' out"
        yield from self._ceiling_problems()
        if self.safety.stall_s is not None and self.safety.stall_s < 1.2 * self.control.tick_s:
            yield "safety", f"'gap' must be a fifth longer than the tick at least ({1.2 * self.control.tick_s:g} s)"
        if self.limits.part_highest_c is not None and self.sensors.part is None:
            yield (
                "limits",
                "'part highest' is a limit that nobody can guard: there is no thermocouple on the part (sensors: part)",
            )
        if self.elements.limit_c is not None and self.elements.limit_c < self.limits.highest_c:
            yield "elements", "the elements may not get as hot as the chamber's highest temperature"
        for key in ("shelf", "usual_load"):
            body = getattr(self, key)
            crowded = body.crowds(self.chamber) if body is not None else None
            if crowded:
                yield key, crowded
        names = [m.name for m in self.materials]
        if len(set(names)) != len(names):
            yield "materials", "two materials have the same name"

    def _ceiling_problems(self) -> Iterator[tuple[str, str]]:
        """Where the board, or this computer's pins, cut the heat by themselves."""
        if self.rig.kind != "virtual" and self.limits.trip_at_c > HARD_CEILINGS["board_ceiling_c"]:
            yield (
                "rig",
                (
                    f"the trip ({self.limits.trip_at_c:g} °C) lies above {HARD_CEILINGS['board_ceiling_c']:g} °C, the "
                    "highest ceiling at which a board or this computer's pins cut the heat by themselves; lower the "
                    "oven's limits"
                ),
            )
        elif self.rig.ceiling_c is not None and self.rig.ceiling_c < self.limits.trip_at_c:
            yield "rig", f"the board's ceiling must not lie below the trip ({self.limits.trip_at_c:g} °C)"
        elif self.rig.ceiling_c is not None and self.rig.ceiling_c > self.limits.trip_at_c + LIMITER_ABOVE_K:
            yield (
                "rig",
                (
                    f"the board's ceiling must lie at most {LIMITER_ABOVE_K:g} K above the software's trip "
                    f"({self.limits.trip_at_c:g} °C), or it protects too late"
                ),
            )

    @property
    def faces(self) -> tuple[Face, ...]:
        """The kinds of face of the box, areas of the inside: sides, roof, floor and door (or lid)."""
        c, w = self.chamber, self.walls

        def face(name: str, wall: Wall | None, count: int, width: float, height: float, orientation: str) -> Face:
            return Face(
                name=name,
                wall=wall or w.sides,
                count=count,
                width_m=width,
                height_m=height,
                orientation=orientation,
            )

        floor = face("floor", w.floor, 1, c.width_m, c.depth_m, "down")
        # Unequal sides are gathered into one face group of equal total area and the chamber's height.
        if c.opening == "top":
            girth = 2.0 * (c.width_m + c.depth_m)
            sides = face("sides", w.sides, 4, girth / 4.0, c.height_m, "vertical")
            return sides, floor, face("door", w.door, 1, c.width_m, c.depth_m, "up")
        girth = c.width_m + 2.0 * c.depth_m
        sides = face("sides", w.sides, 3, girth / 3.0, c.height_m, "vertical")
        roof = face("roof", w.roof, 1, c.width_m, c.depth_m, "up")
        return sides, roof, floor, face("door", w.door, 1, c.width_m, c.height_m, "vertical")


def load_oven(path: str | Path) -> Oven:
    """Read an oven file. Raises `SettingsError` with every problem found, each with file:line:column."""
    source, data = read_text(path)
    node = parse_document(source, str(path))
    return read_root(
        Oven, node, str(path), {"file": str(path), "sha256": hashlib.sha256(data).hexdigest()}, _check_whole(node)
    )


def oven_from(source: str, name: str) -> Oven:
    """An oven from text that is in no file yet; `name` stands where the file would. Raises `SettingsError`."""
    node = parse_document(source, name)
    return read_root(
        Oven, node, name, {"file": "", "sha256": hashlib.sha256(source.encode()).hexdigest()}, _check_whole(node)
    )


def _check_whole(root):
    """Materials are checked by name, and sensors against the trip, here, where line and column are known; sizing checks
    layers against their limits."""

    def finish(oven: Oven, reader: Reader) -> None:

        own = {m.name for m in oven.materials}

        def walk(node, key: str = "") -> None:
            for key_node, value in node.pairs:
                if key_node.text in ("material", "like") and value.kind == "scalar" and value.text not in own:
                    try:
                        find(value.text)
                    except KilnctlError as error:
                        reader.problem(value, str(error))
                walk(value)
            for item in node.items:
                walk(item)

        walk(root)
        e = oven.elements
        if "elements.alloy" not in reader.places:
            usual = "up to" if e.alloy == "sheathed" else "above"
            reader.assumptions.append(
                f"elements.alloy: {e.alloy} (usual {usual} {SHEATHED_TO_C:g} °C; look what it is made of)"
            )
        if e.resistance_ohm is not None:
            reader.assumptions.append(
                f"elements.power: {e.power_w / 1000:.2f} kW at {oven.supply.voltage_v:g} V "
                f"({e.resistance_ohm:g} ohm measured cold, times "
                f"{oven.supply.voltage_v**2 / e.power_w / e.resistance_ohm:.2f} for the hot alloy)"
            )
        for which in ("control", "limit", "part"):
            sensor: Sensor | None = getattr(oven.sensors, which)
            if sensor is None:
                continue
            highest = TYPE_HIGHEST_C[sensor.type]
            if highest < oven.limits.trip_at_c:
                # (Type K, which is assumed where none is given, is good for every trip that is accepted.)
                reader.rules.append(
                    Problem(
                        reader.file,
                        *reader.places[f"sensors.{which}.type"],
                        f"sensors.{which}: a type {sensor.type} "
                        f"thermocouple is good to {highest:g} °C, and the trip is at {oven.limits.trip_at_c:g} °C",
                    )
                )

    return finish
