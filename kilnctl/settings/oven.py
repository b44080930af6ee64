"""The oven, described once. Everything else (sizing, virtual oven, model, limits) follows from this."""

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Iterator

from .document import Problem, parse_document, read_text
from .fields import choice, flag, integer, many, numbers, one, points, positive, quantity, text
from .reader import Reader, read_root
from .virtual import Virtual

#: Up to where a thermocouple's type is to be trusted, °C: for T, J and E the upper end of tolerance class 2, for the others the end of the
#: reference function (IEC 60584-1, from memory). Sheath and wire may bear less: their maker says.
TYPE_HIGHEST_C = {"T": 350.0, "J": 750.0, "E": 900.0, "N": 1300.0, "K": 1372.0, "R": 1768.0, "S": 1768.0, "B": 1820.0}
#: How far above the software's trip the independent limiter, and the I/O board's own ceiling, may be set, K: it is to save the oven when the software has failed.
LIMITER_ABOVE_K = 60.0
#: No description may ask for more than this, whatever it says: the highest chamber temperature that the
#: thermocouples, materials and rules of this project are made for.
CEILING_C = 1320.0


@dataclass(frozen=True, kw_only=True)
class UserMaterial:
    """A material of the user's own, as its data sheet prints it."""

    name: str = text("the name that the layers use")
    conductivity: tuple = points("temperature", "conductivity", "conductivity, or several against mean temperature",
                                 low=1e-4, high=500.0, default=())  # fmt: skip
    conductivity_polynomial_w_per_mk: tuple[float, ...] = numbers(
        "coefficients a0, a1, … of k = a0 + a1·T + … in W/(m·K) with T in °C", default=(), key="conductivity polynomial")
    density_kg_per_m3: float = positive("density", "density", 20000.0)
    heat_capacity: tuple = points("temperature", "heat capacity", "specific heat, or several against temperature",
                                  low=50.0, high=10000.0, default=((math.nan, 900.0),))  # fmt: skip
    limit_c: float = quantity("temperature", "highest service temperature", high=2000.0)
    uncertainty: float = quantity("fraction", "relative uncertainty of the conductivity", default=0.15, low=0.0, high=0.6)
    source: str = text("where the figures come from", default="the user's own figures")

    def problems(self) -> Iterator[tuple[str, str]]:
        if bool(self.conductivity) == bool(self.conductivity_polynomial_w_per_mk):
            yield "name", f"material '{self.name}' wants either 'conductivity' or 'conductivity polynomial'"


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of a wall. Layers are listed from the hot face outward."""

    material: str = text("a material of the library (`kilnctl materials`) or one of the file's own")
    thickness_m: float = quantity("length", "thickness", low=1e-5, high=2.0)
    insulance_m2k_per_w: float | None = quantity(
        "insulance", "thermal resistance of the whole layer, when the seller prints an R-value instead of a conductivity",
        default=None, low=1e-4, high=100.0, key="resistance")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Wall:
    layers: tuple[Layer, ...] = many(Layer, "layers from the hot face outward", fewest=1, most=12)
    outer_emissivity: float = quantity("fraction", "emissivity of the outer face", default=0.9, low=0.02, high=1.0)
    contact_insulance_m2k_per_w: float = quantity(
        "insulance", "contact resistance at each joint between layers", default=0.0, low=0.0, high=1.0, key="contact resistance")


@dataclass(frozen=True, kw_only=True)
class Walls:
    """`sides` stands in for every wall that is not given. `door` is the face that opens (the lid when the oven opens at the top)."""

    sides: Wall = one(Wall, "the side walls", bare="layers")
    roof: Wall | None = one(Wall, "the roof (an oven that opens at the top has a door there instead)", default=None, bare="layers")
    floor: Wall | None = one(Wall, "the floor", default=None, bare="layers")
    door: Wall | None = one(Wall, "the door or lid", default=None, bare="layers")


@dataclass(frozen=True, kw_only=True)
class Chamber:
    width_m: float = quantity("length", "inside width", low=0.02, high=5.0)
    depth_m: float = quantity("length", "inside depth, front to back", low=0.02, high=5.0)
    height_m: float = quantity("length", "inside height", low=0.02, high=5.0)
    opening: str = choice(("front", "top"), "the face that opens", default="front", assume="most ovens have a front door")
    emissivity: float = quantity("fraction", "emissivity of the inside faces", default=0.85, low=0.05, high=1.0,
                                 assume="brick, fibre and oxidised steel lie between 0.7 and 0.95")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Face:
    """One kind of face of the box (derived; not in the file). `count` equal faces of width_m × height_m each."""

    name: str
    wall: Wall
    count: int
    width_m: float
    height_m: float
    orientation: str  # "vertical", "up" (a roof, heat leaves upward) or "down" (a floor)

    @property
    def inner_area_m2(self) -> float:
        return self.count * self.width_m * self.height_m


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """A path for heat past the insulation: either its conductance, or a bar's material, area and length."""

    name: str = text("what it is: door frame, bolts, element terminals")
    conductance_w_per_k: float | None = quantity("conductance", "heat flow per kelvin", default=None, low=0.0, high=50.0)
    material: str | None = text("the bar's material", default=None)
    area_m2: float | None = positive("area", "cross-section of one bar", 1.0, default=None)
    length_m: float | None = positive("length", "length of the bar from hot to cold", 5.0, default=None)
    count: int = integer("how many", low=1, high=1000, default=1)

    def problems(self) -> Iterator[tuple[str, str]]:
        bar = (self.material, self.area_m2, self.length_m)
        if (self.conductance_w_per_k is None) == (None in bar):
            yield "name", "a bridge wants either 'conductance', or 'material', 'area' and 'length' together"


@dataclass(frozen=True, kw_only=True)
class Door:
    """How well the opening closes, and whether a switch tells that it is open."""

    gap_m: float = quantity("length", "mean width of the leak all round the door", default=0.0002, low=0.0, high=0.02,
                            assume="a fair seal; 1 mm and more is a visible gap")  # fmt: skip
    switch: bool = flag("a door switch is wired to the controller as well as into the contactor's coil", default=False)


@dataclass(frozen=True, kw_only=True)
class Port:
    """A viewing port or another opening that radiates to the room."""

    name: str = text("what it is", default="viewing port")
    diameter_m: float = quantity("length", "clear diameter", low=0.001, high=0.3)
    closed: bool = flag("it has a plug or a window in normal use", default=True)


@dataclass(frozen=True, kw_only=True)
class Fan:
    air_speed_m_per_s: float = quantity("speed", "air speed over the load and the walls", low=0.05, high=20.0, key="air speed")
    power_w: float = quantity("power", "fan power that ends up as heat in the chamber", default=0.0, low=0.0, high=2000.0)


@dataclass(frozen=True, kw_only=True)
class Vent:
    flow_m3_per_s: float = quantity("volume flow", "air drawn through the chamber, at room conditions", low=0.0, high=0.5, key="flow")
    proved: bool = flag("a flow or pressure switch proves the ventilation to the controller", default=False)


@dataclass(frozen=True, kw_only=True)
class Elements:
    power_w: float = quantity("power", "power of all elements together at the supply's nominal voltage", low=20.0, high=20000.0)
    groups: int = integer("groups that can fail or be switched apart", low=1, high=6, default=1)
    alloy: str = choice(("iron-chromium-aluminium", "nickel-chromium", "sheathed"), "what the element is made of",
                        default="sheathed", assume="finned or tubular sheathed elements are usual below 400 °C")  # fmt: skip
    wire_diameter_m: float | None = quantity("length", "diameter of the wire, or of the sheath", default=None, low=1e-4, high=0.03)
    wire_length_m: float | None = quantity("length", "total length of wire or sheath", default=None, low=0.05, high=500.0)
    mass_kg: float | None = positive("mass", "mass of the elements with what they are wound on", 100.0, default=None)
    surface_m2: float | None = positive("area", "radiating surface of all elements", 10.0, default=None)
    emissivity: float = quantity("fraction", "emissivity of the element", default=0.8, low=0.05, high=1.0,
                                 assume="oxidised heating alloys lie between 0.7 and 0.9")  # fmt: skip
    limit_c: float | None = quantity("temperature", "highest temperature of the element", default=None, low=100.0, high=1800.0)


@dataclass(frozen=True, kw_only=True)
class Supply:
    voltage_v: float = quantity("voltage", "nominal supply voltage", low=12.0, high=480.0)
    frequency_hz: float = quantity("frequency", "supply frequency", low=49.0, high=61.0)
    tolerance: float = quantity("fraction", "how far the voltage may lie from nominal", default=0.10, low=0.0, high=0.3,
                                assume="public supplies are usually held within 10 %")  # fmt: skip
    breaker_a: float | None = quantity("current", "rating of the breaker", default=None, low=1.0, high=125.0)
    cable_area_m2: float | None = quantity("area", "cross-section of one conductor", default=None, low=2e-7, high=1e-4)
    cable_length_m: float | None = quantity("length", "one-way length of the cable", default=None, low=0.1, high=500.0)
    resistance_ohm: float = quantity("electrical resistance", "resistance of the supply up to the oven", default=0.4, low=0.0,
                                     high=5.0, assume="reference impedance of IEC 60725, line and neutral")  # fmt: skip
    reactance_ohm: float = quantity("electrical resistance", "reactance of the supply up to the oven", default=0.25, low=0.0,
                                    high=5.0, assume="reference impedance of IEC 60725, line and neutral")  # fmt: skip

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.frequency_hz not in (50.0, 60.0):
            yield "frequency_hz", f"the supply frequency is 50 Hz or 60 Hz, not {self.frequency_hz:g} Hz"


@dataclass(frozen=True, kw_only=True)
class Switching:
    pattern: str = choice(("fine", "balanced", "quiet lights"), "how short the bursts of mains cycles may be: finer is kinder to the "
                          "elements, longer is kinder to the lights", default="balanced")  # fmt: skip
    minimum_on_s: float | None = quantity("time", "shortest time on or off, instead of the pattern's own", default=None, low=0.0, high=120.0)
    relays: int = integer("relays that are fired one after another, each with an equal share of the power", low=1, high=6, default=1)
    relay_current_a: float | None = quantity("current", "rated current of the solid-state relay", default=None, low=1.0, high=200.0)
    heat_sink_k_per_w: float | None = positive("thermal resistance", "relay's heat sink to air", 50.0, default=None)
    contactor_delay_s: float = quantity("time", "time the contactor needs to pull in or drop out", default=0.05, low=0.0, high=1.0)


@dataclass(frozen=True, kw_only=True)
class CalibrationPoint:
    reads_c: float = quantity("temperature", "what the sensor shows", low=-50.0, high=1800.0)
    true_c: float = quantity("temperature", "what a reference shows beside it", low=-50.0, high=1800.0, key="is")


@dataclass(frozen=True, kw_only=True)
class Sensor:
    type: str = choice(("K", "N", "S", "R", "J", "T", "B", "E"), "thermocouple type letter", default="K")
    lag_s: float = quantity("time", "time constant of the junction in its sheath, in still air", default=12.0, low=0.0, high=600.0,
                            assume="a 3 mm sheathed junction in still air; bare wire is faster")  # fmt: skip
    dead_time_s: float = quantity("time", "pure delay before the junction notices", default=2.0, low=0.0, high=60.0,
                                  assume="conversion and filtering, and the air's way to the sensor")  # fmt: skip
    noise_k: float = quantity("difference", "standard deviation of one reading", default=0.15, low=0.0, high=10.0,
                              assume="a quiet front end with a median filter")  # fmt: skip
    front_end: str = choice(("max31855", "max31856"), "the converter chip", default="max31856")
    calibration: tuple[CalibrationPoint, ...] = many(CalibrationPoint, "comparison against a reference, rising", default=(), most=20)
    file: str | None = text("certificate or note on this sensor", default=None)

    def problems(self) -> Iterator[tuple[str, str]]:
        pairs = list(zip(self.calibration, self.calibration[1:]))
        if any(a.reads_c >= b.reads_c or a.true_c >= b.true_c for a, b in pairs):
            yield "calibration", "calibration points must rise, in what the sensor reads and in what is true"
        if any(abs(p.reads_c - p.true_c) > 30.0 for p in self.calibration):
            yield "calibration", "a sensor more than 30 K wrong is to be replaced, not corrected"


@dataclass(frozen=True, kw_only=True)
class Sensors:
    control: Sensor = one(Sensor, "the sensor that the control follows", default=Sensor())
    limit: Sensor | None = one(Sensor, "a second sensor, placed apart, for the software's own limit", default=None)
    part: Sensor | None = one(Sensor, "a thermocouple on the part", default=None)


@dataclass(frozen=True, kw_only=True)
class Meters:
    """What the wiring tells the controller besides temperatures."""

    supply: bool = flag("the supply voltage is measured", default=False)
    current: bool = flag("the elements' current is measured", default=False)
    contactor: bool = flag("an auxiliary contact, or the voltage behind it, tells whether the contactor is closed", default=True)


@dataclass(frozen=True, kw_only=True)
class Load:
    """What is put in. Mass, material or heat capacity, and the surface through which it takes heat."""

    name: str = text("what it is", default="load")
    mass_kg: float = quantity("mass", "mass", low=0.0, high=2000.0)
    material: str = text("a material of the library, for its heat capacity and conductivity", default="steel")
    area_m2: float = positive("area", "surface that sees the chamber", 50.0)
    emissivity: float = quantity("fraction", "emissivity of the surface", default=0.8, low=0.02, high=1.0)
    thickness_m: float | None = quantity("length", "thickness of its thickest section", default=None, low=1e-4, high=1.0)
    moisture_kg: float = quantity("mass", "water to be dried out", default=0.0, low=0.0, high=200.0)


@dataclass(frozen=True, kw_only=True)
class Limits:
    highest_c: float = quantity("temperature", "highest chamber temperature that a schedule may ask for", low=40.0, high=CEILING_C)
    trip_c: float | None = quantity("temperature", "chamber temperature at which the software cuts the heat "
                                    "(usually 15 K or 2 % above the highest)", default=None, low=45.0, high=CEILING_C + 40.0)  # fmt: skip
    limiter_c: float | None = quantity("temperature", "setting of the independent hardware limiter, for the record and for checks: above the trip, by 60 K at most",
                                       default=None, low=45.0, high=CEILING_C + 80.0)  # fmt: skip
    part_highest_c: float | None = quantity("temperature", "highest temperature of any part, where a sensor is on it (10 K above, the heat is cut)",
                                            default=None, low=40.0, high=CEILING_C)  # fmt: skip
    longest_s: float = quantity("time", "longest run", default=48 * 3600.0, low=60.0, high=14 * 86400.0)
    most_energy_j: float | None = quantity("energy", "most energy one run may use", default=None, low=1e4, high=1e10)

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.trip_c is not None and not self.highest_c + 3.0 <= self.trip_c <= self.highest_c + 60.0:
            yield "trip_c", f"the trip must lie 3 K to 60 K above the highest chamber temperature ({self.highest_c:g} °C)"
        if self.limiter_c is not None and self.limiter_c <= self.trip_at_c:
            yield "limiter_c", f"the limiter would open below or at the software's own trip ({self.trip_at_c:g} °C)"
        elif self.limiter_c is not None and self.limiter_c > self.trip_at_c + LIMITER_ABOVE_K:
            yield "limiter_c", f"the limiter must lie at most {LIMITER_ABOVE_K:g} K above the software's trip ({self.trip_at_c:g} °C), or it protects too late"

    @property
    def trip_at_c(self) -> float:
        """Where the software cuts the heat: as given, else 15 K or 2 % above the highest, whichever is more."""
        return self.trip_c if self.trip_c is not None else self.highest_c + max(15.0, 0.02 * self.highest_c)


@dataclass(frozen=True, kw_only=True)
class Safety:
    """Thresholds of the rules that a maker may want tighter, or looser for an oven that trips without cause. The bounds are those of `kilnctl.safety.policy`
    (HARD_CEILINGS, HARD_FLOORS), which hold whatever is written here; what is left out keeps the default, and all other thresholds are nobody's to set."""

    sensor_coast_s: float | None = quantity("time", "how long, without heat, a bad reading of a sensor may take to heal (usually 10 s)", default=None, low=1.0, high=10.0,
                                            key="bad reading")  # fmt: skip
    disagreement_k: float | None = quantity("difference", "how far control and limit sensor may be apart, or 6 % if that is more (usually 40 K)", default=None, low=5.0,
                                            high=60.0, key="sensors apart")  # fmt: skip
    disagreement_s: float | None = quantity("time", "for how long they may be further apart (usually 60 s)", default=None, low=10.0, high=180.0, key="sensors apart for")
    no_rise_s: float | None = quantity("time", "full-power time without a rise (usually 10 min, with a wet load 20 min)", default=None, low=60.0, high=1200.0, key="no rise")
    unasked_rise_k: float | None = quantity("difference", "rise that nobody asked for (usually 6 K)", default=None, low=3.0, high=15.0, key="unasked rise")
    stall_s: float | None = quantity("time", "longest gap between two looks at the oven (usually 2.5 s, which is the most); a fifth longer than the tick at least",
                                     default=None, low=0.3, high=2.5, key="gap")  # fmt: skip
    airflow_s: float | None = quantity("time", "how long the ventilation may fail before the chamber is purged anew (usually 2 s)", default=None, low=0.5, high=10.0,
                                       key="airflow lost")  # fmt: skip
    purge_s: float | None = quantity("time", "how long the chamber is purged, if that is more than four changes of its air take", default=None, low=30.0, high=7200.0,
                                     key="purge")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Site:
    ambient_c: float = quantity("temperature", "usual room temperature", default=20.0, low=-30.0, high=50.0,
                                assume="a heated workshop")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """How far the description may be off; used for the ranges in the sizing and for studies."""

    conductivity: float = quantity("fraction", "of the insulation's conductivity", default=0.15, low=0.0, high=0.6)
    emissivity: float = quantity("fraction", "of emissivities", default=0.10, low=0.0, high=0.5)
    heat_capacity: float = quantity("fraction", "of heat capacities", default=0.10, low=0.0, high=0.5)


@dataclass(frozen=True, kw_only=True)
class Control:
    tick_s: float = quantity("time", "time between two looks at the oven", default=1.0, low=0.2, high=5.0)
    robustness: float = quantity("fraction", "peak sensitivity Ms that `kilnctl fit` tunes a PI trim for, 1.2 (gentle) to 2", default=1.6,
                                 low=1.2, high=2.0)  # fmt: skip
    trim: float = quantity("fraction", "how quickly the trim answers heat that nobody accounts for: 1 is usual, less is gentler on the "
                           "elements, more follows a disturbance sooner; `kilnctl study --tuning` compares", default=1.0, low=0.1, high=10.0)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Pins:
    """Lines of this computer's own GPIO chip and SPI bus, for `kind: pins`. Every heat line has a pull-down outside; see SAFETY.md."""

    chip: str = text("the GPIO chip", default="/dev/gpiochip0")
    relays: tuple[float, ...] = numbers("lines of the solid-state relays", default=())
    coil: int | None = integer("line of the contactor's coil", low=0, high=512, default=None)
    pulse: int | None = integer("line that feeds the hardware timer in the coil's circuit with pulses; without one nobody may leave the oven alone",
                                low=0, high=512, default=None)  # fmt: skip
    contactor: int | None = integer("line of the auxiliary contact, low while it is closed", low=0, high=512, default=None)
    door: int | None = integer("line of the door switch's copy, high while the door is open", low=0, high=512, default=None)
    airflow: int | None = integer("line of the ventilation's switch, low while it is proved", low=0, high=512, default=None)
    bus: int = integer("SPI bus", low=0, high=8, default=0)
    control: int = integer("SPI device of the control sensor's converter", low=0, high=8, default=0)
    limit: int = integer("SPI device of the second sensor's converter", low=0, high=8, default=1)
    part: int = integer("SPI device of the part sensor's converter", low=0, high=8, default=2)

    def lines(self) -> list[int]:
        single = (self.coil, self.pulse, self.contactor, self.door, self.airflow)
        return [int(n) for n in self.relays] + [n for n in single if n is not None]

    def problems(self) -> Iterator[tuple[str, str]]:
        if any(n != int(n) or not 0 <= n <= 512 for n in self.relays) or len(self.relays) > 6:
            yield "relays", "lines are whole numbers from 0, six relays at most"
        if len(set(self.lines())) != len(self.lines()):
            yield "relays", "one line is named twice"
        if len({self.control, self.limit, self.part}) != 3:
            yield "control", "two converters have the same SPI device"


@dataclass(frozen=True, kw_only=True)
class Rig:
    kind: str = choice(("virtual", "board", "pins"), "virtual oven, serial I/O board, or this computer's own pins", default="virtual")
    port: str | None = text("serial port of the I/O board, best by its by-id path", default=None)
    pins: Pins = one(Pins, "lines for `kind: pins`", default=Pins())
    ceiling_c: float | None = quantity("temperature", "where the I/O board cuts the heat by itself, whatever the program says (usually 5 K above the trip, 60 K at most)",
                                       default=None, low=45.0, high=1400.0)  # fmt: skip

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.kind == "pins" and (not self.pins.relays or self.pins.coil is None):
            yield "kind", "'kind: pins' needs 'pins: {relays: […], coil: …}'"
        if self.kind == "board" and self.port is None:
            yield "kind", "'kind: board' needs 'port', best by its name in /dev/serial/by-id"


@dataclass(frozen=True, kw_only=True)
class Service:
    """What `kilnctl run` asks of the operating system. What is refused is told, and it runs without."""

    priority: int = integer("real-time priority of the process, 1 to 80; 0 asks for none", low=0, high=80, default=0)
    lock_memory: bool = flag("keep the process in memory, so that it never waits for a disk to run", default=False)


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
    virtual: Virtual | None = one(Virtual, "how a virtual oven differs from this description; written by studies", default=None)
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)
    file: str = ""
    sha256: str = ""

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.chamber.opening == "top" and self.walls.roof is not None:
            yield "walls", "an oven that opens at the top has its lid as 'door'; leave 'roof' out"
        if self.rig.ceiling_c is not None and self.rig.ceiling_c < self.limits.trip_at_c:
            yield "rig", f"the board's ceiling must not lie below the trip ({self.limits.trip_at_c:g} °C)"
        elif self.rig.ceiling_c is not None and self.rig.ceiling_c > self.limits.trip_at_c + LIMITER_ABOVE_K:
            yield "rig", f"the board's ceiling must lie at most {LIMITER_ABOVE_K:g} K above the software's trip ({self.limits.trip_at_c:g} °C), or it protects too late"
        if self.safety.stall_s is not None and self.safety.stall_s < 1.2 * self.control.tick_s:
            yield "safety", f"'gap' must be a fifth longer than the tick at least ({1.2 * self.control.tick_s:g} s)"
        if self.limits.part_highest_c is not None and self.sensors.part is None:
            yield "limits", "'part highest' is a limit that nobody can guard: there is no thermocouple on the part (sensors: part)"
        if self.elements.limit_c is not None and self.elements.limit_c < self.limits.highest_c:
            yield "elements", "the elements may not get as hot as the chamber's highest temperature"
        names = [m.name for m in self.materials]
        if len(set(names)) != len(names):
            yield "materials", "two materials have the same name"

    @property
    def faces(self) -> tuple[Face, ...]:
        """The kinds of face of the box, areas of the inside: sides, roof, floor and door (or lid)."""
        c, w = self.chamber, self.walls
        floor = Face(name="floor", wall=w.floor or w.sides, count=1, width_m=c.width_m, height_m=c.depth_m, orientation="down")
        # Unequal sides are gathered into one face group of equal total area and the chamber's height.
        if c.opening == "top":
            girth = 2.0 * (c.width_m + c.depth_m)
            lid = Face(name="door", wall=w.door or w.sides, count=1, width_m=c.width_m, height_m=c.depth_m, orientation="up")
            return (Face(name="sides", wall=w.sides, count=4, width_m=girth / 4.0, height_m=c.height_m, orientation="vertical"), floor, lid)
        girth = c.width_m + 2.0 * c.depth_m
        return (
            Face(name="sides", wall=w.sides, count=3, width_m=girth / 3.0, height_m=c.height_m, orientation="vertical"),
            Face(name="roof", wall=w.roof or w.sides, count=1, width_m=c.width_m, height_m=c.depth_m, orientation="up"),
            floor,
            Face(name="door", wall=w.door or w.sides, count=1, width_m=c.width_m, height_m=c.height_m, orientation="vertical"),
        )


def load_oven(path: str | Path) -> Oven:
    """Read an oven file. Raises `SettingsError` with every problem found, each with file:line:column."""
    source, data = read_text(path)
    node = parse_document(source, str(path))
    return read_root(Oven, node, str(path), {"file": str(path), "sha256": hashlib.sha256(data).hexdigest()}, _check_whole(node))


def _check_whole(root):
    """Materials are checked by name here, and sensors against the trip, where the places are known; layers against limits are the sizing's."""

    def finish(oven: Oven, reader: Reader) -> None:
        from ..errors import KilnctlError
        from ..thermal.materials import find

        own = {m.name for m in oven.materials}

        def walk(node, key: str = "") -> None:
            for key_node, value in node.pairs:
                if key_node.text == "material" and value.kind == "scalar" and value.text not in own:
                    try:
                        find(value.text)
                    except KilnctlError as error:
                        reader.problem(value, str(error))
                walk(value)
            for item in node.items:
                walk(item)

        walk(root)
        for which in ("control", "limit", "part"):
            sensor = getattr(oven.sensors, which)
            highest = TYPE_HIGHEST_C[sensor.type] if sensor is not None else math.inf
            if highest < oven.limits.trip_at_c:
                # (Type K, which is assumed where none is given, is good for every trip that is accepted.)
                reader.problems.append(Problem(reader.file, *reader.places[f"sensors.{which}.type"], f"sensors.{which}: a type {sensor.type} "
                                               f"thermocouple is good to {highest:g} °C, and the trip is at {oven.limits.trip_at_c:g} °C"))  # fmt: skip

    return finish
