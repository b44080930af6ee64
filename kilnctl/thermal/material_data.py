"""Insulation, refractory and metal: conductivity, heat capacity, density, limits, and where the figures come from.

Conductivity and heat capacity are piecewise linear in temperature, so that their integrals are exact. Beyond the data
they are continued along the last slope; where that would fall below half of the last value, the half holds from there
on. `flags` says when the data have been left.
"""

import difflib
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import overload

import numpy as np

from ..errors import KilnctlError
from .air import air
from .constants import STEFAN_BOLTZMANN, ZERO_C
from .library import ALIASES, TABLE

#: Range to which every curve is continued, °C.
_COLDEST_C, _HOTTEST_C = -100.0, 1900.0

Points = tuple[tuple[float, float], ...]


class _Polyline:
    """A piecewise-linear function with its exact integral; scalars are fast, arrays work too."""

    __slots__ = ("_area", "_x", "_y", "area", "x", "y")

    def __init__(self, points: Sequence[tuple[float, float]]):
        pairs = sorted((float(a), float(b)) for a, b in points)
        if not pairs or any(not (math.isfinite(a) and math.isfinite(b) and b > 0.0) for a, b in pairs):
            raise ValueError("points must be finite and above zero")
        if any(b[0] - a[0] < 1e-9 for a, b in pairwise(pairs)):
            raise ValueError("two points have the same temperature")
        pairs = self._extended(pairs)
        self.x, self.y = [p[0] for p in pairs], [p[1] for p in pairs]
        self.area = [0.0]
        for (x0, y0), (x1, y1) in pairwise(pairs):
            self.area.append(self.area[-1] + 0.5 * (x1 - x0) * (y0 + y1))
        self._x, self._y, self._area = np.array(self.x), np.array(self.y), np.array(self.area)

    @staticmethod
    def _extended(pairs: list[tuple[float, float]]) -> list[tuple[float, float]]:
        def beyond(near: tuple[float, float], far: tuple[float, float], x: float) -> list[tuple[float, float]]:
            slope = (near[1] - far[1]) / (near[0] - far[0]) if near != far else 0.0
            end, floor = near[1] + slope * (x - near[0]), 0.5 * near[1]
            if end >= floor * (1.0 - 1e-9):
                return [(x, end)]
            # A segment needs some length, however steep the slope.
            turn = near[0] + math.copysign(max(1e-6, abs(floor / slope)), x - near[0])
            return [(turn, floor), (x, floor)]

        first, second, last, before = pairs[0], pairs[min(1, len(pairs) - 1)], pairs[-1], pairs[max(-2, -len(pairs))]
        cold = beyond(first, second, _COLDEST_C)[::-1] if first[0] > _COLDEST_C else []
        hot = beyond(last, before, _HOTTEST_C) if last[0] < _HOTTEST_C else []
        return [*cold, *pairs, *hot]

    @overload
    def at(self, t: float) -> float: ...
    @overload
    def at(self, t: np.ndarray) -> np.ndarray: ...
    def at(self, t: float | np.ndarray) -> float | np.ndarray:
        """The value; constant beyond the outermost knots, which lie outside every use."""
        if isinstance(t, np.ndarray):
            return np.interp(t, self._x, self._y)
        x, y = self.x, self.y
        if not x[0] < t < x[-1]:
            return y[0] if t <= x[0] else y[-1]
        i = bisect_right(x, t) - 1
        return y[i] + (y[i + 1] - y[i]) * (t - x[i]) / (x[i + 1] - x[i])

    @overload
    def integral(self, t: float) -> float: ...
    @overload
    def integral(self, t: np.ndarray) -> np.ndarray: ...
    def integral(self, t: float | np.ndarray) -> float | np.ndarray:
        """From the coldest knot to t."""
        if isinstance(t, np.ndarray):
            i = np.clip(np.searchsorted(self._x, t, side="right") - 1, 0, len(self.x) - 2)
            start = np.where(t > self._x[-1], len(self.x) - 1, i)
            return self._area[start] + 0.5 * (t - self._x[start]) * (self._y[start] + self.at(t))
        # Walls are solved by hundreds of thousands of these: no call is made that can be spared.
        x, y = self.x, self.y
        if t >= x[-1]:
            return self.area[-1] + (t - x[-1]) * y[-1]
        if t <= x[0]:
            return (t - x[0]) * y[0]
        i = bisect_right(x, t) - 1
        y0, x0 = y[i], x[i]
        return self.area[i] + 0.5 * (t - x0) * (y0 + (y0 + (y[i + 1] - y0) * (t - x0) / (x[i + 1] - x0)))

    def inverse_integral(self, target: float) -> float:
        """The argument whose integral is `target`: exact, one segment's quadratic."""
        if target <= 0.0:
            return self.x[0] + target / self.y[0]
        if target >= self.area[-1]:
            return self.x[-1] + (target - self.area[-1]) / self.y[-1]
        i = bisect_right(self.area, target) - 1
        x, y = self.x[i], self.y[i]
        slope, rest = (self.y[i + 1] - y) / (self.x[i + 1] - x), target - self.area[i]
        square = y * y + 2.0 * slope * rest
        # The stable form of the root, right for slope = 0 too.
        return x + 2.0 * rest / (y + math.sqrt(square if square > 0.0 else 0.0))


#: A temperature this much above a service limit is still within it, K: limits are round numbers.
STILL_WITHIN_K = 0.5


@dataclass(frozen=True)
class Material:
    """One material. `conductivity_points` in °C and W/(m·K), `capacity_points` in °C and J/(kg·K)."""

    name: str
    kind: str
    conductivity_points: Points
    density_kg_m3: float
    capacity_points: Points
    limit_c: float
    source: str
    uncertainty: float = 0.15
    emissivity: float = 0.85
    _k: _Polyline = field(init=False, repr=False, compare=False)
    _cp: _Polyline = field(init=False, repr=False, compare=False)

    def __post_init__(self):
        for points in ("conductivity_points", "capacity_points"):
            object.__setattr__(self, points, tuple(sorted(getattr(self, points))))
        object.__setattr__(self, "_k", _Polyline(self.conductivity_points))
        object.__setattr__(self, "_cp", _Polyline(self.capacity_points))

    @property
    def range_c(self) -> tuple[float, float]:
        """Range of the conductivity data, °C; a single point gives no range, so the service limit stands in."""
        temperatures = [p[0] for p in self.conductivity_points]
        return (temperatures[0], temperatures[-1]) if len(temperatures) > 1 else (_COLDEST_C, self.limit_c)

    @overload
    def conductivity(self, t_c: float) -> float: ...
    @overload
    def conductivity(self, t_c: np.ndarray) -> np.ndarray: ...
    def conductivity(self, t_c: float | np.ndarray) -> float | np.ndarray:
        """k at t_c in W/(m·K); float or array."""
        return self._k.at(t_c)

    def conductivity_integral(self, t1_c: float, t2_c: float) -> float:
        """∫ k dT from t1_c to t2_c in W/m, exact."""
        return self._k.integral(t2_c) - self._k.integral(t1_c)

    def mean_conductivity(self, t1_c: float, t2_c: float) -> float:
        """Mean of k between two faces in W/(m·K): what a data sheet prints against their mean temperature."""
        if abs(t2_c - t1_c) < 1e-6:
            return self._k.at(0.5 * (t1_c + t2_c))
        return self.conductivity_integral(t1_c, t2_c) / (t2_c - t1_c)

    def cold_face_c(self, hot_c: float, potential_w_m: float) -> float:
        """The face from which ∫ k dT up to hot_c is potential_w_m (flux times thickness), °C, exact."""
        return self._k.inverse_integral(self._k.integral(hot_c) - potential_w_m)

    @overload
    def heat_capacity(self, t_c: float) -> float: ...
    @overload
    def heat_capacity(self, t_c: np.ndarray) -> np.ndarray: ...
    def heat_capacity(self, t_c: float | np.ndarray) -> float | np.ndarray:
        """Specific heat at t_c in J/(kg·K); float or array."""
        return self._cp.at(t_c)

    @overload
    def enthalpy(self, t_c: float) -> float: ...
    @overload
    def enthalpy(self, t_c: np.ndarray) -> np.ndarray: ...
    def enthalpy(self, t_c: float | np.ndarray) -> float | np.ndarray:
        """Heat to warm 1 kg from 0 °C to t_c in J/kg, exact integral of the specific heat."""
        return self._cp.integral(t_c) - self._cp.integral(0.0)

    def mean_heat_capacity(self, from_c: float, to_c: float) -> float:
        """Mean of the specific heat between two different temperatures, J/(kg·K)."""
        return (self.enthalpy(to_c) - self.enthalpy(from_c)) / (to_c - from_c)

    def flags(self, low_c: float, high_c: float) -> tuple[str, ...]:
        """What to say about using it between these temperatures; empty when the data cover them.

        A cold face at room temperature below the coldest point is not mentioned."""
        first, last = self.range_c
        said = []
        if high_c > last + 0.5:
            said.append(f"{self.name}: conductivity known up to {last:.0f} °C, continued to {high_c:.0f} °C")
        if low_c < min(first, 100.0) - 0.5 and first > 100.0 + 0.5:
            said.append(f"{self.name}: conductivity known from {first:.0f} °C, continued down to {low_c:.0f} °C")
        return tuple(said)

    def over_limit(self, t_c: float) -> str | None:
        """A sentence when t_c is above the service limit, else None."""
        if t_c <= self.limit_c + STILL_WITHIN_K:
            return None
        return f"{self.name} would reach {t_c:.0f} °C; its service limit is {self.limit_c:.0f} °C"

    def scaled(self, conductivity: float = 1.0, capacity: float = 1.0) -> "Material":
        """The same with conductivity and heat capacity multiplied, for what-if and uncertainty."""
        return Material(
            self.name,
            self.kind,
            tuple((t, k * conductivity) for t, k in self.conductivity_points),
            self.density_kg_m3,
            tuple((t, c * capacity) for t, c in self.capacity_points),
            self.limit_c,
            self.source,
            self.uncertainty,
            self.emissivity,
        )


def from_points(
    name: str,
    conductivity: Points,
    density_kg_m3: float,
    heat_capacity: Points,
    limit_c: float,
    source: str,
    uncertainty: float = 0.15,
) -> Material:
    """A material from what a data sheet prints, conductivity in W/(m·K) against *mean* temperature in °C.

    A sheet's mean conductivity belongs to a cold and a hot face that it rarely names. Where k is linear between them,
    the mean conductivity is exactly k at the mean temperature, and that is assumed here. For a curved k the sheet's
    figure is too high by about a·ΔT²/24 with a = k''/k: for fibre (a about 2e-6 to 4e-6 K⁻²) and faces 400 K apart 1 %
    to 4 %, on the side of more loss, and inside the usual ±15 % of the figure itself. A single value with NaN for its
    temperature holds everywhere.
    """

    def placed(points: Points) -> Points:
        return tuple((20.0 if math.isnan(t) else t, value) for t, value in points)

    return Material(
        name, "user", placed(conductivity), density_kg_m3, placed(heat_capacity), limit_c, source, uncertainty
    )


def from_polynomial(
    name: str,
    coefficients: Sequence[float],
    density_kg_m3: float,
    heat_capacity: Points,
    limit_c: float,
    source: str,
    uncertainty: float = 0.15,
) -> Material:
    """A material with k = a0 + a1·T + a2·T² + … in W/(m·K), T in °C from 0 °C to limit_c, tabulated every 10 K (exact
    where k is linear; else within a·10²/8, under 1e-4 for k''/k up to 8e-6 K⁻²). Raises ValueError where k is not above
    zero."""
    steps = max(2, math.ceil(limit_c / 10.0) + 1)
    table = tuple(
        (float(t), float(np.polynomial.polynomial.polyval(t, coefficients))) for t in np.linspace(0.0, limit_c, steps)
    )
    if min(k for _, k in table) <= 0.0:
        where = next(t for t, k in table if k <= 0.0)
        raise ValueError(f"the conductivity polynomial of '{name}' is not above zero at {where:.0f} °C")
    return from_points(name, table, density_kg_m3, heat_capacity, limit_c, source, uncertainty)


def air_gap(thickness_m: float, emissivity: float = 0.9, other_emissivity: float = 0.9) -> Material:
    """Still air between two faces as a material: k = k_air + 4·σ·E·L·T³ with E = 1/(1/e1 + 1/e2 − 1).

    ∫ 4σE T³ dT = σE(T1⁴ − T2⁴), so the radiation across comes out exact between the knots' resolution of 10 K.
    Convection in the gap is left out: right up to about 15 mm, and for any heated-from-above gap. Raises ValueError
    outside 0.1 mm to 50 mm.
    """
    if not 1e-4 <= thickness_m <= 0.05:
        raise ValueError("an air gap is taken as still air from 0.1 mm to 50 mm only: split it or fill it")
    exchange = 1.0 / (1.0 / emissivity + 1.0 / other_emissivity - 1.0)

    def k(t_c: float) -> float:
        return air(t_c).conductivity_w_mk + 4.0 * STEFAN_BOLTZMANN * exchange * thickness_m * (t_c + ZERO_C) ** 3

    table = tuple((float(t), k(float(t))) for t in range(-40, 1401, 10))
    return Material(
        "air gap", "gap", table, 1.2, ((20.0, 1006.0),), 1400.0, "conduction of air and radiation across", 0.1
    )


def library() -> dict[str, Material]:
    """Every material of the library by its name."""
    global _LIBRARY
    if _LIBRARY is None:
        _LIBRARY = {name: Material(name, *row) for name, row in TABLE.items()}
    return dict(_LIBRARY)


_LIBRARY: dict[str, Material] | None = None


def find(name: str) -> Material:
    """The library's material of that name (also by a usual other spelling). Raises KilnctlError with the nearest
    names."""
    known = library()
    wanted = " ".join(name.lower().split()).replace("fiber", "fibre").replace("aluminum", "aluminium")
    wanted = ALIASES.get(wanted, wanted)
    if wanted in known:
        return known[wanted]
    if wanted == "air gap":
        return air_gap(0.01)
    near = difflib.get_close_matches(wanted, [*known, *ALIASES, "air gap"], 3, 0.5)
    raise KilnctlError(
        f"there is no material '{name}'; "
        + (f"nearest: {', '.join(near)}" if near else "`kilnctl materials` lists them all")
    )
