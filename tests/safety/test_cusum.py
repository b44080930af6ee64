"""Cumulative sums: the formulas of their false-alarm rates, against published tables and against simulation, and the
thresholds of the rules derived from them.

The mean time to a false alarm follows from the mean and the spread of the evidence while nothing is wrong:

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
import random

import pytest

from kilnctl.safety import Policy
from kilnctl.safety.cusum import grow

#: Expected overshoot of both ends, in standard deviations of one sample (Siegmund 1985).
OVERSHOOT = 1.166
#: The same for correlated evidence, in units of σ·τ: both ends, 2·|ζ(1/2)|.
CORRELATED_OVERSHOOT = 2.9207
#: An exponent beyond this is longer than any wait; the answer is then infinity.
LONGEST_EXPONENT = 600.0


def mean_passage(drift: float, variance: float, height: float) -> float:
    x = 2.0 * drift * height / variance
    if abs(x) < 1e-4:
        return height * height / variance  # the limit without drift
    if x > LONGEST_EXPONENT:
        return math.inf
    return variance / (2.0 * drift * drift) * (math.expm1(x) - x)


def run_length(drift_sd: float, threshold_sd: float) -> float:
    """Mean number of independent samples until an alarm. `drift_sd`: by how many standard deviations the allowance
    exceeds the mean evidence (negative when the evidence exceeds it: then it is the detection delay). Raises ValueError
    for a threshold that is not above 0 or numbers that are not finite; the approximation is good to about 10 % for
    |drift| ≤ 1."""
    if not (math.isfinite(drift_sd) and math.isfinite(threshold_sd) and threshold_sd > 0.0):
        raise ValueError(f"threshold_sd must be above zero and both finite, not {threshold_sd!r} and {drift_sd!r}")
    return mean_passage(drift_sd, 1.0, threshold_sd + OVERSHOOT)


def time_to_alarm_s(drift: float, sigma: float, correlation_s: float, threshold: float) -> float:
    """Mean time to an alarm, s, of correlated evidence: allowance minus mean evidence `drift`, standard deviation
    `sigma`, correlation time `correlation_s`, from zero. Good when it comes out at several correlation times. Raises
    ValueError for arguments that are not above 0."""
    for name, value in (("sigma", sigma), ("correlation_s", correlation_s), ("threshold", threshold)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} must be above zero, not {value!r}")
    if not math.isfinite(drift):
        raise ValueError(f"drift must be finite, not {drift!r}")
    return mean_passage(
        drift, 2.0 * sigma * sigma * correlation_s, threshold + CORRELATED_OVERSHOOT * sigma * correlation_s
    )


def test_the_sum_grows_by_the_excess_and_never_below_zero():
    assert grow(0.0, 0.5, 0.2, 2.0) == pytest.approx(0.6)
    assert grow(0.3, 0.0, 0.2, 1.0) == pytest.approx(0.1)
    assert grow(0.1, 0.0, 0.2, 1.0) == 0.0


def test_a_run_length_is_siegmund_s_formula():
    """N ≈ (exp(2 d b) − 1 − 2 d b) / (2 d²) with b = h + 1.166."""
    for drift, threshold in ((0.5, 4.0), (-0.7, 0.5), (0.03, 7.0)):
        b = threshold + 1.166
        assert run_length(drift, threshold) == pytest.approx(
            (math.exp(2.0 * drift * b) - 1.0 - 2.0 * drift * b) / (2.0 * drift**2), rel=1e-9
        )
    assert run_length(0.0, 4.0) == pytest.approx(5.166**2) and run_length(0.0, 0.5) == pytest.approx(1.666**2)


def test_a_time_to_alarm_is_of_a_particle_with_inertia():
    """v = 2 σ² τ, b = h + 2·|ζ(1/2)| σ τ; ζ(1/2) = −1.4603545, from memory."""
    for drift, sigma, tau, threshold in ((0.05, 0.1, 60.0, 15.0), (-0.02, 0.3, 20.0, 5.0)):
        v, b = 2.0 * sigma**2 * tau, threshold + 2.0 * 1.4603545 * sigma * tau
        x = 2.0 * drift * b / v
        assert time_to_alarm_s(drift, sigma, tau, threshold) == pytest.approx(
            v / (2.0 * drift**2) * (math.exp(x) - 1.0 - x), rel=1e-5
        )
        assert time_to_alarm_s(0.0, sigma, tau, threshold) == pytest.approx(b * b / v, rel=1e-5)


def test_where_the_formula_gives_way_to_its_limits():
    """Near no drift (exp(x) − 1 − x)·2/x² is 1 + x/3, and 1 below 10⁻⁴; beyond an exponent of 600 it is infinite."""
    assert mean_passage(4.99e-5, 1.0, 1.0) == mean_passage(-4.99e-5, 1.0, 1.0) == 1.0
    for drift in (5e-5, 6e-5, -5e-5, -6e-5):
        assert mean_passage(drift, 1.0, 1.0) == pytest.approx(1.0 + 2.0 * drift / 3.0, rel=1e-7)
    assert (
        mean_passage(300.0, 1.0, 1.0) == pytest.approx(math.exp(600.0) / 1.8e5, rel=1e-9)
        and mean_passage(300.01, 1.0, 1.0) == math.inf
    )


#: Two-sided average run length of a tabular CUSUM with k = 1/2 for a shift of the mean by so many standard deviations:
#: D. C. Montgomery, Introduction to Statistical Quality Control, table 9.3 (h = 4 and h = 5), from memory.
PUBLISHED = [
    (4.0, 0.0, 168.0),
    (4.0, 1.0, 8.38),
    (4.0, 2.0, 3.34),
    (5.0, 0.0, 465.0),
    (5.0, 0.5, 38.0),
    (5.0, 1.0, 10.4),
    (5.0, 1.5, 5.75),
]


@pytest.mark.parametrize(("threshold", "shift", "published"), PUBLISHED)
def test_run_length_against_published_table(threshold, shift, published):
    """Siegmund's approximation of a two-sided chart: 1/L = 1/L⁺ + 1/L⁻. It is a few per cent off, as its author
    says."""
    up, down = run_length(0.5 - shift, threshold), run_length(0.5 + shift, threshold)
    assert 1.0 / (1.0 / up + 1.0 / down) == pytest.approx(published, rel=0.06)


def test_run_length_is_smooth_through_zero_drift_and_without_end_for_large_ones():
    assert run_length(0.0, 4.0) == pytest.approx((4.0 + 1.166) ** 2)
    assert run_length(1e-3, 4.0) == pytest.approx(run_length(0.0, 4.0), rel=0.01)
    assert run_length(1e-5, 4.0) == pytest.approx(run_length(0.0, 4.0), rel=1e-3)
    assert run_length(100.0, 4.0) == math.inf


def test_the_stated_rate_of_the_rule():
    """What `heat.explained_share` claims: more than a million hours, with its own threshold."""
    threshold = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0).excess_share_s
    assert time_to_alarm_s(0.08, 0.03, 60.0, threshold) > 1e6 * 3600.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_what_cannot_be_is_refused(bad):
    with pytest.raises(ValueError, match="threshold_sd"):
        run_length(0.5, bad)
    for k in range(3):
        arguments = [0.1, 60.0, 15.0]
        arguments[k] = bad
        with pytest.raises(ValueError, match="above zero"):
            time_to_alarm_s(0.05, *arguments)
    if not math.isfinite(bad):
        with pytest.raises(ValueError):
            run_length(bad, 4.0)
        with pytest.raises(ValueError, match="drift"):
            time_to_alarm_s(bad, 0.1, 60.0, 15.0)


@pytest.mark.parametrize(("drift", "threshold"), [(0.5, 3.0), (0.25, 4.0), (0.0, 5.0), (-0.5, 6.0)])
def test_run_length_against_simulation(drift, threshold):
    generator, lengths = random.Random(1), []
    for _ in range(1500):
        total, n = 0.0, 0
        while total <= threshold:
            total, n = grow(total, generator.gauss(-drift, 1.0), 0.0, 1.0), n + 1
        lengths.append(n)
    assert sum(lengths) / len(lengths) == pytest.approx(run_length(drift, threshold), rel=0.08)


@pytest.mark.parametrize(
    ("sigma", "tau", "drift"), [(0.1, 60.0, 0.05), (0.1, 60.0, 0.0), (0.2, 20.0, 0.05), (0.05, 60.0, 0.02)]
)
def test_time_to_alarm_of_correlated_evidence_against_simulation(sigma, tau, drift):
    """First-order correlated evidence, one sample a second, as the estimator's unexplained heat is."""
    threshold, keep = 15.0, math.exp(-1.0 / tau)
    kick, generator, times = sigma * math.sqrt(1.0 - keep * keep), random.Random(2), []
    for _ in range(150):
        value, total, t = generator.gauss(0.0, sigma), 0.0, 0
        while total <= threshold:
            value = keep * value + generator.gauss(0.0, kick)
            total, t = grow(total, value, drift, 1.0), t + 1
        times.append(t)
    assert sum(times) / len(times) == pytest.approx(time_to_alarm_s(drift, sigma, tau, threshold), rel=0.2)
