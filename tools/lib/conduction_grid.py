"""A reference for conduction in two and three dimensions, steady and in time: cell-centred finite volumes on any grid
of boxes, with a material for each cell and rooms behind films.

`tests/thermal/test_iso_10211.py` validates it by the cases of EN ISO 10211, annex A; `box_reference` and `box_warming`
then hold the product against it. It shares no arithmetic with `kilnctl.thermal.box` (trilinear finite elements, block
elimination): temperatures stand in the middle of cells and conductances are two half cells in series. In time it takes
the two-stage L-stable Runge-Kutta steps of R. Alexander (1977), order two.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import LinearOperator, cg

_GAMMA = 1.0 - 0.5**0.5

#: Of a material, °C to W/(m·K) or J/(m³·K); of a surface, (axis across it, its °C) to W/(m²·K).
Property = Callable[[np.ndarray], np.ndarray]
Film = Callable[[int, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Room:
    """Cells of one temperature, °C, behind a film; infinite: their surfaces have it. None: the temperature follows from
    the heat that the room is given."""

    temperature_c: float | None
    film: float | Film = math.inf

    def film_at(self, axis: int, surface_c: np.ndarray) -> np.ndarray:
        return self.film(axis, surface_c) if callable(self.film) else np.full(surface_c.shape, self.film)


@dataclass(frozen=True)
class _Pairs:
    """Neighbours across one axis: flat numbers of the cells, area between them and half their widths. `room` of each is
    −1 for two solid cells; `solid` is the solid one of the two."""

    axis: int
    near: np.ndarray
    far: np.ndarray
    area: np.ndarray
    half_near: np.ndarray
    half_far: np.ndarray
    room: np.ndarray
    solid: np.ndarray


class Grid:
    """`widths` of the cells along three axes, m; `what`: for each cell the number of its material, or −1 − r in room r.
    The rim of the grid is adiabatic. contact(a, b): resistance, m²·K/W, between cells of those materials."""

    def __init__(
        self,
        widths: Sequence[np.ndarray],
        what: np.ndarray,
        rooms: Sequence[Room],
        contact: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
    ):
        self.widths, self.what, self.rooms, self.contact = widths, what.ravel(), rooms, contact
        self.shape = what.shape
        x, y, z = widths
        self.volume = (x[:, None, None] * y[:, None] * z).ravel()
        solid = self.what >= 0
        self.solids = np.flatnonzero(solid)
        self.number = np.full(self.what.size, -1)
        self.number[solid] = np.arange(len(self.solids))
        self.size = len(self.solids)
        self.free_room = next((r for r, room in enumerate(rooms) if room.temperature_c is None), None)
        if self.free_room is not None:
            self.number[self.what == -1 - self.free_room] = self.size
            self.size += 1
        self.pairs = [self._across(axis) for axis in range(3)]

    def _across(self, axis: int) -> _Pairs:
        order = np.arange(self.what.size).reshape(self.shape)
        near, far = (np.take(order, r, axis).ravel() for r in (range(self.shape[axis] - 1), range(1, self.shape[axis])))
        keep = (self.what[near] >= 0) | (self.what[far] >= 0)
        near, far = near[keep], far[keep]
        half = np.broadcast_to(
            0.5 * self.widths[axis].reshape([-1 if i == axis else 1 for i in range(3)]), self.shape
        ).ravel()
        area = (self.volume / (2.0 * half))[near]
        inside = np.minimum(self.what[near], self.what[far])
        room = np.where(inside < 0, -1 - inside, -1)
        return _Pairs(axis, near, far, area, half[near], half[far], room, np.where(self.what[near] >= 0, near, far))

    def links(self, k: np.ndarray, t_c: np.ndarray, before: list | None) -> list[tuple[np.ndarray, np.ndarray]]:
        """For each axis the conductance of every pair, W/K, and where it ends in a room its surface's temperature.
        `k` and `t_c` of all cells; `before`: what this gave in the last pass."""
        found = []
        for i, p in enumerate(self.pairs):
            solid = self.what[p.near] >= 0, self.what[p.far] >= 0
            half = np.where(solid[0], p.half_near / k[p.near], 0.0) + np.where(solid[1], p.half_far / k[p.far], 0.0)
            if self.contact is not None:
                half = half + np.where(p.room < 0, self.contact(self.what[p.near], self.what[p.far]), 0.0)
            surface = t_c[p.solid] if before is None else before[i][1]
            film = np.full(len(p.near), math.inf)
            for r, room in enumerate(self.rooms):
                here = p.room == r
                film[here] = room.film_at(p.axis, surface[here])
            outside = t_c[np.where(p.solid == p.near, p.far, p.near)]
            surface = outside + (t_c[p.solid] - outside) / film / (half + 1.0 / film)
            found.append((p.area / (half + 1.0 / film), surface))
        return found

    def matrix(self, links: list, t_c: np.ndarray, diagonal: np.ndarray):
        """Conductances between the unknowns with `diagonal` added, and what the rooms of known temperature give, W."""
        diagonal, gain = diagonal.copy(), np.zeros(self.size)
        rows, columns, values = [], [], []
        for p, (link, _) in zip(self.pairs, links, strict=True):
            a, b = self.number[p.near], self.number[p.far]
            both = (a >= 0) & (b >= 0)
            rows += [a[both], b[both]]
            columns += [b[both], a[both]]
            values += [-link[both]] * 2
            for end, other in ((a, p.far), (b, p.near)):
                here = end >= 0
                diagonal += np.bincount(end[here], link[here], self.size)
                known = here & (self.number[other] < 0)
                gain += np.bincount(end[known], link[known] * t_c[other[known]], self.size)
        every = np.arange(self.size)
        full = coo_matrix(
            (np.concatenate([*values, diagonal]), (np.concatenate([*rows, every]), np.concatenate([*columns, every])))
        )
        return full.tocsr(), gain

    def start(self, t_c: float | np.ndarray) -> np.ndarray:
        """All cells at t_c, but the rooms at theirs."""
        t = np.broadcast_to(np.asarray(t_c, float), self.what.shape).copy()
        for r, room in enumerate(self.rooms):
            if room.temperature_c is not None:
                t[self.what == -1 - r] = room.temperature_c
        return t

    def of_cells(self, curves: Sequence[Property], t_c: np.ndarray) -> np.ndarray:
        """A property of every solid cell at its temperature; 1 in rooms."""
        value = np.ones(self.what.size)
        for i, curve in enumerate(curves):
            here = self.what == i
            value[here] = curve(t_c[here])
        return value

    def spread(self, unknowns: np.ndarray, t_c: np.ndarray) -> np.ndarray:
        """The temperatures of all cells with those of the unknowns."""
        return np.where(self.number >= 0, unknowns[self.number], t_c)

    def gathered(self, t_c: np.ndarray) -> np.ndarray:
        """The unknowns of the temperatures of all cells."""
        found = t_c[self.solids]
        if self.free_room is None:
            return found
        return np.append(found, t_c[np.argmax(self.what == -1 - self.free_room)])

    def heat_w(self, links: list, t_c: np.ndarray, room: int) -> float:
        """Heat from that room into the solids, W."""
        total = 0.0
        for p, (link, _) in zip(self.pairs, links, strict=True):
            here = p.room == room
            other = np.where(p.solid == p.near, p.far, p.near)
            total += float(link[here] @ (t_c[other[here]] - t_c[p.solid[here]]))
        return total

    def solved(self, matrix, right: np.ndarray, guess: np.ndarray, rtol: float) -> np.ndarray:
        """Conjugate gradients; the diagonal serves as preconditioner. Raises ValueError where they do not converge."""
        inverse = 1.0 / matrix.diagonal()
        found, failed = cg(
            matrix, right, guess, rtol=rtol, maxiter=20000, M=LinearOperator(matrix.shape, lambda x: inverse * x)
        )
        if failed:
            raise ValueError("the reference does not converge")
        return found


@dataclass(frozen=True)
class Field:
    """Temperatures of all cells, °C, in the grid's shape, and the heat that each room gives, W. `surfaces`: for each
    axis, arrays (flat number of the solid cell, room, surface °C)."""

    t_c: np.ndarray
    heat_w: tuple[float, ...]
    surfaces: tuple[tuple[np.ndarray, np.ndarray, np.ndarray], ...]


def steady(grid: Grid, conductivities: Sequence[Property], passes: int = 1, guess: float | np.ndarray = 20.0) -> Field:
    """The steady state; as many passes as conductivities and films that follow temperature need."""
    t, links, before = grid.start(guess), [], None
    for i in range(passes):
        links = grid.links(grid.of_cells(conductivities, t), t, before)
        matrix, gain = grid.matrix(links, t, np.zeros(grid.size))
        t = grid.spread(grid.solved(matrix, gain, grid.gathered(t), 1e-10 if i == passes - 1 else 1e-6), t)
        before = grid.links(grid.of_cells(conductivities, t), t, before if before is None else links)
    heat = tuple(grid.heat_w(links, t, r) for r in range(len(grid.rooms)))
    surfaces = []
    for p, (_, at) in zip(grid.pairs, before or links, strict=True):
        here = p.room >= 0
        surfaces.append((p.solid[here], p.room[here], at[here]))
    return Field(t.reshape(grid.shape), heat, tuple(surfaces))


def warmed(
    grid: Grid,
    conductivities: Sequence[Property],
    capacities: Sequence[Property],
    start_c: float,
    steps: Sequence[tuple[float, float]],
    room_j_per_k: float = 0.0,
):
    """Temperatures of all cells after each of `steps`, pairs of a length in s and the heat in W that the room without a
    temperature of its own is given meanwhile. Yields (temperatures, J that the rooms took)."""
    t, links, last, gone = grid.start(start_c), None, None, 0.0
    for dt, watts in steps:
        ahead = t if last is None else t + 0.5 * dt / last[1] * (t - last[0])
        links = grid.links(grid.of_cells(conductivities, ahead), ahead, links)
        capacity = (grid.of_cells(capacities, ahead) * grid.volume)[grid.solids]
        if grid.free_room is not None:
            capacity = np.append(capacity, room_j_per_k)
        held = capacity / (_GAMMA * dt)
        matrix, gain = grid.matrix(links, t, held)
        if grid.free_room is not None:
            gain[-1] += watts
        x0 = grid.gathered(t)
        first = grid.solved(matrix, held * x0 + gain, grid.gathered(ahead), 1e-8)
        there = x0 + (1.0 - _GAMMA) / _GAMMA * (first - x0)
        second = grid.solved(matrix, held * there + gain, first, 1e-8)
        for share, stage in ((1.0 - _GAMMA, first), (_GAMMA, second)):
            at = grid.spread(stage, t)
            gone += (
                share
                * dt
                * sum(-grid.heat_w(links, at, r) for r, room in enumerate(grid.rooms) if room.temperature_c is not None)
            )
        last, t = (t, dt), grid.spread(second, t)
        yield t.reshape(grid.shape), gone
