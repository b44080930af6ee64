"""Thermocouples after ITS-90: temperature ↔ millivolts. A cold junction is compensated in millivolts too: its degrees
must not be added, as the sensitivity differs between both ends.

Plain floats, a few µs a call: the front ends use it every tick. The inverse is Newton's method on the reference
function itself, so that there and back agree to 1e-6 °C (NIST's own inverse polynomials are good to a few hundredths of
a degree).
"""

import bisect
import math
from functools import cache

from .its90 import FORWARD

TYPES = tuple(FORWARD)
_K_EXPONENTIAL = (0.1185976, -0.0001183432, 126.9686)
#: Where each type's EMF rises with temperature and so can be inverted; type B has a minimum at 21 °C.
_INVERTIBLE_FROM_C = {
    "B": 50.0,
    "E": -260.0,
    "J": -210.0,
    "K": -260.0,
    "N": -260.0,
    "R": -50.0,
    "S": -50.0,
    "T": -260.0,
}


def range_c(kind: str) -> tuple[float, float]:
    """Lowest and highest temperature of a type's reference function, °C."""
    pieces = _pieces(kind)
    return pieces[0][0], pieces[-1][1]


def _pieces(kind: str):
    try:
        return FORWARD[kind]
    except KeyError:
        raise ValueError(f"kind = {kind!r}: a thermocouple type letter, one of {', '.join(TYPES)}") from None


def _evaluate(kind: str, t_c: float) -> tuple[float, float]:
    """EMF in mV and its slope in mV/K; no range check."""
    pieces = FORWARD[kind]
    low, _, coefficients = next((piece for piece in pieces if t_c <= piece[1]), pieces[-1])
    emf = slope = 0.0
    for c in reversed(coefficients):
        slope = slope * t_c + emf
        emf = emf * t_c + c
    if kind == "K" and low >= 0.0:
        a0, a1, a2 = _K_EXPONENTIAL
        bump = a0 * math.exp(a1 * (t_c - a2) ** 2)
        emf += bump
        slope += bump * 2.0 * a1 * (t_c - a2)
    return emf, slope


def emf_mv(kind: str, t_c: float) -> float:
    """EMF in mV at t_c °C with the other junction at 0 °C. Raises ValueError outside the type's range."""
    low, high = range_c(kind)
    if not low <= t_c <= high:
        raise ValueError(f"t_c = {t_c:g} °C: type {kind} is defined from {low:g} °C to {high:g} °C")
    return _evaluate(kind, t_c)[0]


@cache
def _table(kind: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    low, high = _INVERTIBLE_FROM_C[kind], range_c(kind)[1]
    steps = math.ceil((high - low) / 10.0)
    temperatures = (*(low + (high - low) * i / steps for i in range(steps)), high)
    return temperatures, tuple(_evaluate(kind, t)[0] for t in temperatures)


def temperature_c(kind: str, emf: float) -> float:
    """Temperature in °C of an EMF in mV with the other junction at 0 °C. Raises ValueError outside the invertible
    range."""
    _pieces(kind)
    temperatures, emfs = _table(kind)
    if not emfs[0] - 1e-9 <= emf <= emfs[-1] + 1e-9:
        raise ValueError(f"emf = {emf:g} mV: type {kind} can be inverted from {emfs[0]:.3f} mV to {emfs[-1]:.3f} mV")
    i = min(max(bisect.bisect_right(emfs, emf) - 1, 0), len(emfs) - 2)
    t = temperatures[i] + (temperatures[i + 1] - temperatures[i]) * (emf - emfs[i]) / (emfs[i + 1] - emfs[i])
    for _ in range(4):
        value, slope = _evaluate(kind, t)
        step = (emf - value) / slope
        t += step
        if abs(step) < 1e-9:
            break
    return t
