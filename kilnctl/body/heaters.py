"""The heating elements: as described. What a file leaves out is guessed as in a sound design.

A sound design has the surface load advised at the oven's highest temperature (`thermal.elements`, makers' tables from
memory), or less, if with that load the element would exceed its own limit when the chamber is at its highest
temperature and the supply at its highest voltage; and it fits into the chamber. Open wire gets the diameter that draws
the rated power from the supply at that load; a sheathed element has the usual 6.5 mm.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from ..settings.construction import WIRE_DIAMETER_M
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.elements import ALLOYS, SURFACE_LOAD, recommended_load_w_m2
from ..thermal.heating_wire import glow_c
from ..thermal.material_data import Material
from ..thermal.surfaces import cylinder_film

# Heat capacity of heating alloys, and of sheathed elements with their magnesia, J/(kg·K) against °C (from
# memory, ±10 %).
_CAPACITY = {
    "iron-chromium-aluminium": ((20.0, 460.0), (400.0, 600.0), (800.0, 700.0), (1200.0, 720.0)),
    "nickel-chromium": ((20.0, 450.0), (400.0, 520.0), (800.0, 600.0), (1200.0, 650.0)),
    "sheathed": ((20.0, 560.0), (400.0, 680.0), (800.0, 760.0)),
}
# Where wire melts, or a sheathed element fails, °C (from memory).
_MELTS_C = {"iron-chromium-aluminium": 1500.0, "nickel-chromium": 1400.0, "sheathed": 1100.0}

#: Usual diameter of a sheathed element (common practice), and the thinnest and thickest wire in use, m.
SHEATH_M, THINNEST_M, THICKEST_M = 0.0065, 0.0004, 0.008
#: The largest guess of the elements' surface, as a share of the inside faces (an estimate of the room for them).
MOST_OF_FACES = 0.5
#: Share of a wire's surface that radiates to the chamber: a coil lies in a groove (common practice), a sheath is free.
FREEDOM = {"iron-chromium-aluminium": 0.5, "nickel-chromium": 0.5, "sheathed": 1.0}


@dataclass(frozen=True)
class Heater:
    """All groups of elements together: mass in kg, surface in m², diameter of wire or sheath in m. `guessed` names what
    the file does not say ("surface", "mass"), `crowded`: the chamber has little room for elements of that power;
    `clamped_from_m`: the diameter that follows from mass and surface, if no real wire has it."""

    mass_kg: float
    surface_m2: float
    diameter_m: float
    material: Material
    resistance: tuple[tuple[float, float], ...]  # °C, resistance over that at 20 °C
    melts_c: float
    limit_c: float
    guessed: tuple[str, ...] = ()
    crowded: bool = False
    clamped_from_m: float | None = None

    def factor(self, t_c: float) -> float:
        """Resistance at t_c over that at 20 °C, linear between the points and constant beyond them."""
        points = self.resistance
        for (t0, f0), (t1, f1) in pairwise(points):
            if t_c < t1:
                return f0 + (f1 - f0) * (t_c - t0) / (t1 - t0) if t_c > t0 else f0
        return points[-1][1]


def heater_of(oven: Oven) -> Heater:
    """The elements as given; if not given, from wire or sheath; if those are missing, as in a sound design."""
    e = oven.elements
    _, resistance, limit, density = ALLOYS[e.alloy]
    d, length = e.wire_diameter_m, e.wire_length_m
    guessed, crowded = [], False
    surface = e.surface_m2
    if surface is None and d and length:
        surface = math.pi * d * length
    if surface is None:
        surface, crowded = _sound_surface_m2(oven)
        guessed.append("surface")
    mass = e.mass_kg
    if mass is None and d and length:
        mass = math.pi / 4.0 * d * d * length * density
    elif mass is None:
        # For a round wire or sheath, volume / surface is a quarter of the diameter.
        mass = surface * (d or _sound_diameter_m(oven, surface)) / 4.0 * density
        guessed.append("mass")
    derived = 4.0 * mass / (density * surface)
    diameter = d or min(max(derived, WIRE_DIAMETER_M[0]), WIRE_DIAMETER_M[1])
    material = Material(e.alloy, "element", ((20.0, 20.0),), density, _CAPACITY[e.alloy], 1400.0, "from memory")
    return Heater(
        mass,
        surface,
        diameter,
        material,
        resistance,
        _MELTS_C[e.alloy],
        e.limit_c or limit,
        tuple(guessed),
        crowded,
        None if d or diameter == derived else derived,
    )


def full_power_c(
    oven: Oven, load_w_m2: float, chamber_c: float, diameter_m: float, freedom: float | None = None
) -> float:
    """Temperature of an element that gives load_w_m2 to a chamber at chamber_c, °C, by radiation and by convection;
    `freedom`: share of its surface that radiates freely, by default FREEDOM of its alloy."""
    e, share = oven.elements, FREEDOM[oven.elements.alloy] if freedom is None else freedom
    return glow_c(load_w_m2, chamber_c, diameter_m, e.emissivity, share, _speed(oven))


def _film(oven: Oven, t_c: float, chamber_c: float, diameter_m: float) -> float:
    # The tables of air end at 1727 °C; every element melts below that.
    return cylinder_film(min(t_c, 1700.0), chamber_c, diameter_m, _speed(oven))


def _speed(oven: Oven) -> float:
    return oven.fan.air_speed_m_per_s if oven.fan else 0.0


def _sound_surface_m2(oven: Oven) -> tuple[float, bool]:
    """Surface of a sound design, and whether the chamber has too little room for it (then the surface is what fits)."""
    e, top = oven.elements, oven.limits.highest_c
    strained = e.power_w * (1.0 + oven.supply.tolerance) ** 2
    limit = e.limit_c or ALLOYS[e.alloy][2]
    diameter = e.wire_diameter_m or (SHEATH_M if e.alloy == "sheathed" else 0.0015)
    room = MOST_OF_FACES * sum(f.inner_area_m2 for f in oven.faces)
    bearable = 0.0
    if limit > top:
        # The surface load of an element at its own limit in the chamber at its highest temperature.
        strength = e.emissivity * FREEDOM[e.alloy] * STEFAN_BOLTZMANN
        bearable = strength * ((limit + ZERO_C) ** 4 - (top + ZERO_C) ** 4)
        bearable += _film(oven, limit, top, diameter) * (limit - top)
    # Above the makers' table the advised load goes to zero; an oven built for such temperatures still needs some load.
    advised = max(recommended_load_w_m2(e.alloy, top), 0.25 * SURFACE_LOAD[e.alloy][-1][1])
    wanted = max(e.power_w / advised, strained / max(bearable, 1.0))
    return (wanted, False) if wanted <= room else (room, True)


def _sound_diameter_m(oven: Oven, surface_m2: float) -> float:
    """Diameter, m, of the round wire with that surface that draws the power from the supply: with groups in parallel R
    = V²/P = ρ L / (π d²/4) and A = π d L give d³ = 4 ρ A P / (π² V²)."""
    e = oven.elements
    if e.alloy == "sheathed":
        return SHEATH_M
    if e.wire_length_m:
        return min(max(surface_m2 / (math.pi * e.wire_length_m), THINNEST_M), THICKEST_M)
    power, surface = e.power_w / e.groups, surface_m2 / e.groups
    wire = (4.0 * ALLOYS[e.alloy][0] * surface * power / (math.pi**2 * oven.supply.voltage_v**2)) ** (1.0 / 3.0)
    return min(max(wire, THINNEST_M), THICKEST_M)


def assumed(oven: Oven) -> tuple[str, ...]:
    """The guesses about the elements, as lines for the oven's assumptions."""
    h, e = heater_of(oven), oven.elements
    said = []
    if "surface" in h.guessed:
        load = f"{e.power_w / h.surface_m2 / 1e4:.1f} W/cm²"
        why = (
            f"what finds room in the chamber, {load}"
            if h.crowded
            else f"{load}, as a sound design for {oven.limits.highest_c:.0f} °C has it"
        )
        said.append(
            f"elements.surface: {h.surface_m2:.3g} m² ({why}; "
            "measure wire or sheath: π × diameter × length, all of them)"
        )
    if "mass" in h.guessed:
        round_mm = 4000.0 * h.mass_kg / (h.material.density_kg_m3 * h.surface_m2)
        said.append(
            f"elements.mass: {h.mass_kg:.3g} kg (round elements of {round_mm:.1f} mm; weigh them, or ask their maker)"
        )
    if h.clamped_from_m is not None:
        said.append(
            f"elements: mass over surface would be wire of {1000.0 * h.clamped_from_m:.3g} mm; "
            f"{1000.0 * h.diameter_m:g} mm is taken for the film round it (check 'mass' and 'surface')"
        )
    return tuple(said)
