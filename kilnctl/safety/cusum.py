"""Cumulative sums: evidence that is small each second and large over minutes, with a stated rate of false alarms.

    S ← max(0, S + (evidence − allowance)·dt),   alarm when S > threshold

(E. S. Page, Continuous inspection schemes, Biometrika 41, 1954.) The mean time to a false alarm follows from the mean and
the wander of the evidence while nothing is wrong:

- independent samples of unit variance, drift −d a step (d > 0), threshold h:
  N ≈ (exp(2 d b) − 1 − 2 d b) / (2 d²) steps with b = h + 1.166
  (D. Siegmund, Sequential Analysis, 1985, section 2.6: the 1.166 is twice the mean overshoot 0.583 of a random walk);
- evidence with correlation time τ (as the estimator's unexplained heat has): over times longer than τ its sum is a
  Brownian motion of variance rate v = 2 σ² τ, and T ≈ v/(2 m²) · (exp(2 m b / v) − 1 − 2 m b / v) for a drift −m, with
  b = h + 2·1.4604 σ τ (the extrapolation length |ζ(1/2)| σ τ of a Brownian particle with inertia before an absorbing
  wall, T. W. Marshall and E. J. Watson 1985, from memory; Siegmund's 0.583 is the same |ζ(1/2)| over √(2π)). The tests
  compare it with simulation: within a fifth for the drifts of interest.
"""

import math

#: Expected overshoot of both ends, in standard deviations of one sample (Siegmund 1985).
OVERSHOOT = 1.166
#: Of correlated evidence, in σ·τ: both ends, 2·|ζ(1/2)|.
CORRELATED_OVERSHOOT = 2.9207
#: An exponent beyond this is longer than anybody waits; the answer is then infinity.
_LONGEST_EXPONENT = 600.0


def grow(total: float, evidence: float, allowance: float, dt_s: float) -> float:
    """The sum after one more tick, never below 0. The unit is the evidence's times seconds."""
    return max(0.0, total + (evidence - allowance) * dt_s)


def _mean_passage(drift: float, variance: float, height: float) -> float:
    x = 2.0 * drift * height / variance
    if abs(x) < 1e-4:
        return height * height / variance  # the limit without drift
    if x > _LONGEST_EXPONENT:
        return math.inf
    return variance / (2.0 * drift * drift) * (math.expm1(x) - x)


def run_length(drift_sd: float, threshold_sd: float) -> float:
    """Mean number of independent samples until an alarm. `drift_sd`: by how many standard deviations the allowance exceeds
    the mean evidence (negative when the evidence exceeds it: then it is the detection delay). Raises ValueError for a
    threshold that is not above 0 or numbers that are not finite; the approximation is good to about 10 % for |drift| ≤ 1."""
    if not (math.isfinite(drift_sd) and math.isfinite(threshold_sd) and threshold_sd > 0.0):
        raise ValueError(f"threshold_sd must be above zero and both finite, not {threshold_sd!r} and {drift_sd!r}")
    return _mean_passage(drift_sd, 1.0, threshold_sd + OVERSHOOT)


def time_to_alarm_s(drift: float, sigma: float, correlation_s: float, threshold: float) -> float:
    """Mean time to an alarm, s, of correlated evidence: allowance minus mean evidence `drift`, standard deviation `sigma`,
    correlation time `correlation_s`, from zero. Good when it comes out at several correlation times. Raises ValueError for
    arguments that are not above 0."""
    for name, value in (("sigma", sigma), ("correlation_s", correlation_s), ("threshold", threshold)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} must be above zero, not {value!r}")
    if not math.isfinite(drift):
        raise ValueError(f"drift must be finite, not {drift!r}")
    return _mean_passage(
        drift, 2.0 * sigma * sigma * correlation_s, threshold + CORRELATED_OVERSHOOT * sigma * correlation_s
    )
