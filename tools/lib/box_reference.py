"""A fine reference for the heat through the walls of a box: cell-centred finite volumes on one octant, scipy sparse.

It shares no arithmetic with `kilnctl.thermal.box` (trilinear finite elements, block elimination): temperatures stand in
the middle of cells and conductances are two half cells in series. On coarse grids it comes from below where finite
elements come from above. `converged` extrapolates two grids (the error falls with the square of the size) and says how
far the finer one was away.
"""

from collections.abc import Callable, Sequence

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import LinearOperator, cg, splu

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
    """Widths along the axes, the layer of each cell (−1: chamber), its depth below the nearest hot face."""

    def __init__(self, layers: Sequence[WallLayer], inside_m: Sequence[float], fine: int):
        depths, owner = _through(layers, fine)
        inner, self.width = 2 * fine, []
        for half in (0.5 * x for x in inside_m):
            first = min(max(depths[0], 0.05 * depths.sum() / fine), half / inner)
            self.width.append(np.concatenate([_row(half, inner, _growth(half, first, inner))[::-1], depths]))
        level = np.concatenate([np.full(inner, -1), owner])
        place = np.concatenate([np.zeros(inner), np.cumsum(depths) - 0.5 * depths])
        self.layer, self.depth = (
            np.maximum(np.maximum(a[:, None, None], a[None, :, None]), a[None, None, :]) for a in (level, place)
        )
        self.free = self.layer >= 0
        self.number = np.where(self.free, np.cumsum(self.free).reshape(self.free.shape) - 1, -1)

    def area(self, axis: int) -> np.ndarray:
        a, b = (i for i in range(3) if i != axis)
        return np.expand_dims(np.outer(self.width[a], self.width[b]), axis)

    def half(self, axis: int) -> np.ndarray:
        return 0.5 * self.width[axis].reshape([-1 if i == axis else 1 for i in range(3)])


def _conductivity(cells: _Cells, layers: Sequence[WallLayer], t_c: np.ndarray) -> np.ndarray:
    k = np.ones_like(t_c)
    for i, layer in enumerate(layers):
        here = cells.layer == i
        k[here] = layer.material.conductivity(t_c[here])
    return k


def _joined(cells: _Cells, layers: Sequence[WallLayer], k: np.ndarray, axis: int):
    """(number of the near cell or −1 for the chamber, number of the far one, conductance) of every pair."""
    near = tuple(slice(0, -1) if i == axis else slice(None) for i in range(3))
    far = tuple(slice(1, None) if i == axis else slice(None) for i in range(3))
    resist = np.where(cells.free, cells.half(axis) / k, 0.0)
    contact = np.array([0.0] + [x.contact_m2k_w for x in layers[:-1]])
    a, b = cells.layer[near], cells.layer[far]
    joint = np.where((b > a) & (a >= 0), contact[np.maximum(b, 0)], 0.0)
    pairs = cells.free[far]
    total = (resist[near] + resist[far] + joint)[pairs]
    area = np.broadcast_to(cells.area(axis), pairs.shape)[pairs]
    return cells.number[near][pairs], cells.number[far][pairs], area / total


def solve_reference(
    layers: Sequence[WallLayer],
    inside_m: Sequence[float],
    hot_c: float,
    ambient_c: float,
    films: Sequence[Film],
    fine: int,
    passes: int = 12,
) -> tuple[float, np.ndarray]:
    """(heat through all six walls, W; temperatures in the middle of the outsides across x, y, z, °C)."""
    cells = _Cells(layers, inside_m, fine)
    t = np.where(cells.free, _profile(layers, hot_c, ambient_c, films[0], cells.depth), hot_c)
    ends = [tuple(-1 if i == axis else slice(None) for i in range(3)) for axis in range(3)]
    surface = [t[end] for end in ends]
    size, before, heat = int(cells.free.sum()), None, 0.0
    for _ in range(passes):
        k = _conductivity(cells, layers, t)
        rows, columns, values, diagonal, gain = [], [], [], np.zeros(size), np.zeros(size)
        warm = []
        for axis in range(3):
            near, far, link = _joined(cells, layers, k, axis)
            hot = near < 0
            np.add.at(diagonal, far, link)
            np.add.at(diagonal, near[~hot], link[~hot])
            np.add.at(gain, far[hot], link[hot] * hot_c)
            rows += [near[~hot], far[~hot]]
            columns += [far[~hot], near[~hot]]
            values += [-link[~hot]] * 2
            warm.append((far[hot], link[hot]))
        through = []
        for axis, end in enumerate(ends):
            h = films[axis](surface[axis])
            u = 1.0 / (0.5 * cells.width[axis][-1] / k[end] + 1.0 / h)
            area = np.take(np.broadcast_to(cells.area(axis), t.shape), -1, axis=axis)
            np.add.at(diagonal, cells.number[end].ravel(), (u * area).ravel())
            np.add.at(gain, cells.number[end].ravel(), (u * area * ambient_c).ravel())
            through.append(u / h)
        every = np.arange(size)
        matrix = coo_matrix(
            (np.concatenate([*values, diagonal]), (np.concatenate([*rows, every]), np.concatenate([*columns, every])))
        ).tocsc()
        if before is None:  # the first pass's factors serve the others as preconditioner
            factors = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
            before = LinearOperator(matrix.shape, factors.solve)
        found, failed = cg(matrix, gain, t[cells.free], rtol=1e-9, maxiter=500, M=before)
        if failed:
            raise ValueError("the reference does not converge")
        t[cells.free] = found
        surface = [ambient_c + (t[end] - ambient_c) * share for end, share in zip(ends, through, strict=True)]
        heat = 8.0 * sum(float(link @ (hot_c - found[far])) for far, link in warm)
    return heat, np.array([s[0, 0] for s in surface])


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
