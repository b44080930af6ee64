"""From the description of an oven to the arrays of its heat balance. Physics comes from `kilnctl.thermal`,
geometry and materials from `kilnctl.build`, so sizing and virtual oven speak of the same oven and solve it in
different ways."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..build import INSIDE, ElementFacts, element_facts, geometry_of, layers_of, load_material
from ..errors import KilnctlError
from ..settings.body import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.enclosure import star_conductances_m2
from ..thermal.materials import Material
from ..thermal.surfaces import cylinder_film, inner_film, natural_film
from .balance import Body
from .conditions import Variation
from .grid import Slab, Strip, divide, fewest_nodes
from .tables import Films, Properties


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
) -> tuple[Body, Body, Layout, ElementFacts]:
    """The balance with the fan running, the same with the fan stopped (only the films differ), what is where,
    the elements.

    `nodes` per strip (more where the layers need more), refined `split` times. Raises KilnctlError when the
    load cannot be in that chamber.
    """
    facts = element_facts(oven.elements)
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    materials: list[Material] = []

    def row(material: Material) -> int:
        if material not in materials:
            materials.append(material)
        return materials.index(material)

    columns: list[tuple[list[Slab], float]] = []
    outer, pieces, counts, emissivities, films, outer_films = [], [], [], [], [], []
    for face in oven.faces:
        geometry = geometry_of(face)
        slabs = []
        for layer in layers_of(oven, face.wall):
            m = layer.material
            diffusivity = m.conductivity(200.0) / (m.density_kg_m3 * m.heat_capacity(200.0))
            slabs.append(Slab(row(m), layer.thickness_m, m.density_kg_m3 * variation.heat_capacity, diffusivity,
                              variation.conductivity, layer.contact_m2k_w))  # fmt: skip
        columns.append((slabs, geometry.conduction_m2))
        outer.append((geometry.outer_m2, face.wall.outer_emissivity))
        pieces.append(geometry.inner_m2 / face.count)
        counts.append(face.count)
        emissivities.append(oven.chamber.emissivity)
        films.append((geometry.inner_length_m, INSIDE[face.orientation]))
        outer_films.append(PlateFilm(geometry.outer_length_m, face.orientation))
    c = oven.chamber
    volume = c.width_m * c.depth_m * c.height_m
    if load is not None and load.mass_kg / load_material(oven, load).density_kg_m3 > 0.9 * volume:
        raise KilnctlError(f"the load '{load.name}' does not fit into the chamber of {oven.name}: {load.mass_kg:g} kg of "
                           f"{load.material} are more than its {1000.0 * volume:.1f} litres")  # fmt: skip
    names = [face.name for face in oven.faces]
    inside = {"shelf": oven.shelf, "load": load if load is not None and load.mass_kg > 0.0 else None}
    for name, body in inside.items():
        if body is None:
            continue
        mass = body.mass_kg * (variation.load_mass if name == "load" else 1.0)
        columns.append((_plate(body, load_material(oven, body), mass, row), body.area_m2))
        outer.append((0.0, 0.9))
        pieces.append(0.5 * body.area_m2)
        counts.append(2)
        emissivities.append(body.emissivity)
        films.append((min(oven.chamber.height_m, math.sqrt(0.5 * body.area_m2)), "vertical"))
        outer_films.append(outer_films[0])
        names.append(name)
    layout = Layout(
        tuple(names), names.index("door"), _index(names, "shelf"), _index(names, "load"), oven.elements.groups
    )

    groups = oven.elements.groups
    nodes = max([nodes, *(fewest_nodes(slabs) + 2 for slabs, _ in columns)])
    strips = [(divide(slabs, nodes, split=split), area) for slabs, area in columns]
    areas = np.array(pieces + [facts.surface_m2 / groups] * groups)
    count = np.array(counts + [1] * groups, dtype=float)
    emissivity = np.minimum(
        1.0, variation.emissivity * np.array(emissivities + [oven.elements.emissivity] * groups)
    )
    try:
        star = star_conductances_m2(areas, emissivity, count)
    except ValueError as error:
        raise KilnctlError(
            f"{oven.name}: the load is too large for the radiation in this chamber ({error})"
        ) from error
    element_row = row(facts.material)
    cold_air = air(0.0)

    def films_at(v: float) -> Films:
        return _films(tuple([PlateFilm(*f, v) for f in films] + [WireFilm(facts.diameter_m, v)] * groups))

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
            surface_area=areas * count,
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


def _plate(body: Load, material: Material, mass_kg: float, row) -> list[Slab]:
    """Half a plate, heated on the outside: the depth is half the thickness given, else what mass, density
    and area make."""
    depth = 0.5 * body.thickness_m if body.thickness_m else mass_kg / (material.density_kg_m3 * body.area_m2)
    density = mass_kg / (body.area_m2 * depth)
    diffusivity = material.conductivity(200.0) / (material.density_kg_m3 * material.heat_capacity(200.0))
    return [Slab(row(material), depth, density, diffusivity)]


def _stack(strips: Sequence[tuple[Strip, float]], pick) -> np.ndarray:
    return np.ascontiguousarray(np.array([pick(strip, area) for strip, area in strips]).T)


@lru_cache(maxsize=64)
def _films(functions: tuple) -> Films:
    return Films(functions)


@lru_cache(maxsize=64)
def _properties(materials: tuple[Material, ...]) -> Properties:
    return Properties.of([(m.conductivity, m.heat_capacity) for m in materials])
