"""What edges and corners add to the walls of one oven, from the box solved in three dimensions (`thermal.box`).

Where walls meet, makers build differently; here each wall's layers wrap round the whole box, and unlike walls each take
their own box's share. Sizing gives that a range (`kilnctl.sizing`). The box is solved once for each wall, at the oven's
highest temperature: between there and half of it the result moves by 1 to 2 %.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..settings.construction import Chamber
from ..thermal.box import BoxHeat, solve_box
from ..thermal.surfaces import outer_film
from ..thermal.walls import WallLayer, solve_wall

#: Rises above the room at which the films are tabulated, K.
_RISES_K = (1.0, 4.0, 10.0, 20.0, 40.0, 70.0, 110.0, 170.0, 260.0, 400.0, 600.0, 900.0, 1300.0)
#: The walls across x and y are vertical; those across z are the roof and the floor.
_ORIENTATIONS = (("vertical",), ("vertical",), ("up", "down"))


@dataclass(frozen=True)
class Edges:
    """`added_m`: width that edges and corners add to a face for each metre of its (width + height), m: a face conducts
    as if it had its own area and that. `middle`: how far the middle of the outside rises above the room, as a share of
    what it would rise on an endless wall, for walls across x, y and z."""

    added_m: float
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


@lru_cache(maxsize=256)
def edges_of(
    layers: tuple[WallLayer, ...], chamber: Chamber, hot_c: float, ambient_c: float, emissivity: float
) -> Edges:
    """Of a box of these layers all round, as hot inside as hot_c."""
    hot_c = max(hot_c, ambient_c + 10.0)
    inside = (chamber.width_m, chamber.depth_m, chamber.height_m)
    thickness = sum(x.thickness_m for x in layers)
    w, d, h = (x + 2.0 * thickness for x in inside)
    flat = w * d / (2.0 * (w + d))
    films = [_film((n,) * len(o), o, ambient_c, emissivity) for o, n in zip(_ORIENTATIONS, (h, h, flat), strict=True)]
    box = solve_box(layers, inside, hot_c, ambient_c, films)

    def wall(film: Callable, ratio: float):
        return solve_wall(
            layers, hot_c, ambient_c, area_ratio=ratio, film=lambda face: float(film(np.array(max(face, ambient_c))))
        )

    added = _added(box, inside, thickness, lambda axis, ratio: wall(films[axis], ratio).flux_w_m2)
    middle = []
    for i, film in enumerate(films):
        plane = wall(film, 1.0)
        through = plane.flux_w_m2 * layers[-1].contact_m2k_w
        rise = plane.cold_face_c - through - ambient_c
        middle.append(min(1.0, max(0.0, (box.middle_c[i] - ambient_c) / rise)) if rise > 1e-6 else 1.0)
    return Edges(added, (middle[0], middle[1], middle[2]))


def _added(box: BoxHeat, inside: tuple[float, ...], thickness: float, flux: Callable[[int, float], float]) -> float:
    """The added width with which the one-dimensional walls together pass what the box passes. More width passes more
    heat; it lies between none and that of the outside."""
    w, d, h = inside
    pairs = ((1, w, h), (0, d, h), (2, w, d))

    def heat(added: float) -> float:
        total = 0.0
        for axis, a, b in pairs:
            area = a * b + added * (a + b)
            outer = (a + 2.0 * thickness) * (b + 2.0 * thickness)
            total += 2.0 * area * flux(axis, max(1.0, outer / area))
        return total

    low, high = 0.0, 2.0 * thickness * (1.0 + thickness * sum(inside) / (w * d + w * h + d * h))
    at_low, at_high = heat(low) - box.heat_w, heat(high) - box.heat_w
    if at_low >= 0.0 or at_high <= 0.0:
        return low if at_low >= 0.0 else high
    middle, before = low, high
    for _ in range(30):
        middle = low + (high - low) * at_low / (at_low - at_high)
        if abs(middle - before) < 1e-4 * thickness:
            break
        before, here = middle, heat(middle) - box.heat_w
        if here < 0.0:
            low, at_low, at_high = middle, here, 0.7 * at_high
        else:
            high, at_high, at_low = middle, here, 0.7 * at_low
    return middle
