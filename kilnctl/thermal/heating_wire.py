"""Resistance wire as it is sold, and the coils that are wound from it.

Gauges, limits by diameter and rules for coils are makers' tables and common practice, from memory: a seller's own sheet
beats them.
"""

import math
from dataclasses import dataclass

from ..gauges import wire_diameter_m
from .constants import STEFAN_BOLTZMANN, ZERO_C
from .elements import ALLOYS, along
from .surfaces import cylinder_film

#: The alloys that are sold as wire.
WIRE_ALLOYS = ("iron-chromium-aluminium", "nickel-chromium")
#: Elements that are not wound from wire, and why they are no part of kilnctl.
NOT_WOUND = {
    "silicon carbide": "silicon carbide is bought as rods, not wound; their resistance falls to about half by 700 °C "
    "to 900 °C, rises again, and grows threefold with age, so that they want a transformer with taps and a limit on "
    "the current: kilnctl reckons with elements of a steady resistance on mains voltage and does not support them",
    "molybdenum disilicide": "molybdenum disilicide is bought as hairpins, not wound; their resistance is ten times as "
    "high hot as cold, so that cold they draw ten times the current and want a transformer with a limit on it: kilnctl "
    "reckons with elements of a steady resistance on mains voltage and does not support them",
}
#: How people write these, small letters.
NOT_WOUND |= {
    "sic": NOT_WOUND["silicon carbide"],
    "mosi2": NOT_WOUND["molybdenum disilicide"],
    "molybdenum silicide": NOT_WOUND["molybdenum disilicide"],
}
#: Diameters that are usually in stock, mm (common practice; about every second one of ISO 497's series R 40).
STOCK_MM = (
    *(0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6),
    *(1.7, 1.8, 2.0, 2.2, 2.5, 2.8, 3.0, 3.2, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0, 8.0),
)
#: American gauges of such wire, the thickest first.
STOCK_AWG = tuple(range(1, 33))
#: The thinnest and thickest wire that is reckoned here, m.
WIRE_M = (0.0002, 0.008)
#: How far the resistance of a metre of wire may be from its table (makers' sheets, from memory).
WIRE_TOLERANCE = 0.05
#: Diameter, mm → highest wire temperature, °C: thin wire is eaten through sooner (makers' tables, from memory).
_BEARS_C = {
    "iron-chromium-aluminium": ((0.15, 900.0), (0.4, 1100.0), (1.0, 1225.0), (3.0, 1350.0)),
    "nickel-chromium": ((0.15, 925.0), (0.4, 1000.0), (1.0, 1075.0), (3.0, 1150.0)),
}
#: Wire temperature, °C → most outside diameters of a coil in wire diameters: a wider coil of soft hot wire collapses
#: (makers' tables, from memory). Nickel-chromium is stronger when hot.
_WIDEST = {
    "iron-chromium-aluminium": ((900.0, 8.0), (1100.0, 7.0), (1200.0, 6.0), (1350.0, 5.0)),
    "nickel-chromium": ((900.0, 9.0), (1150.0, 7.0)),
}
#: A tighter coil cracks the wire when it is wound (common practice: a mandrel of three wire diameters at least).
TIGHTEST = 5.0
#: Usual coil, in wire diameters; usual, least and most pitch of a stretched coil, in wire diameters (makers' tables,
#: from memory: closer turns shade each other, wider ones sag).
USUAL_COIL, USUAL_STRETCH, LEAST_STRETCH, MOST_STRETCH = 6.0, 2.5, 2.0, 4.0


@dataclass(frozen=True)
class Gauge:
    """A diameter that shops sell: its name and diameter in m."""

    name: str
    diameter_m: float
    american: bool


def gauges() -> tuple[Gauge, ...]:
    """All gauges of the metric and the American series, the thinnest first."""
    metric = [Gauge(f"{mm:.2f} mm" if mm < 1.0 else f"{mm:.1f} mm", mm / 1000.0, False) for mm in STOCK_MM]
    american = [Gauge(f"{n} AWG", wire_diameter_m(n), True) for n in STOCK_AWG]
    return tuple(sorted(metric + american, key=lambda g: (g.diameter_m, g.name)))


def series(american: bool) -> list[Gauge]:
    """The gauges of the American or of the metric series, the thinnest first."""
    return [g for g in gauges() if g.american is american]


def bears_c(alloy: str, diameter_m: float) -> float:
    """Highest temperature that wire of that diameter bears for long, °C; of thicker wire than 3 mm the alloy's own.
    Raises ValueError for no wire alloy, or outside WIRE_M."""
    check_wire(alloy, diameter_m)
    return min(ALLOYS[alloy][2], along(_BEARS_C[alloy], 1000.0 * diameter_m))


def widest_coil(alloy: str, wire_c: float) -> float:
    """Most outside diameters of a coil, in wire diameters, for that wire temperature. Raises ValueError for no wire
    alloy."""
    return along(_of_wire(alloy, _WIDEST), wire_c)


def check_wire(alloy: str, diameter_m: float) -> None:
    """Raises ValueError for an alloy that is not sold as wire, or a diameter outside WIRE_M."""
    _of_wire(alloy, _BEARS_C)
    low, high = WIRE_M
    if not low * (1.0 - 1e-9) <= diameter_m <= high * (1.0 + 1e-9):
        raise ValueError(
            f"wire of {1000.0 * diameter_m:.3g} mm: elements are reckoned with wire of {1000.0 * low:g} mm to "
            f"{1000.0 * high:g} mm"
        )


def glow_c(
    load_w_m2: float,
    chamber_c: float,
    diameter_m: float,
    emissivity: float = 0.8,
    freedom: float = 0.5,
    air_speed_m_per_s: float = 0.0,
) -> float:
    """Temperature of an element that gives load_w_m2 to a chamber at chamber_c, °C, by radiation (σ ε of the share
    `freedom` of its surface: the rest sees its own turns or its groove) and by convection at a cylinder of that
    diameter. Raises ValueError for a load below zero."""
    if not load_w_m2 >= 0.0:
        raise ValueError(f"load_w_m2 = {load_w_m2:g}: must not be below zero")
    strength = emissivity * freedom * STEFAN_BOLTZMANN
    low, high = chamber_c, ((chamber_c + ZERO_C) ** 4 + load_w_m2 / strength) ** 0.25 - ZERO_C
    for _ in range(40):
        t = 0.5 * (low + high)
        # The tables of air end at 1727 °C; every element melts below that.
        film = cylinder_film(min(t, 1700.0), chamber_c, diameter_m, air_speed_m_per_s)
        given = strength * ((t + ZERO_C) ** 4 - (chamber_c + ZERO_C) ** 4) + film * (t - chamber_c)
        low, high = (t, high) if given < load_w_m2 else (low, t)
    return 0.5 * (low + high)


@dataclass(frozen=True)
class Coil:
    """A helix: `outside_m` its outside diameter as it is wound, `stretched_outside_m` after stretching, `mandrel_m` the
    rod inside it, `closed_m` its length as it is wound, turn by turn, `stretched_m` as it is laid; lengths in m."""

    turns: float
    outside_m: float
    stretched_outside_m: float
    mandrel_m: float
    closed_m: float
    stretched_m: float

    @property
    def stretch(self) -> float:
        """Its length as laid over its length as wound: the pitch in wire diameters."""
        return self.stretched_m / self.closed_m


def coil_of(diameter_m: float, wire_m: float, outside_m: float, stretched_m: float | None = None) -> Coil:
    """The coil of that wire, wound close to the outside diameter, then stretched to stretched_m, by default to
    USUAL_STRETCH. One turn is the wire's length √((π·D)² + pitch²), D at the wire's middle; stretching keeps it and
    makes the coil narrower. Raises ValueError for a coil that cannot be wound or stretched so far."""
    middle = outside_m - diameter_m
    if not middle > diameter_m:
        raise ValueError(
            f"a coil of {1000.0 * outside_m:.3g} mm outside cannot be wound from wire of {1000.0 * diameter_m:.3g} mm: "
            f"{1000.0 * TIGHTEST * diameter_m:.3g} mm is the tightest that does not crack it"
        )
    turn_m = math.hypot(math.pi * middle, diameter_m)
    turns = wire_m / turn_m
    if turns < 1.0:
        raise ValueError(
            f"{wire_m:.3g} m of wire make less than one turn of a coil of {1000.0 * outside_m:.3g} mm; "
            "such an element is a straight wire or a loop"
        )
    closed = turns * diameter_m
    laid = USUAL_STRETCH * closed if stretched_m is None else stretched_m
    pitch = laid / turns
    if pitch >= 0.9 * turn_m:
        raise ValueError(
            f"{wire_m:.3g} m of wire do not make a coil that is {laid:.3g} m long; with a usual stretch it is "
            f"{USUAL_STRETCH * closed:.3g} m long"
        )
    narrowed = math.sqrt(turn_m**2 - pitch**2) / math.pi + diameter_m
    return Coil(turns, outside_m, narrowed, outside_m - 2.0 * diameter_m, closed, laid)


def _of_wire(alloy: str, table: dict):
    if alloy not in table:
        raise ValueError(f"alloy = {alloy!r}: sold as wire are {' and '.join(WIRE_ALLOYS)}")
    return table[alloy]
