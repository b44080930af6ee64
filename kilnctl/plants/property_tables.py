"""Properties as tables on one uniform temperature grid, so that all nodes of all ovens are looked up in a few
numpy calls.

The tables hold integrals (enthalpy, conductivity integral) and are read by linear interpolation: conductivity
and heat capacity are then constant within one step of `STEP_K`, energy and flux balances stay exact, and a
plane wall in steady state has no discretisation error at all. All temperatures here are in kelvin.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..thermal.constants import ZERO_C

#: The grid of all tables, K.
LOWEST_K = 200.0
HIGHEST_K = 2000.0
STEP_K = 2.0
#: A heat capacity that changes by more than this share from one step to the next is steep.
STEEP = 0.03
KNOTS = int((HIGHEST_K - LOWEST_K) / STEP_K) + 1


def grid_k() -> np.ndarray:
    """Knots of the tables, K."""
    return LOWEST_K + STEP_K * np.arange(KNOTS)


@dataclass(frozen=True)
class Properties:
    """Enthalpy in J/kg and conductivity integral in W/m of several materials, row by row, flattened for
    one lookup."""

    enthalpy: np.ndarray
    enthalpy_step: np.ndarray
    integral: np.ndarray
    integral_step: np.ndarray
    #: From here up a heat capacity changes much within a few kelvin, K (infinite: nowhere).
    steep_from_k: float = np.inf

    @classmethod
    def of(cls, pairs: Sequence[tuple[Callable, Callable]]) -> "Properties":
        """From pairs of functions (conductivity W/(m·K), heat capacity J/(kg·K)) of an array of
        temperatures in °C."""
        knots = grid_k() - ZERO_C
        middle = 0.5 * (knots[:-1] + knots[1:])
        # Gauss's two-point rule integrates a cubic exactly within each step.
        offset = 0.5 * STEP_K / np.sqrt(3.0)

        def integral(function: Callable) -> np.ndarray:
            values = 0.5 * STEP_K * (_evaluate(function, middle - offset) + _evaluate(function, middle + offset))
            if not np.all(values > 0.0):
                raise ValueError("conductivity and heat capacity must be above zero")
            return np.concatenate(([0.0], np.cumsum(values)))

        enthalpy = np.array([integral(capacity) for _, capacity in pairs])
        conduction = np.array([integral(conductivity) for conductivity, _ in pairs])
        return cls(*_flat(enthalpy), *_flat(conduction), _steep_from_k(enthalpy))


def _steep_from_k(enthalpy: np.ndarray) -> float:
    """The lowest temperature, K, at which the heat capacity of a row changes by more than STEEP per step."""
    capacity = np.diff(enthalpy, axis=1)
    steep = (np.abs(np.diff(capacity, axis=1)) > STEEP * capacity[:, 1:]).any(axis=0)
    return float(grid_k()[np.argmax(steep)]) if steep.any() else np.inf


def _evaluate(function: Callable, temperatures_c: np.ndarray) -> np.ndarray:
    return np.broadcast_to(np.asarray(function(temperatures_c), dtype=float), temperatures_c.shape)


def _flat(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The table and its forward differences, both flat; the last difference of a row is never used."""
    steps = np.zeros_like(rows)
    steps[:, :-1] = np.diff(rows, axis=1)
    steps[:, -1] = steps[:, -2]
    return rows.ravel(), steps.ravel()


def extend(temperature_k: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same as `locate`, with the last step carried on beyond both ends of the tables."""
    position = (temperature_k - LOWEST_K) * (1.0 / STEP_K)
    knot = np.minimum(np.maximum(position, 0.0), KNOTS - 2.0).astype(np.intp)
    return knot, position - knot


def locate(temperature_k: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Knot below and fraction of a step above it. Raises ValueError outside the tables."""
    position = (temperature_k - LOWEST_K) * (1.0 / STEP_K)
    knot = position.astype(np.intp)
    if not (position.min() >= 0.0 and position.max() < KNOTS - 1):
        raise ValueError(
            f"temperature outside {LOWEST_K:g} K to {HIGHEST_K:g} K: "
            f"from {np.min(temperature_k):g} K to {np.max(temperature_k):g} K"
        )
    return knot, position - knot


class Films:
    """Convective films h(surface, fluid) in W/(m²·K), tabulated for several surfaces at once.

    The difference is spaced by its cube root, because h rises like its third or fourth root; the mean
    linearly. Forced films depend on the mean alone and have a table of their own: where the larger of both counts, the
    kink between them would be lost between two knots.
    """

    ROOTS = 43  # knots in the cube root of the difference, over ±MOST_K
    MOST_K = 1800.0  # the largest difference of temperatures in the tables
    MEANS = 37  # knots of the mean temperature, 200 K to 2000 K

    def __init__(self, functions: Sequence, forced: Sequence = ()):
        """`functions`: h(surface_c, fluid_c) for each surface; `forced`: for each of them a function of the mean, °C,
        which is used where it is larger. Where a function raises ValueError the table holds NaN, so that its use there
        is an error and not a guess."""
        self.functions = tuple(functions)
        self._forced = np.array([_forced_table(f) for f in forced]).ravel() if forced else None
        self._forced_start = self.MEANS * np.arange(len(forced)) if forced else None
        root = self.MOST_K ** (1.0 / 3.0)
        unique = list(dict.fromkeys(functions))
        size = self.ROOTS * self.MEANS
        self.table = np.concatenate([_film_table(f) for f in unique])
        at = {f: i * size for i, f in enumerate(unique)}
        self._start = np.array([at[f] for f in functions])
        self._scale = (self.ROOTS - 1) / (2.0 * root)
        self._middle = 0.5 * (self.ROOTS - 1)
        self._mean_scale = (self.MEANS - 1) / (HIGHEST_K - LOWEST_K)

    def __call__(self, surface_k: np.ndarray, fluid_k) -> np.ndarray:
        """h of every surface (first axis) at its temperatures, K."""
        row = np.cbrt(surface_k - fluid_k) * self._scale + self._middle
        column = (0.5 * (surface_k + fluid_k) - LOWEST_K) * self._mean_scale
        r, c = row.astype(np.intp), column.astype(np.intp)
        row, column = row - r, column - c
        at = self._start + r * self.MEANS + c
        table = self.table
        near = table[at] * (1.0 - column) + table[at + 1] * column
        at = at + self.MEANS
        far = table[at] * (1.0 - column) + table[at + 1] * column
        natural = near + row * (far - near)
        if self._forced is None:
            return natural
        at, table = self._forced_start + c, self._forced
        return np.maximum(natural, table[at] * (1.0 - column) + table[at + 1] * column)


@lru_cache(maxsize=512)
def _film_table(function: Callable[[float, float], float]) -> np.ndarray:
    return np.array([_or_nan(function, *pair) for pair in _pairs()])


@lru_cache(maxsize=512)
def _forced_table(function: Callable[[float], float]) -> np.ndarray:
    return np.array([_or_nan(function, m - ZERO_C) for m in np.linspace(LOWEST_K, HIGHEST_K, Films.MEANS)])


def _or_nan(function: Callable[..., float], *temperatures_c: float) -> float:
    try:
        return function(*temperatures_c)
    except ValueError:
        return np.nan


@lru_cache(maxsize=1)
def _pairs() -> list[tuple[float, float]]:
    """Surface and fluid, °C, of each knot of a film's table, kept where the air formulas are valid."""
    root = Films.MOST_K ** (1.0 / 3.0)
    half_k = 0.5 * np.linspace(-root, root, Films.ROOTS)[:, None] ** 3
    mean_k = np.linspace(LOWEST_K, HIGHEST_K, Films.MEANS)
    both = (np.clip(mean_k + sign * half_k, LOWEST_K, HIGHEST_K) - ZERO_C for sign in (1.0, -1.0))
    surface_c, fluid_c = (t.ravel().tolist() for t in both)
    return list(zip(surface_c, fluid_c, strict=True))
