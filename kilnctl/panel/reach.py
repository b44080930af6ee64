"""What an oven can follow, for the picture behind a schedule: from the start of each stretch of a plan, how fast the
chamber can rise at full power and how fast it falls without any, by the control's model."""

from collections.abc import Iterable

import numpy as np

from ..model.energy import CHAMBER, EnergyModel

#: Steps of one walk, and the shortest of them, s. A walk covers 40 hours at most.
MOST_STEPS, DT_S, LONGEST_S = 1500, 10.0, 144_000.0
#: Moments of the picture in one stretch.
MOMENTS = 24


def walks(model: EnergyModel, start_c: float, top_c: float, ambient_c: float) -> tuple[np.ndarray, np.ndarray]:
    """(rising, falling): columns time, s, and chamber, °C, at full power from `start_c` and without power from a
    steady `top_c`."""
    top_c = min(top_c, model.highest_c(ambient_c) - 1.0)
    up = _walk(model, model.rest(start_c), model.power_w, top_c, ambient_c)
    hot, _ = model.steady(top_c, ambient_c)
    down = _walk(model, hot, 0.0, ambient_c + 5.0, ambient_c)
    return up, down


def _walk(model: EnergyModel, x, power_w: float, end_c: float, ambient_c: float) -> np.ndarray:
    rising, dt, time_s = power_w > 0.0, DT_S, 0.0
    rows = [(0.0, x[CHAMBER])]
    while len(rows) < MOST_STEPS and time_s < LONGEST_S and (x[CHAMBER] < end_c if rising else x[CHAMBER] > end_c):
        x = model.step(x, power_w, dt, ambient_c)
        time_s += dt
        rows.append((time_s, x[CHAMBER]))
        # Slow ovens are walked in longer steps.
        dt = DT_S if len(rows) < 300 else 6.0 * DT_S
    return np.array(rows)


def region(
    rising: np.ndarray, falling: np.ndarray, stretches: Iterable[tuple[float, float, float]]
) -> dict[str, list[float]]:
    """{time_s, low, high}: the temperatures, °C, that the chamber can have from the start of each stretch (begin and
    end, s, and its temperature then, °C) on."""
    out: dict[str, list[float]] = {"time_s": [], "low": [], "high": []}
    for begin_s, end_s, from_c in stretches:
        times = np.linspace(begin_s, max(end_s, begin_s + 1.0), MOMENTS)
        out["time_s"] += times.tolist()
        # A walk that ends before it is at from_c says nothing there: full power only warms, and no power only cools.
        out["high"] += np.maximum(from_c, _from(rising, from_c, times - begin_s)).round(1).tolist()
        out["low"] += np.minimum(from_c, _from(falling, from_c, times - begin_s)).round(1).tolist()
    return out


def _from(walk: np.ndarray, from_c: float, after_s: np.ndarray) -> np.ndarray:
    """Along the walk from its moment at `from_c`; its last temperature beyond its end."""
    times, chamber = walk[:, 0], walk[:, 1]
    order = np.argsort(chamber, kind="stable")
    at_s = float(np.interp(from_c, chamber[order], times[order]))
    return np.interp(at_s + after_s, times, chamber)
