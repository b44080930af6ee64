"""Heat through the walls of a whole box: numerical conduction in three dimensions, as ISO 10211 asks for.

One octant of a box whose walls have the same layers, each layer wrapped round the edges, is divided into trilinear
finite elements that are small at the inner edges, where the flux is largest. Conductivities follow temperature and the
outside has its film. The equations are eliminated once for each grid, plane by plane, with the conductivities and films
of the temperatures that it begins with; what its elements then miss is corrected by that elimination until nothing
moves. numpy alone, because this also runs before a run in the process that heats.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .walls import WallLayer, solve_wall

#: Film of an outside, W/(m²·K), from its temperatures, °C.
Film = Callable[[np.ndarray], np.ndarray]
#: Elements from the middle of the chamber to its wall, and through the wall (at least one a layer), of the two grids.
#: The error falls with the square of the size: the second grid's result is extrapolated with the first's.
GRIDS = ((2, 4), (3, 6))
#: A grid is solved when no node moves by more than this share of the difference of inside and room. So many corrections
#: lead there at most (mostly 6 to 14), and so many earlier ones serve to find the next.
SETTLED, CORRECTIONS, REMEMBERED = 1e-6, 40, 4
#: Stiffness and mass of a linear element of unit length.
_K, _M = np.array([[1.0, -1.0], [-1.0, 1.0]]), np.array([[2.0, 1.0], [1.0, 2.0]]) / 6.0
_AXES = (0, 1, 2)


@dataclass(frozen=True)
class Shell:
    """A part of a layer all round the box, `thickness_m` thick: the area with which it, flat, would have the same
    resistance, and that with which it would hold the same heat; m²."""

    thickness_m: float
    conducts_m2: float
    holds_m2: float


@dataclass(frozen=True)
class BoxHeat:
    """heat_w through all six walls, W; middle_c of the outsides across x, y and z, °C. layers_m2: the area with which
    each layer, flat, would have the same resistance, NaN for metal; film_m2 likewise for the outside's film. `shells`
    of each layer, from its hot side outward."""

    heat_w: float
    middle_c: tuple[float, ...]
    layers_m2: tuple[float, ...]
    film_m2: float
    shells: tuple[tuple[Shell, ...], ...]


def _knots(half_m: float, layers: Sequence[WallLayer], grid: tuple[int, int]) -> tuple[np.ndarray, list[int]]:
    """Places of the nodes along one axis from the middle outward, m, and the layer of each interval (−1: the
    chamber)."""
    inner, through = grid
    total = sum(x.thickness_m for x in layers)
    places = list(half_m * (1.0 - np.linspace(1.0, 0.0, inner + 1) ** 1.6))
    owner = [-1] * inner
    for i, layer in enumerate(layers):
        n = max(1, round(through * layer.thickness_m / total))
        # Finer at the side of the inner edge, in the layer that is there.
        shares = np.linspace(0.0, 1.0, n + 1)[1:] ** (1.5 if i == 0 else 1.0)
        places += list(places[-1] + layer.thickness_m * shares)
        owner += [i] * n
    return np.array(places), owner


@lru_cache(maxsize=64)
def _table(nodes: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Where the 64 entries of each element's matrix go in the planes' own matrices and in the couplings from one plane
    to the next: (places among the entries, places there), twice. Elements in the order of their indices."""
    n, m = nodes, nodes * nodes
    i, j, k = (a.ravel()[:, None] for a in np.meshgrid(*[np.arange(n - 1)] * 3, indexing="ij"))
    x, y, z = (np.array([(c >> s) & 1 for c in range(8)])[None, :] for s in (2, 1, 0))
    plane, node = i + x, (j + y) * n + k + z
    row, column = np.repeat(node, 8, axis=1), np.tile(node, (1, 8))
    from_plane, to_plane = np.repeat(plane, 8, axis=1), np.tile(plane, (1, 8))
    place = ((from_plane * m + row) * m + column).ravel()
    own = np.flatnonzero((from_plane == to_plane).ravel())
    next_one = np.flatnonzero((to_plane == from_plane + 1).ravel())
    return own, place[own], next_one, place[next_one]


class _Octant:
    """The elements of one octant and what does not depend on temperature."""

    def __init__(self, layers: Sequence[WallLayer], half_m: Sequence[float], grid: tuple[int, int]):
        found = [_knots(x, layers, grid) for x in half_m]
        self.layers, self.places, owner = layers, [f[0] for f in found], np.array(found[0][1])
        self.nodes, self.inner = len(self.places[0]), grid[0]
        level = np.maximum(np.maximum(owner[:, None, None], owner[None, :, None]), owner[None, None, :])
        self.level = level.ravel()
        #: Of each interval through the wall its layer and thickness, and of each element the interval that it is in.
        self.owner, self.through_m = owner[grid[0] :], np.diff(self.places[0])[grid[0] :]
        n = np.maximum(np.arange(len(owner)) - grid[0], -1)
        self.shell = np.maximum(np.maximum(n[:, None, None], n[None, :, None]), n[None, None, :]).ravel()
        near = np.arange(self.nodes) <= self.inner
        self.hot = near[:, None, None] & near[None, :, None] & near[None, None, :]
        self.within = [np.flatnonzero(self.level == i) for i in range(len(layers))]
        x, y, z = self.widths
        stiffness = np.kron(_K, np.kron(_M, _M)).ravel(), np.kron(_M, np.kron(_K, _M)).ravel()
        last = np.kron(_M, np.kron(_M, _K)).ravel()
        self.unit = (
            (y * z / x)[:, None] * stiffness[0] + (x * z / y)[:, None] * stiffness[1] + (x * y / z)[:, None] * last
        )

    @cached_property
    def widths(self) -> list[np.ndarray]:
        """Of the elements along the three axes, m."""
        return [a.ravel() for a in np.meshgrid(*[np.diff(p) for p in self.places], indexing="ij")]

    @cached_property
    def skins(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """For each axis: which elements have an outside across it, its area, and the four of their corners there."""
        found = []
        number = np.arange(len(self.level)).reshape((self.nodes - 1,) * 3)
        for axis in _AXES:
            at = np.take(number, -1, axis=axis).ravel()
            a, b = (self.widths[i][at] for i in _AXES if i != axis)
            corners = np.array([c for c in range(8) if (c >> (2 - axis)) & 1])
            found.append((at, a * b, corners))
        return found

    def corners(self, t_c: np.ndarray) -> np.ndarray:
        """Temperatures at the corners of the elements: (elements, 8)."""
        ends = (slice(0, -1), slice(1, None))
        return np.stack([t_c[ends[a], ends[b], ends[c]].ravel() for a in (0, 1) for b in (0, 1) for c in (0, 1)], -1)

    def conductivity(self, middle_c: np.ndarray) -> np.ndarray:
        """Of each element, W/(m·K), zero in the chamber. The contact resistance towards the next layer is spread over
        the layer."""
        k = np.zeros(len(middle_c))
        for here, layer in zip(self.within, self.layers, strict=True):
            value = layer.material.conductivity(middle_c[here])
            k[here] = value / (1.0 + value * layer.contact_m2k_w / layer.thickness_m)
        return k


_FACE_MASS = np.kron(_M, _M)


@dataclass(frozen=True)
class _Heat:
    """What leaves the nodes by the elements at some temperatures, W: (planes, nodes of a plane), of the outside's film
    too; with the elements' conductivities, films (W/K, by axis) and corners, °C."""

    leaving_w: np.ndarray
    k: np.ndarray
    films: list[np.ndarray]
    corners_c: np.ndarray


def _heat(octant: _Octant, t_c: np.ndarray, ambient_c: float, films: Sequence[Film]) -> _Heat:
    corners, found = octant.corners(t_c), []
    k = octant.conductivity(corners.mean(axis=1))
    leaving = k[:, None] * np.matmul(octant.unit.reshape(-1, 8, 8), corners[:, :, None])[:, :, 0]
    for (at, area, ends), film in zip(octant.skins, films, strict=True):
        here = corners[at[:, None], ends[None, :]]
        found.append(film(here.mean(axis=1)) * area)
        leaving[at[:, None], ends[None, :]] += found[-1][:, None] * (here @ _FACE_MASS - 0.25 * ambient_c)
    return _Heat(_gathered(leaving, octant.nodes), k, found, corners)


def _gathered(gain: np.ndarray, n: int) -> np.ndarray:
    """Sums of the elements' corner values at the nodes: (planes, nodes of a plane)."""
    total = np.zeros((n, n, n))
    for c in range(8):
        a, b, d = (c >> 2) & 1, (c >> 1) & 1, c & 1
        total[a : n - 1 + a, b : n - 1 + b, d : n - 1 + d] += gain[:, c].reshape((n - 1,) * 3)
    return total.reshape(n, n * n)


def _invert(matrix: np.ndarray, into: np.ndarray) -> None:
    """The inverse of a symmetric positive definite matrix, by that of its first half and of what it leaves of the
    second: 0.6 of the time that one call takes at these sizes."""
    half = len(matrix) // 2
    if half < 20:
        into[:] = np.linalg.inv(matrix)
        return
    first, second, across = into[:half, :half], into[half:, half:], matrix[:half, half:]
    _invert(matrix[:half, :half], first)
    through = first @ across
    _invert(matrix[half:, half:] - across.T @ through, second)
    spread = through @ second
    first += spread @ through.T
    into[:half, half:], into[half:, :half] = -spread, -spread.T


class _Elimination:
    """The equations of one grid at the conductivities and films of some temperatures, those of the hot face being
    known: block elimination from the middle outward, plane by plane."""

    def __init__(self, octant: _Octant, heat: _Heat):
        n, m = octant.nodes, octant.nodes**2
        values = heat.k[:, None] * octant.unit
        for (at, _, ends), film in zip(octant.skins, heat.films, strict=True):
            pairs = (ends[:, None] * 8 + ends[None, :]).ravel()
            values[at[:, None], pairs[None, :]] += film[:, None] * _FACE_MASS.ravel()
        own, own_at, next_one, next_at = _table(n)
        flat, free = values.ravel(), ~octant.hot.reshape(n, m)
        planes = np.bincount(own_at, flat[own], n * m * m).reshape(n, m, m)
        links = np.bincount(next_at, flat[next_one], n * m * m).reshape(n, m, m)[:-1]
        planes *= free[:, :, None] & free[:, None, :]
        planes[:, np.arange(m), np.arange(m)] += ~free
        links *= free[:-1, :, None] & free[1:, None, :]
        self._inverse, self._carried = np.empty((n, m, m)), np.empty((n - 1, m, m))
        for i in range(n):
            block = planes[i] if i == 0 else planes[i] - links[i - 1].T @ self._carried[i - 1]
            # Rounding must not make it unsymmetric: the error would grow from plane to plane.
            _invert(0.5 * (block + block.T), self._inverse[i])
            if i < n - 1:
                self._carried[i] = self._inverse[i] @ links[i]

    def solved(self, right: np.ndarray) -> np.ndarray:
        """The temperatures at which so much heat leaves each node, as (planes, nodes of a plane)."""
        t, carried = right.copy(), self._carried
        for i in range(1, len(t)):
            t[i] -= t[i - 1] @ carried[i - 1]
        t = np.matmul(self._inverse, t[:, :, None])[:, :, 0]
        for i in range(len(t) - 2, -1, -1):
            t[i] -= carried[i] @ t[i + 1]
        return t


def _settled(octant: _Octant, t_c: np.ndarray, hot_c: float, ambient_c: float, films: Sequence[Film]):
    """(temperatures, heat through the octant in W, drop of temperature over each interval through the wall, K). A drop
    is the heat times kelvin that is dissipated there, by the heat: what its resistance stands for in a chain.

    Corrections by the elimination are combined with the last ones so that the next is least (D. G. Anderson, J. ACM 12
    (1965) 547)."""
    t_c = np.where(octant.hot, hot_c, t_c)
    heat = _heat(octant, t_c, ambient_c, films)
    elimination, free = _Elimination(octant, heat), ~octant.hot.reshape(heat.leaving_w.shape)
    moves: list[np.ndarray] = []
    changes: list[np.ndarray] = []
    last = None
    for _ in range(CORRECTIONS):
        step = -elimination.solved(np.where(free, heat.leaving_w, 0.0)).ravel()
        if np.abs(step).max() < SETTLED * (hot_c - ambient_c):
            break
        move = step
        if last is not None:
            changes = [*changes, step - last][-REMEMBERED:]
            matrix = np.column_stack(changes)
            shares = np.linalg.lstsq(matrix, step, rcond=1e-10)[0]
            move = step - (np.column_stack(moves[-REMEMBERED:]) + matrix) @ shares
        last, moves = step, [*moves, move][-REMEMBERED:]
        t_c = t_c + move.reshape(t_c.shape)
        heat = _heat(octant, t_c, ambient_c, films)
    given_w = float(heat.leaving_w[~free].sum())
    each = heat.k * np.einsum("ea,eab,eb->e", heat.corners_c, octant.unit.reshape(-1, 8, 8), heat.corners_c)
    return t_c, given_w, np.bincount(octant.shell + 1, each, len(octant.owner) + 1)[1:] / given_w


def _start(octant: _Octant, hot_c: float, ambient_c: float, film: Film) -> np.ndarray:
    """Temperatures to begin with: the plane wall's at the same depth below the nearest hot face."""
    plane = solve_wall(octant.layers, hot_c, ambient_c, film=lambda face: float(film(np.array(face))))
    x, t, depth = [], [], 0.0
    for i, layer in enumerate(octant.layers):
        x += [depth, depth + layer.thickness_m * (1.0 - 1e-9)]
        t += list(plane.layer_c(i))
        depth += layer.thickness_m
    a, b, c = (np.interp(np.maximum(0.0, p - p[octant.inner]), x, t) for p in octant.places)
    return np.minimum(np.minimum(a[:, None, None], b[None, :, None]), c[None, None, :])


def _onto(octant: _Octant, coarse: _Octant, t_c: np.ndarray) -> np.ndarray:
    """A coarser grid's temperatures at this grid's nodes: linear along each axis."""
    for axis, (fine, old) in enumerate(zip(octant.places, coarse.places, strict=True)):
        right = np.clip(np.searchsorted(old, fine), 1, len(old) - 1)
        share = (fine - old[right - 1]) / (old[right] - old[right - 1])
        shape = [-1 if i == axis else 1 for i in _AXES]
        share = share.reshape(shape)
        t_c = np.take(t_c, right - 1, axis) * (1.0 - share) + np.take(t_c, right, axis) * share
    return np.where(octant.hot, t_c.max(), t_c)


def _shells(octant: _Octant, t_c: np.ndarray, heat: float, drops: np.ndarray, hot_c: float, ambient_c: float):
    """The shells of each layer, one for each interval through the wall. Corners are far colder than the faces at the
    same depth: a shell holds as much heat as all of it does in the steady state, at its place in the chain."""
    x, y, z = octant.widths
    warm = x * y * z * (octant.corners(t_c).mean(axis=1) - ambient_c)
    held = np.bincount(octant.shell + 1, warm, len(drops) + 1)[1:]
    shells: list[list[Shell]] = [[] for _ in octant.layers]
    here = hot_c
    for owner, thickness, drop, warmth in zip(octant.owner, octant.through_m, drops, held, strict=True):
        layer = octant.layers[owner]
        drop = max(float(drop), 1e-9)
        mean = layer.material.conductivity_integral(here - drop, here) / drop
        resistance = thickness * (1.0 / mean + layer.contact_m2k_w / layer.thickness_m)
        rise = max(here - 0.5 * drop - ambient_c, 1e-6)
        shells[owner].append(
            Shell(float(thickness), float(8.0 * heat * resistance / drop), float(8.0 * warmth / (thickness * rise)))
        )
        here -= drop
    return tuple(tuple(s) for s in shells)


def solve_box(
    layers: Sequence[WallLayer],
    inside_m: Sequence[float],
    hot_c: float,
    ambient_c: float,
    films: Sequence[Film],
    grids: Sequence[tuple[int, int]] = GRIDS,
) -> BoxHeat:
    """A box with the same wall all round, hot_c everywhere inside, in a room: inside_m are its three inside lengths,
    `films` those of the outsides across them. Two grids, extrapolated."""
    if not hot_c > ambient_c:
        raise ValueError(f"the inside ({hot_c:g} °C) is not warmer than the room ({ambient_c:g} °C)")
    found, last, t, shells = [], None, np.zeros(0), ()
    for grid in grids:
        octant = _Octant(layers, [0.5 * x for x in inside_m], grid)
        t = _start(octant, hot_c, ambient_c, films[0]) if last is None else _onto(octant, last, t)
        t, heat, fine = _settled(octant, t, hot_c, ambient_c, films)
        drops = np.bincount(octant.owner, fine, len(layers))
        found.append(np.array([8.0 * heat, t[-1, 0, 0], t[0, -1, 0], t[0, 0, -1], *drops]))
        last, shells = octant, _shells(octant, t, heat, fine, hot_c, ambient_c)
    best = found[1] + (found[1] - found[0]) / ((grids[1][1] / grids[0][1]) ** 2 - 1.0)
    heat_w, middle_c, drops = float(best[0]), best[1:4], best[4:]
    areas, here = [], hot_c
    for layer, drop in zip(layers, drops, strict=True):
        if layer.material.kind == "metal":
            # Sheet passes heat along itself more than through: what that costs goes to the film.
            areas.append(math.nan)
            continue
        mean = layer.material.conductivity_integral(here - drop, here) / drop
        areas.append(float(heat_w * (layer.thickness_m / mean + layer.contact_m2k_w) / drop))
        here -= float(drop)
    a, b, c = (x + 2.0 * sum(layer.thickness_m for layer in layers) for x in inside_m)
    h = np.average([float(film(np.array(here))) for film in films], weights=[b * c, a * c, a * b])
    return BoxHeat(
        heat_w, tuple(float(x) for x in middle_c), tuple(areas), float(heat_w / (h * (here - ambient_c))), shells
    )
