"""Drawn boxes, and their walls by `kilnctl size` against the reference."""

import math
import random
from dataclasses import dataclass

import numpy as np
from box_reference import converged

from kilnctl.body.edges import edges_of, films_of
from kilnctl.settings.construction import Chamber
from kilnctl.thermal.material_data import find
from kilnctl.thermal.walls import WallLayer, solve_wall

AMBIENT_C = 20.0
#: Hot layers, what may stand behind them, and skins, with thicknesses in mm.
HOT = (
    ("dense firebrick", 64, 114),
    ("castable refractory", 40, 100),
    ("insulating firebrick 23", 64, 230),
    ("insulating firebrick 28", 64, 114),
    ("ceramic fibre board 300", 25, 75),
    ("ceramic fibre blanket 128", 25, 100),
    ("cordierite", 10, 20),
    ("mineral wool 100", 40, 120),
)
BACK = (
    ("insulating firebrick 23", 64, 114),
    ("ceramic fibre blanket 96", 25, 75),
    ("calcium silicate board", 25, 75),
    ("mineral wool 100", 25, 100),
)


@dataclass(frozen=True)
class Box:
    """Layers hot face first, inside lengths in m, inside temperature and emissivity of the outside."""

    layers: tuple[WallLayer, ...]
    inside_m: tuple[float, float, float]
    hot_c: float
    emissivity: float


@dataclass(frozen=True)
class Checked:
    """Heat of sizing's walls and of the reference, W; relative errors at the hottest (`error`), at half of the rise
    (`half`), and of the rule of 1913 at the hottest (`rule`); error of the hottest middle of the outside, K; by how
    much the reference's finer grid was away from its limit."""

    heat_w: float
    reference_w: float
    error: float
    half: float
    rule: float
    middle_k: float
    away: float


def drawn_box(chance: random.Random) -> Box:
    """A box of 80 to 800 mm inside with one to four layers that bear its temperature at their place, roughly."""
    name, low, high = chance.choice(HOT)
    layers = [WallLayer(find(name), chance.uniform(low, high) / 1000.0, chance.choice((0.0, 0.0, 0.01)))]
    for name, low, high in chance.sample(BACK, chance.choice((0, 1, 1, 2))):
        layers.append(WallLayer(find(name), chance.uniform(low, high) / 1000.0))
    if chance.random() < 0.6:
        layers.append(WallLayer(find("steel"), 0.001))
    side = math.exp(chance.uniform(math.log(0.08), math.log(0.8)))
    inside = (side * chance.uniform(0.7, 1.4), side * chance.uniform(0.7, 1.4), side * chance.uniform(0.7, 1.4))
    hot_c = min(1250.0, layers[0].material.limit_c) * chance.uniform(0.6, 0.95)
    return Box(tuple(layers), inside, hot_c, chance.choice((0.9, 0.9, 0.3)))


def _sized(box: Box, added_m: tuple[float, ...], film_share: float, hot_c: float) -> float:
    """Heat through all six walls as sizing has it, W: one-dimensional, each layer with its added width."""
    t, films = _thick(box), films_of(box.inside_m, _thick(box), AMBIENT_C, box.emissivity)
    w, d, h = box.inside_m
    total = 0.0
    for film, a, b in ((films[1], w, h), (films[0], d, h), (films[2], w, d)):
        wall = solve_wall(
            box.layers,
            hot_c,
            AMBIENT_C,
            area_ratio=film_share * (a + 2 * t) * (b + 2 * t) / (a * b),
            spreads=[1.0 + x * (a + b) / (a * b) for x in added_m],
            film=lambda face, film=film: float(film(np.array(face))),
        )
        total += 2.0 * a * b * wall.flux_w_m2
    return total


def _thick(box: Box) -> float:
    return sum(x.thickness_m for x in box.layers)


def checked(box: Box) -> Checked:
    """One box against the reference."""
    w, d, h = box.inside_m
    edges = edges_of(box.layers, Chamber(width_m=w, depth_m=d, height_m=h), box.hot_c, AMBIENT_C, box.emissivity)
    films = films_of(box.inside_m, _thick(box), AMBIENT_C, box.emissivity)
    half_c = AMBIENT_C + 0.5 * (box.hot_c - AMBIENT_C)
    truth, middles, away = converged(box.layers, box.inside_m, box.hot_c, AMBIENT_C, films, (3, 4))
    at_half, _, _ = converged(box.layers, box.inside_m, half_c, AMBIENT_C, films, (3, 4))
    heat = _sized(box, edges.added_m, edges.film, box.hot_c)
    t = _thick(box)
    rule = 0.54 * t + 0.15 * 8.0 * t * t / (4.0 * (w + d + h))  # Langmuir, Adams and Meikle, 1913
    errors = []
    for share, film, middle in zip(edges.middle, films, middles, strict=True):
        plane = solve_wall(box.layers, box.hot_c, AMBIENT_C, film=lambda face, film=film: float(film(np.array(face))))
        errors.append(AMBIENT_C + share * (plane.cold_face_c - AMBIENT_C) - float(middle))
    return Checked(
        heat,
        truth,
        heat / truth - 1.0,
        _sized(box, edges.added_m, edges.film, half_c) / at_half - 1.0,
        _sized(box, (rule,) * len(box.layers), 1.0, box.hot_c) / truth - 1.0,
        max(errors, key=abs),
        away,
    )
