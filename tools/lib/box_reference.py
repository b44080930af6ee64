"""A fine reference for the heat through the walls of a box: one octant of it in `conduction_grid`, which the cases of
EN ISO 10211 validate.

On coarse grids it comes from below where finite elements (`kilnctl.thermal.box`) come from above. `converged`
extrapolates two grids (the error falls with the square of the size) and says how far the finer one was away.
"""

from collections.abc import Callable, Sequence

import numpy as np
from conduction_grid import Grid, Room, steady

from kilnctl.thermal.walls import WallLayer, solve_wall

Film = Callable[[np.ndarray], np.ndarray]


def _row(length_m: float, count: int, growth: float) -> np.ndarray:
    widths = growth ** np.arange(count)
    return length_m * widths / widths.sum()


def _through(layers: Sequence[WallLayer], fine: int) -> tuple[np.ndarray, np.ndarray]:
    """Widths of the cells through the wall, hot face first, and the layer of each."""
    total, widths, owner = sum(x.thickness_m for x in layers), [], []
    thick = False
    for i, layer in enumerate(layers):
        if layer.material.kind == "metal" or layer.thickness_m < 0.04 * total:
            cells = np.array([layer.thickness_m])
        elif not thick:
            cells, thick = _row(layer.thickness_m, 2 * fine, 2.5 ** (1.0 / fine)), True
        else:
            cells = _row(layer.thickness_m, fine, 1.0)
        widths.append(cells)
        owner += [i] * len(cells)
    return np.concatenate(widths), np.array(owner)


def _growth(length: float, first: float, count: int) -> float:
    low, high = 1.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if first * sum(middle**i for i in range(count)) < length else (low, middle)
    return low


class _Cells:
    """Widths along the axes, the layer of each cell (−1: chamber), its depth below the nearest hot face. `first`: see
    `grid_of`."""

    def __init__(self, layers: Sequence[WallLayer], inside_m: Sequence[float], fine: int, first: Sequence[int] = ()):
        depths, owner = _through(layers, fine)
        inner, self.width = 2 * fine, []
        for half in (0.5 * x for x in inside_m):
            least = min(max(depths[0], 0.05 * depths.sum() / fine), half / inner)
            self.width.append(np.concatenate([_row(half, inner, _growth(half, least, inner))[::-1], depths]))
        level = np.concatenate([np.full(inner, -1), owner])
        place = np.concatenate([np.zeros(inner), np.cumsum(depths) - 0.5 * depths])
        self.layer, self.depth = (
            np.maximum(np.maximum(a[:, None, None], a[None, :, None]), a[None, None, :]) for a in (level, place)
        )
        if first:
            along = np.meshgrid(level, level, level, indexing="ij")
            skin = self.layer == len(layers) - 1 if layers[-1].material.kind == "metal" else np.zeros_like(self.layer)
            built = np.full_like(self.layer, -1)
            for axis in reversed(first):
                built = np.where(along[axis] >= 0, along[axis], built)
            self.layer = np.where(skin, self.layer, built)


def grid_of(
    layers: Sequence[WallLayer],
    inside_m: Sequence[float],
    hot_c: float | None,
    ambient_c: float,
    films: Sequence[Film],
    fine: int,
    first: Sequence[int] = (),
) -> tuple[Grid, np.ndarray]:
    """(octant with the chamber as its room 0 and the workshop as room 1; depth of its cells below the hot face, m).
    hot_c None: the chamber's temperature follows from its heat. Each layer wraps round the whole box, or the slabs
    butt: those across the axis that is named `first` run past the others; a metal skin stays outside."""
    cells = _Cells(layers, inside_m, fine, first)
    what = np.pad(cells.layer, (0, 1), constant_values=-2)
    contact = np.array([0.0] + [x.contact_m2k_w for x in layers[:-1]])

    def joined(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.where(a == b, 0.0, contact[np.maximum(np.maximum(a, b), 0)])

    rooms = [Room(hot_c), Room(ambient_c, lambda axis, t_c: films[axis](t_c))]
    widths = [np.append(w, 1.0) for w in cells.width]
    return Grid(widths, what, rooms, joined), np.pad(cells.depth, (0, 1))


def solve_reference(
    layers: Sequence[WallLayer],
    inside_m: Sequence[float],
    hot_c: float,
    ambient_c: float,
    films: Sequence[Film],
    fine: int,
    passes: int = 12,
    first: Sequence[int] = (),
) -> tuple[float, np.ndarray]:
    """(heat through all six walls, W; temperatures in the middle of the outsides across x, y, z, °C)."""
    grid, depth = grid_of(layers, inside_m, hot_c, ambient_c, films, fine, first)
    start = _profile(layers, hot_c, ambient_c, films[0], depth).ravel()
    field = steady(grid, [x.material.conductivity for x in layers], passes, start)
    middles = []
    for _, room, surface in field.surfaces:
        middles.append(surface[room == 1][0])
    return 8.0 * field.heat_w[0], np.array(middles)


def converged(
    layers: Sequence[WallLayer],
    inside_m: Sequence[float],
    hot_c: float,
    ambient_c: float,
    films: Sequence[Film],
    grids: tuple[int, int] = (3, 5),
) -> tuple[float, np.ndarray, float]:
    """(heat, W; middles, °C; share of the heat by which the finer grid was away)."""
    (coarse, c), (fine, f) = (solve_reference(layers, inside_m, hot_c, ambient_c, films, n) for n in grids)
    more = 1.0 / ((grids[1] / grids[0]) ** 2 - 1.0)
    heat = fine + more * (fine - coarse)
    return heat, f + more * (f - c), (heat - fine) / heat


def _profile(layers: Sequence[WallLayer], hot_c: float, ambient_c: float, film: Film, depth: np.ndarray) -> np.ndarray:
    plane = solve_wall(layers, hot_c, ambient_c, film=lambda face: float(film(np.array(face))))
    x, t, at = [], [], 0.0
    for i, layer in enumerate(layers):
        x += [at, at + layer.thickness_m * (1.0 - 1e-9)]
        t += list(plane.layer_c(i))
        at += layer.thickness_m
    return np.interp(depth, x, t)
