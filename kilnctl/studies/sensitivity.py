"""What a study's draws say together: distributions, and which input explains the spread.

Sensitivity: first-order Sobol' indices (I. M. Sobol', Math. Comput. Simul. 55 (2001) 271): the share of a figure's
variance that goes away when one input becomes known. They are estimated from the draws themselves by projecting the
figure on Legendre polynomials of each input's cumulative probability, which are orthonormal there (the main-effect
terms of a polynomial chaos: B. Sudret, Reliab. Eng. Syst. Saf. 93 (2008) 964), fitted together by least squares; the
noise of each coefficient is subtracted, so that an input without influence comes out near zero.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import eval_legendre, ndtr

#: Highest degree of the polynomials; fewer where there are too few draws for them.
DEGREE = 8
#: Draws wanted for each coefficient.
DRAWS_EACH = 8


@dataclass(frozen=True)
class Spread:
    """A figure over the draws: values at 5, 50 and 95 % of the draws, the worst, and the draw that it was. `count` had
    one."""

    low: float
    middle: float
    high: float
    worst: float
    worst_draw: int
    count: int


def spread(values: dict[int, float], worst: int) -> Spread | None:
    """Of {draw: value}; `worst` +1 when high is bad, −1 when low is. None without values. Quantiles between two draws
    are interpolated (type 7 of R. J. Hyndman and Y. Fan, Am. Stat. 50 (1996) 361); of two equally bad draws the earlier
    one counts."""
    if not values:
        return None
    numbers = np.array(list(values.values()))
    low, middle, high = np.quantile(numbers, [0.05, 0.5, 0.95]).tolist()
    draw = min(values, key=lambda k: (-worst * values[k], k))
    return Spread(low, middle, high, values[draw], draw, len(values))


@dataclass(frozen=True)
class Influence:
    """Of one input on one figure: its first-order index with its standard error, and the figure's slope in standard
    deviations of itself per standard deviation of the input (its sign says which way)."""

    name: str
    share: float
    error: float
    slope: float


def influences(names: tuple[str, ...], inputs: np.ndarray, values: np.ndarray) -> tuple[Influence, ...]:
    """First-order indices of `inputs` (draws × names, standard normal deviates) on `values` (draws,), the greatest
    first. Empty with fewer than three draws a coefficient of the lowest degree, or when the values do not differ."""
    n, k = inputs.shape
    if k == 0 or n < 3 * k + 3 or not np.var(values) > 1e-24 * (1.0 + np.mean(values) ** 2):
        return ()
    degree = max(1, min(DEGREE, n // (DRAWS_EACH * k)))
    uniform = 2.0 * ndtr(inputs) - 1.0
    basis = np.concatenate([math.sqrt(2 * d + 1) * eval_legendre(d, uniform) for d in range(1, degree + 1)], axis=1)
    design = np.column_stack((np.ones(n), basis))
    coefficient, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    if rank < design.shape[1]:
        return ()
    left = values - design @ coefficient
    noise = float(left @ left) / (n - design.shape[1])
    covariance = noise * np.diag(np.linalg.inv(design.T @ design))[1:].reshape(degree, k)
    square = coefficient[1:].reshape(degree, k) ** 2
    # The variance of the whole by the same fit: main effects plus rest. The variance of the draws themselves would add
    # its sampling error.
    variance = float((square - covariance).sum()) + noise
    share = (square - covariance).sum(axis=0) / variance
    # Var(c²) = 2σ⁴ + 4c²σ² for a normal coefficient.
    error = np.sqrt((2.0 * covariance**2 + 4.0 * square * covariance).sum(axis=0)) / variance
    centred = inputs - inputs.mean(axis=0)
    slope = (centred * (values - values.mean())[:, None]).mean(axis=0) / (inputs.std(axis=0) * values.std())
    found = [
        Influence(name, max(0.0, float(s)), float(e), float(b))
        for name, s, e, b in zip(names, share, error, slope, strict=True)
    ]
    return tuple(sorted(found, key=lambda i: (-i.share, i.name)))
