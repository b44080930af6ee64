"""What an oven is wired with: supply, switching, sensors, meters, and the rig that runs it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from ..thermal.wiring_rules import CANADA, CAPACITY_A, FIXED, IEC, PLUGS, RESIDUAL, UK, US
from .fields import choice, flag, integer, many, numbers, one, positive, quantity, text

#: Highest temperature at which each thermocouple type is accurate, °C: for T, J and E the upper end of tolerance class
#: 2, for the others the end of the reference function (IEC 60584-1, from memory). Sheath and wire may bear less: ask
#: their maker.
TYPE_HIGHEST_C = {"T": 350.0, "J": 750.0, "E": 900.0, "N": 1300.0, "K": 1372.0, "R": 1768.0, "S": 1768.0, "B": 1820.0}


@dataclass(frozen=True, kw_only=True)
class Supply:
    voltage_v: float = quantity("voltage", "nominal supply voltage", low=12.0, high=480.0)
    frequency_hz: float = quantity("frequency", "supply frequency", low=49.0, high=61.0)
    tolerance: float = quantity(
        "fraction",
        "how far the voltage may lie from nominal",
        default=0.10,
        low=0.0,
        high=0.3,
        assume="public supplies are usually held within 10 %",
    )
    breaker_a: float | None = quantity("current", "rating of the breaker", default=None, low=1.0, high=125.0)
    cable_area_m2: float | None = quantity(
        "area", "cross-section of one conductor", default=None, low=2e-7, high=1.2e-4, example="2.5 mm² or 14 AWG"
    )
    cable_length_m: float | None = quantity("length", "one-way length of the cable", default=None, low=0.1, high=500.0)
    rules: str | None = choice(
        (IEC, UK, US, CANADA), "wiring rules of the country; without it frequency and plug tell", default=None
    )
    connection: str | None = choice(
        ("line and neutral", "two lines", "star", "delta"),
        "what the elements hang on; star and delta are three phases, and the voltage is then the one between two lines",
        default=None,
    )
    plug: str | None = choice((FIXED, *PLUGS), "how the oven is connected", default=None)
    breaker_poles: int | None = integer("poles that the breaker opens together", low=1, high=4, default=None)
    cable_laid: str | None = choice(
        tuple(CAPACITY_A), "how the cable runs where it is worst cooled (North American rules do not ask)", default=None
    )
    cable_at_c: float | None = quantity(
        "temperature", "warmest air along the cable, near the oven too", default=None, low=-30.0, high=80.0
    )
    cable_rated_c: float | None = quantity(
        "temperature",
        "what the cable's insulation bears (usually 70 °C, in North America 60 °C)",
        default=None,
        low=60.0,
        high=260.0,
        example="70 °C or 194 °F",
    )
    circuits_together: int | None = integer(
        "loaded circuits in the same conduit or bundle, this one counted", low=1, high=20, default=None
    )
    earth_area_m2: float | None = quantity(
        "area",
        "cross-section of the protective conductor",
        default=None,
        low=2e-7,
        high=1.2e-4,
        example="2.5 mm² or 14 AWG",
    )
    residual: str | None = choice(RESIDUAL, "residual-current or ground-fault device before the oven", default=None)
    resistance_ohm: float = quantity(
        "electrical resistance",
        "resistance of the supply, line and neutral, up to where the lights branch off",
        default=0.4,
        low=0.0,
        high=5.0,
        assume="reference impedance of IEC 60725, line and neutral",
    )
    reactance_ohm: float = quantity(
        "electrical resistance",
        "reactance of the supply, line and neutral, up to where the lights branch off",
        default=0.25,
        low=0.0,
        high=5.0,
        assume="reference impedance of IEC 60725, line and neutral",
    )

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.frequency_hz not in (50.0, 60.0):
            yield "frequency_hz", f"the supply frequency is 50 Hz or 60 Hz, not {self.frequency_hz:g} Hz"


@dataclass(frozen=True, kw_only=True)
class Switching:
    pattern: str = choice(
        ("fine", "balanced", "quiet lights"),
        "how short the bursts of mains cycles may be: finer is kinder to the "
        "elements, longer is kinder to the lights; elements of little mass get shorter ones than the name says",
        default="balanced",
    )
    minimum_on_s: float | None = quantity(
        "time", "shortest time on or off, instead of the pattern's own", default=None, low=0.0, high=120.0
    )
    relays: int = integer(
        "relays that are fired one after another, each with an equal share of the power", low=1, high=6, default=1
    )
    relay_current_a: float | None = quantity(
        "current", "rated current of the solid-state relay", default=None, low=1.0, high=200.0
    )
    heat_sink_k_per_w: float | None = positive("thermal resistance", "relay's heat sink to air", 50.0, default=None)
    cabinet_air_c: float | None = quantity(
        "temperature",
        "air at that heat sink in the hottest hour (45 °C is reckoned without it)",
        default=None,
        low=-10.0,
        high=90.0,
    )
    relay_i2t_a2s: float | None = quantity(
        "i2t", "I²t that the relay withstands, from its data sheet", default=None, low=1.0, high=1e6, key="relay i2t"
    )
    fuse_i2t_a2s: float | None = quantity(
        "i2t",
        "total I²t that the relay's own fuse lets through, at the supply's voltage",
        default=None,
        low=1.0,
        high=1e6,
        key="fuse i2t",
    )
    fuse_current_a: float | None = quantity(
        "current", "rated current of the relay's own fuse", default=None, low=0.5, high=400.0
    )
    contactor_current_a: float | None = quantity(
        "current",
        "what the contactor carries in duty AC-1 at the cabinet's temperature",
        default=None,
        low=1.0,
        high=400.0,
    )
    contactor_poles: int | None = integer("poles of the contactor that cut the elements", low=1, high=4, default=None)
    feedback: str | None = choice(
        ("mirror contact", "voltage behind it", "ordinary contact"),
        "what tells that the contactor is open: a mirror contact (IEC 60947-4-1 annex F) cannot say so while a main "
        "pole is welded, an ordinary auxiliary contact can",
        default=None,
    )
    coil_circuit: str | None = choice(
        ("24 V", "earthed control transformer", "mains"), "what the coil's circuit is fed from", default=None
    )
    contactor_delay_s: float = quantity(
        "time", "time the contactor needs to pull in or drop out", default=0.05, low=0.0, high=1.0
    )


@dataclass(frozen=True, kw_only=True)
class CalibrationPoint:
    reads_c: float = quantity("temperature", "what the sensor shows", low=-50.0, high=1800.0)
    true_c: float = quantity("temperature", "what a reference next to it shows", low=-50.0, high=1800.0, key="is")


@dataclass(frozen=True, kw_only=True)
class Sensor:
    type: str = choice(("K", "N", "S", "R", "J", "T", "B", "E"), "thermocouple type letter", default="K")
    lag_s: float = quantity(
        "time",
        "time constant of the junction in its sheath, in still air",
        default=12.0,
        low=0.0,
        high=600.0,
        assume="a 3 mm sheathed junction in still air; bare wire is faster",
    )
    dead_time_s: float = quantity(
        "time",
        "pure delay before the junction notices",
        default=2.0,
        low=0.0,
        high=60.0,
        assume="conversion and filtering, and the air's way to the sensor",
    )
    noise_k: float = quantity(
        "difference",
        "standard deviation of one reading",
        default=0.15,
        low=0.0,
        high=10.0,
        assume="a quiet front end with a median filter",
    )
    front_end: str = choice(("max31855", "max31856"), "the converter chip", default="max31856")
    calibration: tuple[CalibrationPoint, ...] = many(
        CalibrationPoint, "comparison against a reference, rising", default=(), most=20
    )
    file: str | None = text("certificate or note on this sensor", default=None)

    def problems(self) -> Iterator[tuple[str, str]]:
        pairs = list(pairwise(self.calibration))
        if any(a.reads_c >= b.reads_c or a.true_c >= b.true_c for a, b in pairs):
            yield "calibration", "calibration points must rise, in what the sensor reads and in what is true"
        if any(abs(p.reads_c - p.true_c) > 30.0 for p in self.calibration):
            yield "calibration", "a sensor more than 30 K wrong is to be replaced, not corrected"

    @property
    def words(self) -> str:
        """What turns a voltage into a reading. Another type letter or correction shifts every limit, and no number
        shows it."""
        points = ", ".join(f"{p.reads_c:g} °C is {p.true_c:g} °C" for p in self.calibration)
        return f"type {self.type} on {self.front_end}, " + (f"corrected ({points})" if points else "not corrected")

    def corrected_c(self, value_c: float) -> float:
        """A reading corrected by the calibration, °C: straight lines between its points, the nearest point's correction
        outside. NaN stays NaN."""
        points = self.calibration
        if not points or not math.isfinite(value_c):
            return value_c
        if value_c <= points[0].reads_c:
            return value_c + points[0].true_c - points[0].reads_c
        for a, b in pairwise(points):
            if value_c <= b.reads_c:
                return a.true_c + (value_c - a.reads_c) * (b.true_c - a.true_c) / (b.reads_c - a.reads_c)
        return value_c + points[-1].true_c - points[-1].reads_c


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
    contactor: bool = flag(
        "an auxiliary contact, or the voltage behind it, tells whether the contactor is closed", default=True
    )


@dataclass(frozen=True, kw_only=True)
class Pins:
    """Lines of this computer's own GPIO chip and SPI bus, for `kind: pins`. Every heat line has a pull-down outside;
    see SAFETY.md."""

    chip: str = text("the GPIO chip", default="/dev/gpiochip0")
    relays: tuple[float, ...] = numbers("lines of the solid-state relays", default=())
    coil: int | None = integer("line of the contactor's coil", low=0, high=512, default=None)
    pulse: int | None = integer(
        "line that feeds the hardware timer in the coil's circuit with pulses; "
        "without one nobody may leave the oven alone",
        low=0,
        high=512,
        default=None,
    )
    contactor: int | None = integer(
        "line of the auxiliary contact, low while it is closed", low=0, high=512, default=None
    )
    door: int | None = integer(
        "line of the door switch's copy, high while the door is open", low=0, high=512, default=None
    )
    airflow: int | None = integer(
        "line of the ventilation's switch, low while it is proved", low=0, high=512, default=None
    )
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
    kind: str = choice(
        ("virtual", "board", "pins"), "virtual oven, serial I/O board, or this computer's own pins", default="virtual"
    )
    port: str | None = text("serial port of the I/O board, best by its by-id path", default=None)
    pins: Pins = one(Pins, "lines for `kind: pins`", default=Pins())
    ceiling_c: float | None = quantity(
        "temperature",
        "where the I/O board cuts the heat by itself, even against the program "
        "(usually 5 K above the trip, 60 K at most)",
        default=None,
        low=45.0,
        high=1400.0,
    )

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.kind == "pins" and (not self.pins.relays or self.pins.coil is None):
            yield "kind", "'kind: pins' needs 'pins: {relays: […], coil: …}'"
        if self.kind == "board" and self.port is None:
            yield "kind", "'kind: board' needs 'port', best by its name in /dev/serial/by-id"


@dataclass(frozen=True, kw_only=True)
class Service:
    """What `kilnctl run` asks of the operating system. What the system refuses is reported, and the run goes on without
    it."""

    priority: int = integer("real-time priority of the process, 1 to 80; 0 asks for none", low=0, high=80, default=0)
    lock_memory: bool = flag("keep the process in memory, so that it never waits for a disk to run", default=False)
