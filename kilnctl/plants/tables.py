"""Properties as tables on one uniform temperature grid, so that all nodes of all ovens are looked up in a few numpy calls.

The tables hold integrals (enthalpy, conductivity integral) and are read by linear interpolation: conductivity and heat
capacity are then constant within one step of `STEP_K`, energy and flux balances stay exact, and a plane wall in steady
state has no discretisation error at all. All temperatures here are in kelvin.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.constants import zero_Celsius

LOWEST_K = 200.0
HIGHEST_K = 2000.0
STEP_K = 2.0
KNOTS = int((HIGHEST_K - LOWEST_K) / STEP_K) + 1


def grid_k() -> np.ndarray:
    """Knots of the tables, K."""
    return LOWEST_K + STEP_K * np.arange(KNOTS)


@dataclass(frozen=True)
class Properties:
    """Enthalpy in J/kg and conductivity integral in W/m of several materials, row by row, flattened for one lookup."""

    enthalpy: np.ndarray
    enthalpy_step: np.ndarray
    integral: np.ndarray
    integral_step: np.ndarray

    @classmethod
    def of(cls, pairs: Sequence[tuple[Callable, Callable]]) -> "Properties":
        """From pairs of functions (conductivity W/(m·K), heat capacity J/(kg·K)) of an array of temperatures in °C."""
        knots = grid_k() - zero_Celsius
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
        return cls(*_flat(enthalpy), *_flat(conduction))


def _evaluate(function: Callable, temperatures_c: np.ndarray) -> np.ndarray:
    return np.broadcast_to(np.asarray(function(temperatures_c), dtype=float), temperatures_c.shape)


def _flat(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The table and its forward differences, both flat; the last difference of a row is never used."""
    steps = np.zeros_like(rows)
    steps[:, :-1] = np.diff(rows, axis=1)
    steps[:, -1] = steps[:, -2]
    return rows.ravel(), steps.ravel()


def locate(temperature_k: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Knot below and fraction of a step above it. Raises ValueError outside the tables."""
    position = (temperature_k - LOWEST_K) * (1.0 / STEP_K)
    knot = position.astype(np.intp)
    if not (np.min(position) >= 0.0 and np.max(position) < KNOTS - 1):
        raise ValueError(
            f"temperature outside {LOWEST_K:g} K to {HIGHEST_K:g} K: from {np.min(temperature_k):g} K to {np.max(temperature_k):g} K"
        )
    return knot, position - knot


class Films:
    """Convective films h(surface, fluid) in W/(m²·K), tabulated for several surfaces at once.

    The difference is spaced by its cube root, because h rises like its third or fourth root; the mean linearly.
    """

    ROOTS = 33  # knots in the cube root of the difference, over ±MOST_K
    MOST_K = 1500.0
    MEANS = 19  # knots of the mean temperature, 200 K to 2000 K

    def __init__(self, functions: Sequence[Callable[[float, float], float]]):
        """`functions`: h(surface_c, fluid_c) for each surface; equal functions are evaluated once."""
        root = self.MOST_K ** (1.0 / 3.0)
        differences = np.linspace(-root, root, self.ROOTS) ** 3
        means = np.linspace(LOWEST_K, HIGHEST_K, self.MEANS)
        made: dict = {}
        for function in functions:
            if function not in made:
                made[function] = np.array([[function(*_pair(m, d)) for m in means] for d in differences])
        self.table = np.concatenate([made[f].ravel() for f in functions])
        self._scale = (self.ROOTS - 1) / (2.0 * root)
        self._middle = 0.5 * (self.ROOTS - 1)
        self._mean_scale = (self.MEANS - 1) / (HIGHEST_K - LOWEST_K)
        self._start = np.arange(len(functions)) * (self.ROOTS * self.MEANS)

    def __call__(self, surface_k: np.ndarray, fluid_k) -> np.ndarray:
        """h of every surface (first axis) at its temperatures, K."""
        row = np.cbrt(surface_k - fluid_k) * self._scale + self._middle
        column = (0.5 * (surface_k + fluid_k) - LOWEST_K) * self._mean_scale
        r, c = row.astype(np.intp), column.astype(np.intp)
        row, column = row - r, column - c
        start = self._start if surface_k.ndim == 1 else self._start[:, None]
        at = start + r * self.MEANS + c
        table = self.table
        near = table[at] * (1.0 - column) + table[at + 1] * column
        at = at + self.MEANS
        far = table[at] * (1.0 - column) + table[at + 1] * column
        return near + row * (far - near)


def _pair(mean_k: float, difference_k: float) -> tuple[float, float]:
    """Surface and fluid in °C with that mean and difference, kept where the air formulas are valid."""
    surface, fluid = mean_k + 0.5 * difference_k, mean_k - 0.5 * difference_k
    low, high = LOWEST_K, HIGHEST_K
    surface, fluid = min(max(surface, low), high), min(max(fluid, low), high)
    return surface - zero_Celsius, fluid - zero_Celsius
