"""Materials by name, the layers of the walls, and the areas of the faces."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from ..settings.construction import Face, Layer, Load, UserMaterial, Wall
from ..settings.oven import Oven
from ..thermal.material_data import Material, air_gap, find, from_points, from_polynomial
from ..thermal.walls import WallLayer
from .edges import edges_of

#: Mean temperature of a seller's R-value or conductivity that says none, °C: 75 °F (common practice; insulation for
#: buildings in Europe often 10 °C).
PRINTED_AT_C = 24.0
#: Above this, W/(m·K), it is no insulation, and one value serves.
INSULATES_W_PER_MK = 2.0


def carried(curve: Material, k_w_per_mk: float, mean_c: float) -> Material:
    """`curve` with its conductivity so scaled that it is the seller's figure at that mean temperature, °C."""
    scaled = curve.scaled(k_w_per_mk / curve.conductivity(mean_c))
    return replace(scaled, source=f"the seller's figure at {mean_c:.0f} °C, along the curve of {curve.name}")


def material_of(oven: Oven, name: str) -> Material:
    """A material by name: the oven's own first, then the library's. Raises KilnctlError for an unknown one."""
    for own in oven.materials:
        if own.name == name:
            common = (own.density_kg_per_m3, own.heat_capacity, own.limit_c, own.source, own.uncertainty)
            if own.like is not None:
                curve = find(own.like)
                points = carried(curve, own.conductivity[0][1], measured_c(own)).conductivity_points
                return replace(from_points(name, points, *common), kind=curve.kind)
            if own.conductivity:
                return from_points(name, own.conductivity, *common)
            return from_polynomial(name, own.conductivity_polynomial_w_per_mk, *common)
    return find(name)


def measured_c(own: UserMaterial) -> float:
    """The mean temperature of a material's single conductivity, °C."""
    if own.mean_c is not None:
        return own.mean_c
    return own.conductivity[0][0] if _says_mean(own) else PRINTED_AT_C


def _says_mean(own: UserMaterial) -> bool:
    """Whether a material says at which temperature its single conductivity holds (NaN stands for none)."""
    return own.mean_c is not None or not math.isnan(own.conductivity[0][0])


@lru_cache(maxsize=256)
def layers_of(oven: Oven, wall: Wall) -> tuple[WallLayer, ...]:
    """The wall's layers from the hot face outward. What the seller prints for a layer holds at a mean temperature, and
    is carried to others along the curve of the layer's material."""
    layers = []
    for i, layer in enumerate(wall.layers):
        if layer.material == "air gap":
            material = air_gap(layer.thickness_m)
        else:
            material = material_of(oven, layer.material)
        if layer.printed_w_per_mk is not None:
            material = carried(material, layer.printed_w_per_mk, mean_c_of(layer))
        contact = wall.contact_insulance_m2k_per_w if i < len(wall.layers) - 1 else 0.0
        layers.append(WallLayer(material, layer.thickness_m, contact))
    return tuple(layers)


def mean_c_of(layer: Layer) -> float:
    """The mean temperature of what the seller prints for a layer, °C."""
    return PRINTED_AT_C if layer.mean_c is None else layer.mean_c


def is_constant(oven: Oven, name: str) -> bool:
    """Whether that is an insulation of the file's own with one conductivity for all temperatures."""
    own = next((m for m in oven.materials if m.name == name), None)
    return own is not None and own.has_one_value and own.like is None and own.conductivity[0][1] < INSULATES_W_PER_MK


def assumed_of_layers(oven: Oven) -> tuple[str, ...]:
    """What is assumed of sellers' figures, as lines for the oven's assumptions."""
    said = []
    for m in oven.materials:
        if m.like is not None and not _says_mean(m):
            said.append(f"materials '{m.name}'.mean temperature: {PRINTED_AT_C:.0f} °C ({_USUAL})")
        if is_constant(oven, m.name):
            said.append(
                f"materials '{m.name}'.like: nothing, so its conductivity is the same at every temperature; insulation "
                "conducts more when it is hot (name a material of its kind, and the 'mean temperature' of the figure)"
            )
    for key in ("sides", "roof", "floor", "door"):
        wall = getattr(oven.walls, key)
        for i, layer in enumerate(wall.layers if wall is not None else ()):
            if layer.printed_w_per_mk is None:
                continue
            place = f"walls.{key}.layers[{i + 1}]"
            if layer.mean_c is None:
                said.append(f"{place}.mean temperature: {PRINTED_AT_C:.0f} °C ({_USUAL})")
            if layer.material != "air gap" and not is_constant(oven, layer.material):
                said.append(f"{place}: the seller's figure changes with temperature as that of {layer.material} does")
    return tuple(said)


_USUAL = "at which most sellers measure; ask for it, as insulation conducts more when it is hot"


@dataclass(frozen=True)
class Slice:
    """A share of a layer's thickness, with the areas over the hot face's that conduct and that hold heat there."""

    share: float
    conducts: float
    holds: float


@dataclass(frozen=True)
class FaceGeometry:
    """Areas of all equal faces of one kind together, m². `spreads`: by how much edges and corners widen each layer: it
    conducts with inner_m2 times that. `slices`: each layer's widening by depth, from its hot side outward; together
    they conduct as the layer does. outer_m2 is what the outside's film acts on. middle_share: how far the middle of
    the outside rises above the room, as a share of an endless wall's rise."""

    inner_m2: float
    spreads: tuple[float, ...]
    slices: tuple[tuple[Slice, ...], ...]
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
    widened = (w + h) / (w * h), outer / (n * w * h)
    layers = layers_of(oven, face.wall)
    first = next((i for i, x in enumerate(layers) if x.material.kind != "metal"), 0)
    slices = tuple(
        _slices(x, spread, *widened, i == first)
        for i, (x, spread) in enumerate(zip(edges.slices, spreads, strict=True))
    )
    across_x, across_y, across_z = edges.middle
    share = max(across_x, across_y) if face.orientation == "vertical" else across_z

    def length(width: float, height: float) -> float:
        return height if face.orientation == "vertical" else width * height / (2.0 * (width + height))

    return FaceGeometry(
        n * w * h,
        spreads,
        slices,
        edges.film * outer,
        thickness,
        length(w, h),
        length(w + 2.0 * thickness, h + 2.0 * thickness),
        share,
    )


def _slices(
    edges: tuple[tuple[float, float, float], ...], spread: float, per_m: float, most: float, first: bool
) -> tuple[Slice, ...]:
    """One layer's slices on a face whose width grows by per_m for each metre that edges add, at most to `most`.
    `first`: they begin at the hot face, with its area."""
    found = []
    for i, (share, added, held) in enumerate(edges):
        conducts, holds = min(1.0 + added * per_m, most), min(max(0.05, 1.0 + held * per_m), most)
        found += _growing(share, conducts, holds) if first and i == 0 else [Slice(share, conducts, holds)]
    scale = spread * sum(s.share / s.conducts for s in found)
    return tuple(Slice(s.share, scale * s.conducts, s.holds) for s in found)


#: Ends of the parts of the slice at the hot face, as shares of it.
_PARTS = (0.0, 0.06, 0.18, 0.36, 0.62, 1.0)


def _growing(share: float, conducts: float, holds: float) -> list[Slice]:
    """The slice at the hot face in parts that begin with the face's own area, and grow by depth until they conduct and
    hold together as the slice does: what warms up first is what lies straight behind the face."""
    low, high = 0.0, 20.0 * max(conducts - 1.0, 0.0)
    for _ in range(50):
        grown = 0.5 * (low + high)
        mean = math.log1p(grown) / grown if grown > 1e-9 else 1.0
        low, high = (grown, high) if mean > 1.0 / conducts else (low, grown)
    return [
        Slice(
            share * (b - a),
            (b - a) * low / math.log((1.0 + low * b) / (1.0 + low * a)) if low > 1e-9 else 1.0,
            1.0 + (holds - 1.0) * (a + b),
        )
        for a, b in pairwise(_PARTS)
    ]


def load_material(oven: Oven, load: Load) -> Material:
    """The load's material, for its heat capacity and conductivity."""
    return material_of(oven, load.material)
