"""From the body of an oven (`kilnctl.body`) to the arrays of its heat balance: the same network that sizing solves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..body import Heater, Surface, bodies_in, geometry_of, heater_of, layers_of, plate_of, star_m2, surfaces_of
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.material_data import Material
from ..thermal.surfaces import cylinder_film, forced_film, natural_film
from .balance import Body
from .conditions import AS_DESCRIBED, Variation
from .property_tables import Films, Properties
from .strips import Strip, StripLayer, divide, fewest_nodes


@dataclass(frozen=True)
class PlateFilm:
    """Natural film of a flat surface as a function of surface and air temperature in °C."""

    length_m: float
    orientation: str

    def __call__(self, surface_c: float, air_c: float) -> float:
        return natural_film(surface_c, air_c, self.length_m, self.orientation)


@dataclass(frozen=True)
class WireFilm:
    """Natural film of an element."""

    diameter_m: float

    def __call__(self, surface_c: float, air_c: float) -> float:
        return cylinder_film(surface_c, air_c, self.diameter_m)


@dataclass(frozen=True)
class ForcedFilm:
    """Film of a flat surface or, with `wire`, of an element in the fan's stream as a function of the mean of surface
    and air temperature in °C."""

    length_m: float
    speed_m_per_s: float
    wire: bool = False

    def __call__(self, mean_c: float) -> float:
        if self.wire:
            return cylinder_film(mean_c, mean_c, self.length_m, self.speed_m_per_s)
        return forced_film(mean_c, mean_c, self.length_m, self.speed_m_per_s)


@dataclass(frozen=True)
class Layout:
    """The order of strips and surfaces. Strips: faces, then shelf, then load; surfaces: strips, then element groups.

    porous: for each row of the property tables, whether that material can hold water (no metal, no gap)."""

    names: tuple[str, ...]
    door: int
    shelf: int | None
    load: int | None
    groups: int
    porous: tuple[bool, ...]


@dataclass(frozen=True)
class Assembled:
    """One oven as arrays: its balance with the fan running and with the fan stopped (only the films differ), their
    layout, and the elements."""

    stirred: Body
    still: Body
    layout: Layout
    heater: Heater


class _Rows:
    """Materials in the order of their rows in the property tables."""

    def __init__(self) -> None:
        self.materials: list[Material] = []

    def of(self, material: Material) -> int:
        if material not in self.materials:
            self.materials.append(material)
        return self.materials.index(material)


@dataclass(frozen=True)
class _LayerStack:
    """A wall, shelf or load before it is divided into nodes: its layers, hot face first, and its outside."""

    slabs: list[StripLayer]
    area_m2: float
    outer_m2: float
    outer_emissivity: float
    outer_film: PlateFilm


def assemble(
    oven: Oven, load: Load | None = None, variation: Variation = AS_DESCRIBED, nodes: int = 28, split: int = 1
) -> Assembled:
    """The arrays of an oven's heat balance.

    `nodes` per strip (more where the layers need more), refined `split` times. Raises KilnctlError when the load does
    not fit into that chamber.
    """
    heater, surfaces = heater_of(oven), surfaces_of(oven, load)
    rows = _Rows()
    columns = _columns(oven, load, variation, rows)
    nodes = max([nodes, *(fewest_nodes(c.slabs) + 2 for c in columns)])
    strips = [(divide(c.slabs, nodes, split=split), c.area_m2) for c in columns]
    groups = oven.elements.groups
    # The element groups share the exchange of one surface, an equal part each.
    whole = star_m2(oven, surfaces, variation.emissivity)
    areas = np.array([s.area_m2 for s in surfaces[:-1]] + [surfaces[-1].piece_m2] * groups)
    chamber, cold_air = oven.chamber, air(0.0)
    volume = chamber.width_m * chamber.depth_m * chamber.height_m
    still = Body(
        rows=_stack(strips, lambda s, a: s.row),
        per_length=_stack(strips, lambda s, a: s.per_length * a),
        contact=_stack(strips, lambda s, a: s.contact * a),
        mass=_stack(strips, lambda s, a: s.mass * a),
        outer_area=np.array([c.outer_m2 for c in columns]),
        outer_emissivity=np.array([c.outer_emissivity for c in columns]),
        element_mass=np.full(groups, variation.element_mass * heater.mass_kg / groups),
        element_row=rows.of(heater.material),
        surface_area=areas,
        star=np.append(whole[:-1], [whole[-1] / groups] * groups),
        film_scale=np.full(len(areas), variation.film),
        air_capacity=volume * cold_air.density_kg_m3 * cold_air.heat_capacity_j_kgk,
        properties=_properties(tuple(rows.materials)),
        inner_films=_inner_films(surfaces, groups, 0.0),
        outer_films=_films(tuple(c.outer_film for c in columns)),
    )
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    names = [s.name for s in surfaces[:-1]]
    porous = tuple(m.kind not in ("metal", "gap") for m in rows.materials)
    layout = Layout(tuple(names), names.index("door"), _index(names, "shelf"), _index(names, "load"), groups, porous)
    return Assembled(replace(still, inner_films=_inner_films(surfaces, groups, speed)), still, layout, heater)


def _columns(oven: Oven, load: Load | None, variation: Variation, rows: _Rows) -> list[_LayerStack]:
    """The faces in the description's order, then shelf and load; their materials get rows in that order."""
    columns = []
    for face in oven.faces:
        geometry = geometry_of(oven, face)
        slabs = [
            _slab(
                rows.of(x.material),
                x.material,
                x.thickness_m,
                x.material.density_kg_m3 * variation.heat_capacity,
                variation.conductivity,
                x.contact_m2k_w,
                spread,
                tuple((s.share, s.conducts, s.holds) for s in slices),
            )
            for x, spread, slices in zip(layers_of(oven, face.wall), geometry.spreads, geometry.slices, strict=True)
        ]
        film = PlateFilm(geometry.outer_length_m, face.orientation)
        columns.append(_LayerStack(slabs, geometry.inner_m2, geometry.outer_m2, face.wall.outer_emissivity, film))
    unused_film = columns[0].outer_film  # shelf and load have no outside: area zero
    for name, body in bodies_in(oven, load):
        plate = plate_of(oven, body, variation.load_mass if name == "load" else 1.0)
        slab = _slab(rows.of(plate.material), plate.material, plate.depth_m, plate.density_kg_m3)
        columns.append(_LayerStack([slab], plate.area_m2, 0.0, 0.9, unused_film))
    return columns


def _inner_films(surfaces: Sequence[Surface], groups: int, speed_m_per_s: float) -> Films:
    """Films of every surface inside at that air speed; the last surface represents all element groups."""
    plates, wire = surfaces[:-1], surfaces[-1]
    natural = (*[PlateFilm(s.length_m, s.orientation) for s in plates], *[WireFilm(wire.length_m)] * groups)
    if speed_m_per_s <= 0.0:
        return _films(natural)
    forced = [ForcedFilm(s.length_m, speed_m_per_s) for s in plates]
    return _films(natural, (*forced, *[ForcedFilm(wire.length_m, speed_m_per_s, wire=True)] * groups))


def _index(names: list[str], name: str) -> int | None:
    return names.index(name) if name in names else None


def _slab(
    row: int,
    material: Material,
    thickness_m: float,
    density_kg_m3: float,
    factor: float = 1.0,
    contact: float = 0.0,
    spread: float = 1.0,
    slices: tuple[tuple[float, float, float], ...] = ((1.0, 1.0, 1.0),),
) -> StripLayer:
    diffusivity = material.conductivity(200.0) / (material.density_kg_m3 * material.heat_capacity(200.0))
    return StripLayer(row, thickness_m, density_kg_m3, diffusivity, factor, contact, spread, slices)


def _stack(strips: Sequence[tuple[Strip, float]], pick) -> np.ndarray:
    return np.ascontiguousarray(np.array([pick(strip, area) for strip, area in strips]).T)


@lru_cache(maxsize=64)
def _films(natural: tuple, forced: tuple = ()) -> Films:
    return Films(natural, forced)


@lru_cache(maxsize=64)
def _properties(materials: tuple[Material, ...]) -> Properties:
    return Properties.of([(m.conductivity, m.heat_capacity) for m in materials])
