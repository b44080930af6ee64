"""Coordinates in which the valleys of the fit's cost are straight.

A record tells the sum of two parallel conductances far better than either, and the sum of resistances in a row better
than each. In logarithms of single parameters such a valley is curved, and a fit converges slowly along it. The
coordinates here are sums at the working temperature, and shares in them; being logarithms of positive things, they too
keep every parameter positive:

    two parallel ways   ln(g + 4σ·m·T³), ln(g/m)            elements, lining's face, contents
    losses              ln(leak + G), ln(leak/G)            G of the four conductances in a row, at work
    inside the row      ln(g1/g4), ln(g2/g4), ln(g3/g4), ln(rise)
    delays              ln(dead time + lag + chamber's own time constant, all at work),
                        ln(lag/dead), ln(chamber's/dead), ln(wind)
"""

import math
from dataclasses import dataclass

import numpy as np

from ..body.sensor import INNER_SHARE, STILL_FILM
from ..model.energy import EnergyModel
from ..model.parameters import value_of
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY

_PAIRS = (("element_w_per_k", "element_m2"), ("film_w_per_k", "film_m2"), ("contents_w_per_k", "contents_m2"))
_ROW = tuple(f"lining_{i}_w_per_k" for i in (1, 2, 3, 4))


@dataclass(frozen=True)
class Coordinates:
    """Of one model's parameters around its day-zero values; `logarithms(c)` are ln(value/day-zero value), 0
    at c = 0."""

    names: tuple[str, ...]
    day_zero: np.ndarray
    radiation: dict[str, float]
    sensor_radiation: float
    mean_c: float

    def of(self, logarithms: np.ndarray) -> np.ndarray:
        return self._forward(logarithms) - self._forward(np.zeros(len(logarithms)))

    def logarithms(self, coordinates: np.ndarray) -> np.ndarray:
        return self._back(coordinates + self._forward(np.zeros(len(coordinates))))

    def derivative(self, coordinates: np.ndarray) -> np.ndarray:
        """d logarithms / d coordinates by central differences of closed formulas (relative error about
        1e-9)."""
        n, step = len(coordinates), 1e-5
        out = np.empty((n, n))
        for i in range(n):
            shift = np.zeros(n)
            shift[i] = step
            out[:, i] = (self.logarithms(coordinates + shift) - self.logarithms(coordinates - shift)) / (2.0 * step)
        return out

    def _forward(self, logarithms: np.ndarray) -> np.ndarray:
        value = {n: v * math.exp(t) for n, v, t in zip(self.names, self.day_zero, logarithms)}
        out = {n: math.log(v) for n, v in value.items()}
        for g, m in _PAIRS:
            if g in value and m in value:
                out[g] = math.log(value[g] + self.radiation[m] * value[m])
                out[m] = math.log(value[g] / value[m])
        if self._delays_known():
            dead = value["dead_s"]
            lag = value["lag_s"] * self._share(value["sensor_wind"])
            own = value["chamber_j_per_k"] / math.exp(out["film_w_per_k"])
            out["dead_s"], out["lag_s"], out["chamber_j_per_k"] = (
                math.log(dead + lag + own),
                math.log(lag / dead),
                math.log(own / dead),
            )
        *inner, last = self._row(value)
        whole = 1.0 / (sum(1.0 / g for g in inner) + 1.0 / last)
        leak = value.get("leak_w_per_k")
        out[_ROW[-1]] = math.log(whole + (leak or 0.0))
        if leak:
            out["leak_w_per_k"] = math.log(leak / whole)
        out.update({n: math.log(g / last) for n, g in zip(_ROW, inner)})
        return np.array([out[n] for n in self.names])

    def _back(self, coordinates: np.ndarray) -> np.ndarray:
        c = dict(zip(self.names, coordinates.tolist()))
        value = {n: math.exp(v) for n, v in c.items()}
        totals = dict(value)
        for g, m in _PAIRS:
            if g in c and m in c:
                total, ratio = totals[g], value[m]
                value[m] = total / (ratio + self.radiation[m])
                value[g] = ratio * value[m]
        if self._delays_known():
            lag, own = totals["lag_s"], totals["chamber_j_per_k"]
            dead = totals["dead_s"] / (1.0 + lag + own)
            value.update(
                dead_s=dead,
                lag_s=lag * dead / self._share(value["sensor_wind"]),
                chamber_j_per_k=own * dead * totals["film_w_per_k"],
            )
        losses = value[_ROW[-1]]
        share = value.get("leak_w_per_k", 0.0)
        whole = losses / (1.0 + share)
        ratios = [value[n] for n in _ROW[:-1]]
        last = whole * (1.0 + sum(1.0 / r for r in ratios))
        rise = 1.0 + value.get("rise_per_k", 0.0) * self.mean_c
        value.update({n: r * last / rise for n, r in zip(_ROW, (*ratios, 1.0))})
        if "leak_w_per_k" in c:
            value["leak_w_per_k"] = share * whole
        return np.array([math.log(value[n] / v) for n, v in zip(self.names, self.day_zero)])

    def _delays_known(self) -> bool:
        return all(n in self.names for n in ("dead_s", "lag_s", "sensor_wind"))

    def _row(self, value: dict[str, float]) -> list[float]:
        rise = 1.0 + value.get("rise_per_k", 0.0) * self.mean_c
        return [value[n] * rise for n in _ROW]

    def _share(self, wind: float) -> float:
        return INNER_SHARE + (1.0 - INNER_SHARE) / (wind + self.sensor_radiation)


def coordinates_of(model: EnergyModel, parameters, working_c: float) -> Coordinates:
    """Coordinates around a day-zero model, for records that work around `working_c`."""
    state, _ = model.steady(working_c)
    chamber = working_c + ZERO_C
    element = 0.5 * (state[0] + ZERO_C + chamber)
    radiation = {
        "element_m2": 4.0 * STEFAN_BOLTZMANN * element**3,
        "film_m2": 4.0 * STEFAN_BOLTZMANN * chamber**3,
        "contents_m2": 4.0 * STEFAN_BOLTZMANN * chamber**3,
    }
    return Coordinates(
        tuple(p.name for p in parameters),
        np.array([value_of(model, p) for p in parameters]),
        radiation,
        4.0 * SENSOR_EMISSIVITY * STEFAN_BOLTZMANN * chamber**3 / STILL_FILM,
        0.5 * (working_c + model.ambient_c),
    )
