"""From the body of an oven (`kilnctl.body`) to the arrays of its heat balance: what sizing solves, in another way."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..body import Heater, bodies_in, geometry_of, heater_of, layers_of, plate_of, star_m2, surfaces_of
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.materials import Material
from ..thermal.surfaces import cylinder_film, inner_film, natural_film
from .balance import Body
from .conditions import Variation
from .property_tables import Films, Properties
from .strips import Slab, Strip, divide, fewest_nodes


@dataclass(frozen=True)
class PlateFilm:
    """Film of a flat surface as a function of surface and air temperature in °C."""

    length_m: float
    orientation: str
    speed_m_per_s: float = 0.0

    def __call__(self, surface_c: float, air_c: float) -> float:
        if self.speed_m_per_s > 0.0:
            return inner_film(surface_c, air_c, self.length_m, self.orientation, self.speed_m_per_s)
        return natural_film(surface_c, air_c, self.length_m, self.orientation)


@dataclass(frozen=True)
class WireFilm:
    """Film of an element."""

    diameter_m: float
    speed_m_per_s: float = 0.0

    def __call__(self, surface_c: float, air_c: float) -> float:
        return cylinder_film(surface_c, air_c, self.diameter_m, self.speed_m_per_s)


@dataclass(frozen=True)
class Layout:
    """Which strip and surface is what. Strips: faces, then shelf, then load; surfaces: strips, then
    element groups."""

    names: tuple[str, ...]
    door: int
    shelf: int | None
    load: int | None
    groups: int


def assemble(
    oven: Oven, load: Load | None = None, variation: Variation = Variation(), nodes: int = 28, split: int = 1
) -> tuple[Body, Body, Layout, Heater]:
    """The balance with the fan running, the same with the fan stopped (only the films differ), what is where,
    the elements.

    `nodes` per strip (more where the layers need more), refined `split` times. Raises KilnctlError when the
    load cannot be in that chamber.
    """
    facts, surfaces = heater_of(oven), surfaces_of(oven, load)
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    materials: list[Material] = []

    def row(material: Material) -> int:
        if material not in materials:
            materials.append(material)
        return materials.index(material)

    columns: list[tuple[list[Slab], float]] = []
    outer, outer_films = [], []
    for face in oven.faces:
        geometry = geometry_of(face)
        slabs = [
            _slab(
                row,
                x.material,
                x.thickness_m,
                x.material.density_kg_m3 * variation.heat_capacity,
                variation.conductivity,
                x.contact_m2k_w,
            )
            for x in layers_of(oven, face.wall)
        ]
        columns.append((slabs, geometry.conduction_m2))
        outer.append((geometry.outer_m2, face.wall.outer_emissivity))
        outer_films.append(PlateFilm(geometry.outer_length_m, face.orientation))
    for name, body in bodies_in(oven, load):
        plate = plate_of(oven, body, variation.load_mass if name == "load" else 1.0)
        columns.append(([_slab(row, plate.material, plate.depth_m, plate.density_kg_m3)], plate.area_m2))
        outer.append((0.0, 0.9))
        outer_films.append(outer_films[0])
    groups = oven.elements.groups
    names = [s.name for s in surfaces[:-1]]
    layout = Layout(tuple(names), names.index("door"), _index(names, "shelf"), _index(names, "load"), groups)
    nodes = max([nodes, *(fewest_nodes(slabs) + 2 for slabs, _ in columns)])
    strips = [(divide(slabs, nodes, split=split), area) for slabs, area in columns]
    # The groups' elements share one surface's exchange, each its piece.
    whole = star_m2(oven, surfaces, variation.emissivity)
    star = np.append(whole[:-1], [whole[-1] / groups] * groups)
    areas = np.array([s.area_m2 for s in surfaces[:-1]] + [surfaces[-1].piece_m2] * groups)
    c = oven.chamber
    volume = c.width_m * c.depth_m * c.height_m
    element_row = row(facts.material)
    cold_air = air(0.0)

    def films_at(v: float) -> Films:
        plates = [PlateFilm(s.length_m, s.orientation, v) for s in surfaces[:-1]]
        return _films(tuple(plates + [WireFilm(surfaces[-1].length_m, v)] * groups))

    def body_with(inner: Films) -> Body:
        return Body(
            rows=_stack(strips, lambda s, a: s.row),
            per_length=_stack(strips, lambda s, a: s.per_length * a),
            contact=_stack(strips, lambda s, a: s.contact * a),
            mass=_stack(strips, lambda s, a: s.mass * a),
            outer_area=np.array([a for a, _ in outer]),
            outer_emissivity=np.array([e for _, e in outer]),
            element_mass=np.full(groups, variation.element_mass * facts.mass_kg / groups),
            element_row=element_row,
            surface_area=areas,
            star=star,
            film_scale=np.full(len(areas), variation.film),
            air_capacity=volume * cold_air.density_kg_m3 * cold_air.heat_capacity_j_kgk,
            properties=_properties(tuple(materials)),
            inner_films=inner,
            outer_films=_films(tuple(outer_films)),
        )

    return body_with(films_at(speed)), body_with(films_at(0.0)), layout, facts


def _index(names: list[str], name: str) -> int | None:
    return names.index(name) if name in names else None


def _slab(
    row, material: Material, thickness_m: float, density_kg_m3: float, factor: float = 1.0, contact: float = 0.0
) -> Slab:
    diffusivity = material.conductivity(200.0) / (material.density_kg_m3 * material.heat_capacity(200.0))
    return Slab(row(material), thickness_m, density_kg_m3, diffusivity, factor, contact)


def _stack(strips: Sequence[tuple[Strip, float]], pick) -> np.ndarray:
    return np.ascontiguousarray(np.array([pick(strip, area) for strip, area in strips]).T)


@lru_cache(maxsize=64)
def _films(functions: tuple) -> Films:
    return Films(functions)


@lru_cache(maxsize=64)
def _properties(materials: tuple[Material, ...]) -> Properties:
    return Properties.of([(m.conductivity, m.heat_capacity) for m in materials])
