"""Winding heating elements: from power and voltage to a gauge that shops sell, its length and its coil; or what a given
wire does.

A coil of wire with resistance R = ρ·L/A·Ct on U takes P = U²/R and carries P/(π·d·L) on its surface; for a wanted load
p that gives d³ = 4·ρ·Ct·P²/(π²·p·U²) (Ohm, Pouillet). Ct is that of the wire's own temperature at full power.
"""

import dataclasses
import math
from dataclasses import dataclass

from ..body.heaters import FREEDOM
from ..settings.construction import POWER_W
from ..settings.oven import Oven
from ..thermal.elements import ALLOYS, recommended_load_w_m2, resistance_factor, surface_load_w_m2, wire_resistance_ohm
from ..thermal.heating_wire import NOT_WOUND, WIRE_ALLOYS, Gauge, bears_c, check_wire, glow_c, series
from .circuit import THREE_PHASE, circuit_of

#: Volts between the two ends of the circuits that are reckoned here: the range of `supply: voltage`.
VOLTS = (12.0, 480.0)
#: Resistance of a hot wire over its cold one to begin with, where its temperature is not known yet.
FIRST_FACTOR = 1.04
#: A surface load up to this many times the advised one shortens the wire's life; more burns it out soon (common
#: practice).
TIGHT_LOAD, WRONG_LOAD = 1.05, 1.5
#: A wire that carries less than this share of what it may is 1.6 times as long and 2.5 times as heavy as one that
#: carries all of it: load ∝ d⁻³, length ∝ d², mass ∝ d⁴ at the same power and voltage.
IDLE_LOAD = 0.5


@dataclass(frozen=True)
class Task:
    """What is to be wound. power_w: of all coils together, hot, at the nominal voltage volts (between two lines with
    three phases); coils: all of them, alike; series: how many hang one behind the other in each circuit; chamber_c:
    where the oven is at full power; limit_c: a lower limit of the wire than its alloy's, if there is one."""

    alloy: str
    power_w: float
    volts: float
    chamber_c: float
    connection: str = "line and neutral"
    coils: int = 1
    series: int = 1
    tolerance: float = 0.1
    emissivity: float = 0.8
    air_speed_m_per_s: float = 0.0
    limit_c: float | None = None

    def __post_init__(self) -> None:
        if self.alloy.lower() in NOT_WOUND:  # also as their formulas
            raise ValueError(NOT_WOUND[self.alloy.lower()])
        if self.alloy == "sheathed":
            raise ValueError(
                "sheathed elements are bought by their power and voltage, not wound; to wind open coils say their "
                f"alloy: {' or '.join(WIRE_ALLOYS)}"
            )
        if self.alloy not in WIRE_ALLOYS:
            raise ValueError(f"'{self.alloy}': sold as wire are {' and '.join(WIRE_ALLOYS)}")
        if not POWER_W[0] <= self.power_w <= POWER_W[1]:
            low, high = (w / 1000.0 for w in POWER_W)
            raise ValueError(f"{self.power_w / 1000.0:.3g} kW: elements of {low:g} kW to {high:g} kW are reckoned")
        if not VOLTS[0] <= self.volts <= VOLTS[1]:
            raise ValueError(f"{self.volts:g} V: {VOLTS[0]:g} V to {VOLTS[1]:g} V are reckoned")
        phases = 3 if self.connection in THREE_PHASE else 1
        if self.coils % (self.series * phases):
            each = f"{self.series} in series" + (" on each of three phases" if phases > 1 else "")
            raise ValueError(f"{self.coils} coils cannot be connected as {each}: their number has to be a multiple")
        if advised_w_m2(self) <= 0.0 or self.chamber_c >= min(ALLOYS[self.alloy][2], self.limit_c or math.inf):
            raise ValueError(
                f"a chamber of {self.chamber_c:.0f} °C is too hot for elements of {self.alloy}, which bear "
                f"{min(ALLOYS[self.alloy][2], self.limit_c or math.inf):.0f} °C themselves: no surface load is left"
            )

    @property
    def coil_w(self) -> float:
        """Power of one coil, W."""
        return self.power_w / self.coils

    @property
    def coil_v(self) -> float:
        """Voltage over one coil, V: in star a phase's, in series a share."""
        return self.volts / (math.sqrt(3.0) if self.connection == "star" else 1.0) / self.series


@dataclass(frozen=True)
class Wound:
    """All coils wound from one wire. wire_m: length of one coil's wire; cold_ohm and hot_ohm: of one coil, at 20 °C and
    at full power; load_w_m2 on the wire; wire_c at full power in the task's chamber; high_c: the same with the supply
    at its upper tolerance; bears_c: what this wire bears; power_w and mass_kg of all coils."""

    diameter_m: float
    wire_m: float
    cold_ohm: float
    hot_ohm: float
    power_w: float
    load_w_m2: float
    wire_c: float
    high_c: float
    bears_c: float
    mass_kg: float


def advised_w_m2(task: Task) -> float:
    """Highest surface load for a long life in that chamber, W/m² (makers' tables, from memory)."""
    return recommended_load_w_m2(task.alloy, task.chamber_c)


def wound(task: Task, diameter_m: float, wire_m: float | None = None) -> Wound:
    """The coils from that wire: as long as the task's power wants, or wire_m each, with the power that this then is.
    Raises ValueError outside the range of wires, or for a load that melts it."""
    check_wire(task.alloy, diameter_m)
    per_m, factor, length = wire_resistance_ohm(task.alloy, diameter_m, 1.0), FIRST_FACTOR, wire_m or 0.0
    power, load, hot_c = 0.0, 0.0, task.chamber_c
    for _ in range(30):
        # The factor hardly changes with the temperature, so the change shrinks more than tenfold each time.
        length = task.coil_v**2 / task.coil_w / (per_m * factor) if wire_m is None else wire_m
        power = task.coil_v**2 / (per_m * length * factor)
        load = surface_load_w_m2(power, diameter_m, length)
        hot_c = _glow(task, load, diameter_m)
        before, factor = factor, resistance_factor(task.alloy, hot_c)
        if abs(factor - before) < 1e-9:
            break
    mass = math.pi / 4.0 * diameter_m**2 * length * ALLOYS[task.alloy][3]
    borne = bears_c(task.alloy, diameter_m)
    return Wound(
        diameter_m=diameter_m,
        wire_m=length,
        cold_ohm=per_m * length,
        hot_ohm=per_m * length * factor,
        power_w=power * task.coils,
        load_w_m2=load,
        wire_c=hot_c,
        high_c=_glow(task, load * (1.0 + task.tolerance) ** 2, diameter_m),
        bears_c=borne if task.limit_c is None else min(borne, task.limit_c),
        mass_kg=mass * task.coils,
    )


def _glow(task: Task, load_w_m2: float, diameter_m: float) -> float:
    return glow_c(load_w_m2, task.chamber_c, diameter_m, task.emissivity, FREEDOM[task.alloy], task.air_speed_m_per_s)


def diameter_for_load_m(task: Task, load_w_m2: float) -> float:
    """The diameter that gives the task's power at that surface load, m."""
    hot_c = _glow(task, load_w_m2, 0.001)
    rho = ALLOYS[task.alloy][0] * resistance_factor(task.alloy, hot_c)
    return (4.0 * rho * task.coil_w**2 / (math.pi**2 * load_w_m2 * task.coil_v**2)) ** (1.0 / 3.0)


def diameter_for_length_m(task: Task, wire_m: float) -> float:
    """The diameter that gives the task's power with wire_m of wire in each coil, m."""
    return math.sqrt(4.0 * ALLOYS[task.alloy][0] * FIRST_FACTOR * wire_m * task.coil_w / (math.pi * task.coil_v**2))


def sound(task: Task, w: Wound, load_w_m2: float | None = None) -> bool:
    """Whether that wire carries no more than is wanted or advised, and bears its temperature at a high supply too."""
    wanted = advised_w_m2(task) if load_w_m2 is None else load_w_m2
    return w.load_w_m2 <= wanted * (1.0 + 1e-9) and w.high_c <= w.bears_c


def chosen(task: Task, american: bool, load_w_m2: float | None = None) -> tuple[Gauge, Wound]:
    """The thinnest gauge in stock that is sound for the task, metric or American, and what it makes. Raises ValueError
    where none is."""
    stock = series(american)
    for gauge in stock:
        made = wound(task, gauge.diameter_m)
        if sound(task, made, load_w_m2):
            return gauge, made
    made = wound(task, stock[-1].diameter_m)
    raise ValueError(
        f"{task.coil_w:.0f} W on {task.coil_v:.0f} V in a chamber of {task.chamber_c:.0f} °C: even wire of "
        f"{1e3 * made.diameter_m:.1f} mm, the thickest in stock, would carry {made.load_w_m2 / 1e4:.2f} W/cm² and glow "
        f"at {made.high_c:.0f} °C, and it bears {made.bears_c:.0f} °C; take more groups, less power, another alloy, or "
        "a cooler chamber"
    )


def neighbours(diameter_m: float, each_way: int = 2) -> tuple[Gauge, ...]:
    """The gauges of both series next to that diameter, the thinnest first."""
    found: list[Gauge] = []
    for american in (False, True):
        stock = series(american)
        at = min(range(len(stock)), key=lambda i: abs(math.log(stock[i].diameter_m / diameter_m)))
        found += stock[max(0, at - each_way) : at + each_way + 1]
    return tuple(sorted(found, key=lambda g: g.diameter_m))


def gauges_beside(task: Task, diameter_m: float, american: bool, load_w_m2: float | None = None) -> tuple[Gauge, ...]:
    """The gauges next to that diameter; where none of them is sound for the task, also those next to the one that
    is."""
    beside = neighbours(diameter_m)
    if any(sound(task, wound(task, g.diameter_m), load_w_m2) for g in beside):
        return beside
    try:
        better = neighbours(chosen(task, american, load_w_m2)[0].diameter_m, 1)
    except ValueError:  # no gauge in stock is
        return beside
    return tuple(sorted({*beside, *better}, key=lambda g: g.diameter_m))


def ways_in_series(task: Task) -> list[int]:
    """How many of the task's coils may hang one behind the other."""
    phases = 3 if task.connection in THREE_PHASE else 1
    return [n for n in range(1, task.coils + 1) if task.coils % (n * phases) == 0]


def shortest_in_series(task: Task, american: bool, load_w_m2: float | None = None) -> tuple[int, Gauge, Wound] | None:
    """The number in series that takes the least wire for the same power, its gauge and what it makes; None where no
    number has a sound one. Less voltage over a coil takes less resistance, so a thick wire becomes short."""
    found = []
    for n in ways_in_series(task):
        try:
            found.append((n, *chosen(dataclasses.replace(task, series=n), american, load_w_m2)))
        except ValueError:  # no gauge in stock is thick enough for that
            continue
    return min(found, key=lambda way: way[2].wire_m, default=None)


def task_of(oven: Oven, **changes) -> Task:
    """The task that an oven's description sets: all groups alike and in parallel. Where wire and length are described,
    as many in series as bring the described power nearest. Raises ValueError as `Task` does."""
    e, s = oven.elements, oven.supply
    facts = {
        "alloy": e.alloy,
        "power_w": e.rated_w,
        "volts": s.voltage_v,
        "chamber_c": oven.limits.highest_c,
        "connection": s.connection or circuit_of(oven).connection,
        "coils": e.groups,
        "tolerance": s.tolerance,
        "emissivity": e.emissivity,
        "air_speed_m_per_s": oven.fan.air_speed_m_per_s if oven.fan else 0.0,
        "limit_c": e.limit_c,
    }
    task = Task(**(facts | changes))
    if "series" in changes or not (e.wire_diameter_m and e.wire_length_m) or task.coils == 1:
        return task
    wire_m, d = e.wire_length_m / task.coils, e.wire_diameter_m

    def miss(n: int) -> float:
        made = wound(dataclasses.replace(task, series=n), d, wire_m)
        return abs(math.log(made.power_w / task.power_w))

    return dataclasses.replace(task, series=min(ways_in_series(task), key=miss))


def described(oven: Oven) -> tuple[Task, Wound] | None:
    """What the wire that the file describes does; None where it describes none, or one that is not reckoned."""
    e = oven.elements
    if not (e.wire_diameter_m and e.wire_length_m) or e.alloy not in WIRE_ALLOYS:
        return None
    try:
        task = task_of(oven)
        return task, wound(task, e.wire_diameter_m, e.wire_length_m / task.coils)
    except ValueError:
        return None
