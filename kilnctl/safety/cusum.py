"""Cumulative sums: evidence that is small each second and large over minutes, with a stated rate of false alarms.

    S ← max(0, S + (evidence − allowance)·dt),   alarm when S > threshold

(E. S. Page, Continuous inspection schemes, Biometrika 41, 1954.) The mean time to a false alarm follows from the mean
and the spread of the evidence while nothing is wrong. tests/safety/test_cusum.py derives the thresholds of the rules
from it, and compares the formulas with published tables and with simulation.
"""

from .extremes import greater


def grow(total: float, evidence: float, allowance: float, dt_s: float) -> float:
    """The sum after one more tick, never below 0. The unit is the evidence's times seconds."""
    return greater(0.0, total + (evidence - allowance) * dt_s)
