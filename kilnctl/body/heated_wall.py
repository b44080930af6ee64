"""One wall of the steady body: heat into its hot face as a function of that face's temperature, and the factors on
uncertain figures. No scipy, for a quick start."""

from bisect import bisect_right
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..settings.oven import Oven
from ..thermal.walls import WallLayer, WallSolution, solve_wall
from .layers import geometry_of, layers_of


@dataclass(frozen=True)
class Factors:
    """Factors on uncertain figures of a description; 1 is as described. Used for ranges and what-if questions.

    `edges` scales what edges and corners add; `outside` the natural film of the outsides; outer_emissivity is added to
    theirs. Metal keeps its conductivity and thickness."""

    conductivity: float = 1.0
    emissivity: float = 1.0
    film: float = 1.0
    leakage: float = 1.0
    edges: float = 1.0
    thickness: float = 1.0
    outside: float = 1.0
    outer_emissivity: float = 0.0


NOMINAL = Factors()


#: What `solve_wall` takes for the outside of a wall: room °C, length m, orientation, emissivity, area over the hot
#: face's, the same of each layer, factor on the natural film.
_Outside = tuple[float, float, str, float, float, tuple[float, ...], float]


@lru_cache(maxsize=256)
def _curve(layers: tuple[WallLayer, ...], outside: _Outside, highest_c: float) -> tuple[list[float], list[float]]:
    """Hot faces, °C, from the room up, and the flux into the wall there, W/m². Many faces and many questions have the
    same walls."""
    ambient_c, n = outside[0], 20
    span = highest_c + 20.0 - ambient_c
    # More points at low temperatures, where the outer film makes the curve bend.
    hot = [ambient_c + span * (i / (n - 1)) ** 1.5 for i in range(n)]
    flux = [0.0]
    for i, t in enumerate(hot[1:], 1):
        near = _parabola(hot[i - 3 : i], flux[i - 3 : i], t) if i > 3 else None
        flux.append(solve_wall(layers, t, *outside, near_w_m2=near).flux_w_m2)
    return hot, flux


def _parabola(x: list[float], y: list[float], at: float) -> float:
    """The value there of the parabola through three points."""
    (a, b, c), (u, v, w) = x, y
    first, second = (v - u) / (b - a), (w - v) / (c - b)
    return w + (at - c) * (second + (at - b) * (second - first) / (c - a))


def _varied(layers: tuple[WallLayer, ...], factors: Factors) -> tuple[WallLayer, ...]:
    if factors.conductivity == factors.thickness == 1.0:
        return layers
    return tuple(
        x
        if x.material.kind == "metal"
        else WallLayer(x.material.scaled(factors.conductivity), factors.thickness * x.thickness_m, x.contact_m2k_w)
        for x in layers
    )


class HeatedWall:
    """Heat into one face, W, as a function of its hot face's temperature: solved exactly at a few temperatures, cubic
    between them."""

    def __init__(self, oven: Oven, face, factors: Factors, highest_c: float):
        g = geometry_of(oven, face)
        spreads = tuple(1.0 + factors.edges * (x - 1.0) for x in g.spreads)
        self.face, self.geometry = face, replace(g, spreads=spreads)
        self.layers = _varied(layers_of(oven, face.wall), factors)
        emissivity = min(1.0, max(0.02, face.wall.outer_emissivity + factors.outer_emissivity))
        where = oven.site.ambient_c, g.outer_length_m, face.orientation, emissivity
        self._outside: _Outside = (*where, g.outer_m2 / g.inner_m2, spreads, factors.outside)
        self._endless: _Outside = (*where, 1.0, (1.0,) * len(spreads), factors.outside)
        self._x, flux = _curve(self.layers, self._outside, highest_c)
        self._c = _spline(np.array(self._x), np.array([q * g.inner_m2 for q in flux]))

    def solve(self, hot_c: float) -> WallSolution:
        near = self.heat_w(hot_c) / self.geometry.inner_m2
        return solve_wall(self.layers, hot_c, *self._outside, near_w_m2=near if near > 0.0 else None)

    def widened(self, solution: WallSolution) -> float:
        """By how much edges and corners widen the whole wall: the mean of its layers by their flat resistance."""
        layers = enumerate(self.geometry.spreads)
        drops = [(max(0.0, solution.layer_c(i)[0] - solution.layer_c(i)[1]), x) for i, x in layers]
        whole = sum(drop for drop, _ in drops)
        return sum(drop * x for drop, x in drops) / whole if whole > 0.0 else 1.0

    def middle(self, hot_c: float) -> WallSolution:
        """Hot and cold faces of the layers behind the middle of the face: the endless wall's, lowered towards the
        outside as the edges lower the outside there."""
        ambient_c, plane = self._outside[0], solve_wall(self.layers, hot_c, *self._endless)
        outside = plane.cold_face_c
        lower = (1.0 - self.geometry.middle_share) * (outside - ambient_c) / max(hot_c - outside, 1e-9)
        faces = tuple(t - lower * (hot_c - t) for t in plane.faces_c)
        return WallSolution(plane.flux_w_m2, faces)

    def heat_w(self, hot_c: float) -> float:
        """Heat into the face, W; linear below the room and beyond the top."""
        return self.heat_and_slope(hot_c)[0]

    def heat_and_slope(self, hot_c: float) -> tuple[float, float]:
        """The same with its slope, W/K: the spline in plain floats."""
        x, (cubic, square, linear, constant) = self._x, self._c
        if hot_c <= x[0]:
            return linear[0] * (hot_c - x[0]), linear[0]
        i = min(bisect_right(x, hot_c) - 1, len(x) - 2)
        d = hot_c - x[i]
        a, b, c = cubic[i], square[i], linear[i]
        return ((a * d + b) * d + c) * d + constant[i], (3.0 * a * d + 2.0 * b) * d + c


def _spline(x: np.ndarray, y: np.ndarray) -> list[list[float]]:
    """Coefficients of the cubic spline through the points, highest power first, as plain floats because they are read
    tens of thousands of times. The third derivative is continuous at the second and at the last but one point ("not a
    knot")."""
    h, slope = np.diff(x), np.diff(y) / np.diff(x)
    n = len(x)
    a, b = np.zeros((n, n)), np.zeros(n)
    for i in range(1, n - 1):
        a[i, i - 1 : i + 2] = h[i - 1], 2.0 * (h[i - 1] + h[i]), h[i]
        b[i] = 6.0 * (slope[i] - slope[i - 1])
    a[0, :3] = h[1], -(h[0] + h[1]), h[0]
    a[-1, -3:] = h[-1], -(h[-2] + h[-1]), h[-2]
    bend = np.linalg.solve(a, b)
    return [
        ((bend[1:] - bend[:-1]) / (6.0 * h)).tolist(),
        (0.5 * bend[:-1]).tolist(),
        (slope - h * (2.0 * bend[:-1] + bend[1:]) / 6.0).tolist(),
        y[:-1].tolist(),
    ]


def walls_of(oven: Oven, factors: Factors, highest_c: float) -> tuple[HeatedWall, ...]:
    """The walls of all faces. They are kept: ovens that differ in what does not reach into a wall share them."""
    return _walls_of(oven, replace(factors, emissivity=1.0, film=1.0, leakage=1.0), highest_c)


@lru_cache(maxsize=32)
def _walls_of(oven: Oven, factors: Factors, highest_c: float) -> tuple[HeatedWall, ...]:
    return tuple(HeatedWall(oven, face, factors, highest_c) for face in oven.faces)
