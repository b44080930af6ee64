"""Small heat balances built by hand, for tests that have an answer from elsewhere; and the workshop's
ovens."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from kilnctl.plants.balance import Body, Surroundings
from kilnctl.plants.core import Core
from kilnctl.plants.property_tables import Films, Properties
from kilnctl.plants.strips import StripLayer, divide
from kilnctl.settings import load_oven

OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")
ROOT = Path(__file__).resolve().parents[2]


@lru_cache
def oven(name: str):
    return load_oven(ROOT / "configs" / "ovens" / f"{name}.yaml")


@dataclass(frozen=True)
class Constant:
    """A film, or a property, that is the same everywhere."""

    value: float

    def __call__(self, *_):
        return self.value


def strip_core(
    slabs,
    materials,
    *,
    nodes,
    film=0.0,
    outer_film=0.0,
    outer_area=0.0,
    air_k=300.0,
    start_k=300.0,
    split=1,
    ambient_k=300.0,
    tolerance_k=0.5,
    first_s=5.0,
    growth=0.3,
):
    """One strip of 1 m²: convection with an air of fixed temperature at its hot face, a film or no heat at its outer
    face, no radiation. Returns it and the depth of its nodes, m. `materials` are pairs (conductivity, heat capacity) of
    a temperature in °C.
    """
    strip = divide(slabs, nodes, first_s=first_s, growth=growth, split=split)
    tiny = 1e-12
    body = Body(
        rows=strip.row[:, None],
        per_length=strip.per_length[:, None],
        contact=strip.contact[:, None],
        mass=strip.mass[:, None],
        outer_area=np.array([outer_area]),
        outer_emissivity=np.array([0.0]),
        element_mass=np.array([1.0]),
        element_row=0,
        surface_area=np.array([1.0, tiny]),
        star=np.array([tiny, tiny]),
        film_scale=np.ones(2),
        air_capacity=1e18,
        properties=Properties.of(materials),
        inner_films=Films([Constant(film), Constant(0.0)]),
        outer_films=Films([Constant(outer_film)]),
    )
    core = Core(body, Surroundings(ambient_k), start_k, tolerance_k)
    core.air_k = air_k
    return core, strip.depth_m


def network_core(*, mass_kg, link_w_per_k, star_m2, outer_w_per_k, start_k, ambient_k, tolerance_k=2.0):
    """Three lumps in a row: element –(radiation)– inner lump –(conductance)– outer lump –(film)– ambient.
    `mass_kg` of the three, all with 1000 J/(kg·K); `star_m2` the conductance of element and of inner lump to
    the star."""
    body = Body(
        rows=np.zeros((1, 1), dtype=int),
        per_length=np.zeros((1, 1)),
        contact=np.array([[link_w_per_k]]),
        mass=np.array([[mass_kg[1]]]),
        outer_area=np.array([1.0]),
        outer_emissivity=np.array([0.0]),
        element_mass=np.array([mass_kg[0]]),
        element_row=0,
        surface_area=np.full(2, 1e-12),
        star=np.array(star_m2, dtype=float),
        film_scale=np.ones(2),
        air_capacity=1e-3,
        properties=Properties.of([(Constant(1.0), Constant(1000.0))]),
        inner_films=Films([Constant(1.0), Constant(1.0)]),
        outer_films=Films([Constant(outer_w_per_k)]),
    )
    assert mass_kg[1] == mass_kg[2], "the strip's one interval shares its mass equally"
    return Core(body, Surroundings(ambient_k), start_k, tolerance_k)


def readings_of(plant, seconds, duty=1.0, contactor=True):
    """What the plant shows in that many ticks of 1 s."""
    return [plant.advance(1.0, duty, contactor) for _ in range(seconds)]


def told(value: float | None) -> float:
    """A figure that this oven has."""
    assert value is not None
    return value


def run(core, seconds, dt, element_w=(0.0,)):
    power = np.array(element_w, dtype=float)
    for _ in range(round(seconds / dt)):
        core.step(dt, power)
    core.refresh()
    return core


__all__ = [
    "OVENS",
    "ROOT",
    "Constant",
    "StripLayer",
    "network_core",
    "oven",
    "readings_of",
    "run",
    "strip_core",
    "told",
]
