"""From the description to the physics: names become materials, walls become layers, faces get their areas.

The one place where sizing, virtual oven and model get these, so that they cannot disagree.
"""

import math
from dataclasses import dataclass

from .settings.body import Elements, Face, Load, Wall
from .settings.oven import Oven
from .thermal.box import CORNER, EDGE
from .thermal.elements import ALLOYS, recommended_load_w_m2
from .thermal.materials import Material, air_gap, find, from_points, from_polynomial
from .thermal.walls import Layer


#: The inside of a roof has its air below it, the inside of a floor above.
INSIDE = {"vertical": "vertical", "up": "down", "down": "up"}


def material_of(oven: Oven, name: str) -> Material:
    """A material by name: the oven's own first, then the library's. Raises KilnctlError for an unknown one."""
    for own in oven.materials:
        if own.name == name:
            common = (own.density_kg_per_m3, own.heat_capacity, own.limit_c, own.source, own.uncertainty)
            if own.conductivity:
                return from_points(name, own.conductivity, *common)
            return from_polynomial(name, own.conductivity_polynomial_w_per_mk, *common)
    return find(name)


def layers_of(oven: Oven, wall: Wall) -> tuple[Layer, ...]:
    """The wall's layers from the hot face outward. A layer given by its R-value has the constant conductivity that follows."""
    layers = []
    for i, layer in enumerate(wall.layers):
        if layer.material == "air gap":
            material = air_gap(layer.thickness_m)
        else:
            material = material_of(oven, layer.material)
        if layer.insulance_m2k_per_w is not None:
            k = layer.thickness_m / layer.insulance_m2k_per_w
            material = from_points(layer.material, ((math.nan, k),), material.density_kg_m3, material.capacity_points,
                                   material.limit_c, "from the layer's R-value", material.uncertainty)  # fmt: skip
        contact = wall.contact_insulance_m2k_per_w if i < len(wall.layers) - 1 else 0.0
        layers.append(Layer(material, layer.thickness_m, contact))
    return tuple(layers)


@dataclass(frozen=True)
class FaceGeometry:
    """Areas of all equal faces of one kind together, m². `conduction` carries the face's share of edges and corners."""

    inner_m2: float
    conduction_m2: float
    outer_m2: float
    thickness_m: float
    inner_length_m: float
    outer_length_m: float


def geometry_of(face: Face) -> FaceGeometry:
    """Areas and characteristic lengths (height of a vertical face, area/perimeter of a horizontal one)."""
    thickness = sum(layer.thickness_m for layer in face.wall.layers)
    w, h, n = face.width_m, face.height_m, face.count
    inner = n * w * h
    conduction = inner + EDGE * n * (w + h) * thickness + CORNER * n * (4.0 / 3.0) * thickness**2
    outer = n * (w + 2.0 * thickness) * (h + 2.0 * thickness)

    def length(width: float, height: float) -> float:
        return height if face.orientation == "vertical" else width * height / (2.0 * (width + height))

    return FaceGeometry(inner, conduction, outer, thickness, length(w, h), length(w + 2.0 * thickness, h + 2.0 * thickness))


def load_material(oven: Oven, load: Load) -> Material:
    """The load's material, for its heat capacity and conductivity."""
    return material_of(oven, load.material)


@dataclass(frozen=True)
class ElementFacts:
    """What the heat balance needs of the elements: all groups together."""

    mass_kg: float
    surface_m2: float
    diameter_m: float
    material: Material
    resistance: tuple[tuple[float, float], ...]  # °C, resistance over that at 20 °C
    melts_c: float

    def factor(self, t_c: float) -> float:
        """Resistance at t_c over that at 20 °C, linear between the points and constant beyond them."""
        points = self.resistance
        for (t0, f0), (t1, f1) in zip(points, points[1:]):
            if t_c < t1:
                return f0 + (f1 - f0) * max(0.0, t_c - t0) / (t1 - t0)
        return points[-1][1]


# Heat capacity of heating alloys, and of sheathed elements with their magnesia, J/(kg·K) against °C (from
# memory, ±10 %).
_CAPACITY = {
    "iron-chromium-aluminium": ((20.0, 460.0), (400.0, 600.0), (800.0, 700.0), (1200.0, 720.0)),
    "nickel-chromium": ((20.0, 450.0), (400.0, 520.0), (800.0, 600.0), (1200.0, 650.0)),
    "sheathed": ((20.0, 560.0), (400.0, 680.0), (800.0, 760.0)),
}
# Where wire melts, or a sheathed element fails, °C (from memory).
_MELTS_C = {"iron-chromium-aluminium": 1500.0, "nickel-chromium": 1400.0, "sheathed": 1100.0}


def element_facts(elements: Elements) -> ElementFacts:
    """Mass, surface and diameter of the elements: as given, else from the wire, else from a usual surface
    load."""
    _, resistance, _, density = ALLOYS[elements.alloy]
    d, length = elements.wire_diameter_m, elements.wire_length_m
    surface = elements.surface_m2
    if surface is None:
        surface = (
            math.pi * d * length
            if d and length
            else elements.power_w / recommended_load_w_m2(elements.alloy, 20.0)
        )
    mass = elements.mass_kg
    if mass is None:
        mass = (
            math.pi / 4.0 * d * d * length * density
            if d and length
            else surface * (d or 0.006) / 4.0 * density
        )
    diameter = d or 4.0 * mass / (density * surface)
    material = Material(
        elements.alloy, "element", ((20.0, 20.0),), density, _CAPACITY[elements.alloy], 1400.0, "from memory"
    )
    return ElementFacts(mass, surface, diameter, material, resistance, _MELTS_C[elements.alloy])
