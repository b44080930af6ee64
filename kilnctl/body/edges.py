"""What edges and corners add to the walls of one oven, from the box solved in three dimensions (`thermal.box`).

Where walls meet, makers build differently; here each wall's layers wrap round the whole box, and unlike walls each take
their own box's share. Sizing gives that a range (`kilnctl.sizing`). The box is solved once for each wall, at the oven's
highest temperature: between there and half of it the result moves by 1 to 2 %.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..settings.construction import Chamber
from ..thermal.box import solve_box
from ..thermal.surfaces import outer_film
from ..thermal.walls import WallLayer, solve_wall

#: Rises above the room at which the films are tabulated, K.
_RISES_K = (1.0, 4.0, 10.0, 20.0, 40.0, 70.0, 110.0, 170.0, 260.0, 400.0, 600.0, 900.0, 1300.0)
#: The walls across x and y are vertical; those across z are the roof and the floor.
_ORIENTATIONS = (("vertical",), ("vertical",), ("up", "down"))


@dataclass(frozen=True)
class Edges:
    """`added_m`: for each layer the width that edges and corners add to a face for each metre of its (width + height),
    m: the layer conducts as if it had the face's area and that. `slices`: of each layer, from its hot side outward,
    (share of its thickness, width added to what conducts there, width added to what holds heat there). `film`: share
    of the outside that its film acts on. `middle`: how far the middle of the outside rises above the room, as a share
    of what it would rise on an endless wall, for walls across x, y and z."""

    added_m: tuple[float, ...]
    slices: tuple[tuple[tuple[float, float, float], ...], ...]
    film: float
    middle: tuple[float, float, float]


def _film(lengths_m: tuple[float, ...], orientations: tuple[str, ...], ambient_c: float, emissivity: float):
    """Mean film of these outsides from a table over their temperatures; beyond the range of a formula its last value
    holds."""
    rises, values = [], []
    for rise in _RISES_K:
        t = ambient_c + rise
        try:
            value = sum(
                outer_film(t, ambient_c, n, o, emissivity) for n, o in zip(lengths_m, orientations, strict=True)
            )
        except ValueError:
            break
        rises.append(t)
        values.append(value / len(orientations))
    if not values:
        rises, values = [ambient_c], [10.0]
    x, y = np.array(rises), np.array(values)
    return lambda t_c: np.interp(t_c, x, y)


def films_of(inside_m: tuple[float, float, float], thickness_m: float, ambient_c: float, emissivity: float) -> list:
    """Films of the outsides across x, y and z of such a box; that across z is the mean of roof and floor."""
    w, d, h = (x + 2.0 * thickness_m for x in inside_m)
    flat = w * d / (2.0 * (w + d))
    return [_film((n,) * len(o), o, ambient_c, emissivity) for o, n in zip(_ORIENTATIONS, (h, h, flat), strict=True)]


@lru_cache(maxsize=256)
def edges_of(
    layers: tuple[WallLayer, ...], chamber: Chamber, hot_c: float, ambient_c: float, emissivity: float
) -> Edges:
    """Of a box of these layers all round, as hot inside as hot_c."""
    hot_c = max(hot_c, ambient_c + 10.0)
    inside = (chamber.width_m, chamber.depth_m, chamber.height_m)
    thickness = sum(x.thickness_m for x in layers)
    films = films_of(inside, thickness, ambient_c, emissivity)
    box = solve_box(layers, inside, hot_c, ambient_c, films)

    w, d, h = inside
    inner, edge = 2.0 * (w * d + w * h + d * h), 4.0 * (w + d + h)
    outer = inner + 2.0 * thickness * edge + 24.0 * thickness**2
    added, slices, depth = [], [], 0.0
    for layer, area, shells in zip(layers, box.layers_m2, box.shells, strict=True):
        at, metal = depth + 0.5 * layer.thickness_m, math.isnan(area)
        # Metal hardly resists heat: its area counts for its mass.
        added.append(2.0 * at + 24.0 * at * at / edge if metal else max(0.0, (area - inner) / edge))
        slices.append(
            tuple(
                (
                    s.thickness_m / layer.thickness_m,
                    added[-1] if metal else max(0.0, (s.conducts_m2 - inner) / edge),
                    added[-1] if metal else (s.holds_m2 - inner) / edge,
                )
                for s in shells
            )
        )
        depth += layer.thickness_m
    middle = []
    for i, film in enumerate(films):
        plane = solve_wall(layers, hot_c, ambient_c, film=lambda face, film=film: float(film(np.array(face))))
        rise = plane.cold_face_c - ambient_c
        middle.append(min(1.0, max(0.0, (box.middle_c[i] - ambient_c) / rise)) if rise > 1e-6 else 1.0)
    return Edges(tuple(added), tuple(slices), box.film_m2 / outer, (middle[0], middle[1], middle[2]))
