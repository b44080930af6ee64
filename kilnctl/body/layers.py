"""Materials by name, the layers of the walls, and the areas of the faces."""

import math
from dataclasses import dataclass
from functools import lru_cache

from ..settings.construction import Face, Load, Wall
from ..settings.oven import Oven
from ..thermal.material_data import Material, air_gap, find, from_points, from_polynomial
from ..thermal.walls import WallLayer
from .edges import edges_of


def material_of(oven: Oven, name: str) -> Material:
    """A material by name: the oven's own first, then the library's. Raises KilnctlError for an unknown one."""
    for own in oven.materials:
        if own.name == name:
            common = (own.density_kg_per_m3, own.heat_capacity, own.limit_c, own.source, own.uncertainty)
            if own.conductivity:
                return from_points(name, own.conductivity, *common)
            return from_polynomial(name, own.conductivity_polynomial_w_per_mk, *common)
    return find(name)


@lru_cache(maxsize=256)
def layers_of(oven: Oven, wall: Wall) -> tuple[WallLayer, ...]:
    """The wall's layers from the hot face outward. A layer given by its R-value has the constant conductivity thickness
    / R."""
    layers = []
    for i, layer in enumerate(wall.layers):
        if layer.material == "air gap":
            material = air_gap(layer.thickness_m)
        else:
            material = material_of(oven, layer.material)
        if layer.insulance_m2k_per_w is not None:
            k = layer.thickness_m / layer.insulance_m2k_per_w
            material = from_points(
                layer.material,
                ((math.nan, k),),
                material.density_kg_m3,
                material.capacity_points,
                material.limit_c,
                "from the layer's R-value",
                material.uncertainty,
            )
        contact = wall.contact_insulance_m2k_per_w if i < len(wall.layers) - 1 else 0.0
        layers.append(WallLayer(material, layer.thickness_m, contact))
    return tuple(layers)


@dataclass(frozen=True)
class FaceGeometry:
    """Areas of all equal faces of one kind together, m². `spreads`: by how much edges and corners widen each layer: it
    conducts with inner_m2 times that. outer_m2 is what the outside's film acts on. middle_share: how far the middle of
    the outside rises above the room, as a share of an endless wall's rise."""

    inner_m2: float
    spreads: tuple[float, ...]
    outer_m2: float
    thickness_m: float
    inner_length_m: float
    outer_length_m: float
    middle_share: float


@lru_cache(maxsize=256)
def geometry_of(oven: Oven, face: Face) -> FaceGeometry:
    """Areas and characteristic lengths (height of a vertical face, area/perimeter of a horizontal one)."""
    thickness = sum(layer.thickness_m for layer in face.wall.layers)
    w, h, n = face.width_m, face.height_m, face.count
    edges = edges_of(
        layers_of(oven, face.wall),
        oven.chamber,
        oven.limits.highest_c,
        oven.site.ambient_c,
        face.wall.outer_emissivity,
    )
    outer = n * (w + 2.0 * thickness) * (h + 2.0 * thickness)
    spreads = tuple(min(1.0 + added * (w + h) / (w * h), outer / (n * w * h)) for added in edges.added_m)
    across_x, across_y, across_z = edges.middle
    share = max(across_x, across_y) if face.orientation == "vertical" else across_z

    def length(width: float, height: float) -> float:
        return height if face.orientation == "vertical" else width * height / (2.0 * (width + height))

    return FaceGeometry(
        n * w * h,
        spreads,
        edges.film * outer,
        thickness,
        length(w, h),
        length(w + 2.0 * thickness, h + 2.0 * thickness),
        share,
    )


def load_material(oven: Oven, load: Load) -> Material:
    """The load's material, for its heat capacity and conductivity."""
    return material_of(oven, load.material)
