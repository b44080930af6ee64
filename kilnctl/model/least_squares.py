"""Weighted least squares with priors: the smallest Σ ρ(residual) + Σ ((u − mean)/spread)², by damped
Gauss–Newton steps.

Damping after D. W. Marquardt, J. SIAM 11 (1963) 431, renewed by the gain ratio (H. B. Nielsen,
IMM-REP-1999-05); Huber's loss by iteratively reweighted squares (P. J. Huber, Robust Statistics, 1981,
section 7.8). At the solution the inverse of the weighted normal matrix is the covariance (Laplace's
approximation: prior and data together), so little data leaves the prior's spread and much data overrules it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

#: No unknown moves further than this many prior spreads, or this much in a logarithm, in one step.
LONGEST_STEP = 1.0


@dataclass(frozen=True)
class Estimate:
    """`residual` and `jacobian` at the solution, in the unit of the data; covariance of the unknowns."""

    unknowns: np.ndarray
    covariance: np.ndarray
    residual: np.ndarray
    jacobian: np.ndarray
    weights: np.ndarray
    cost: float
    iterations: int
    converged: bool


def huber(standardised: np.ndarray, knee: float) -> tuple[np.ndarray, np.ndarray]:
    """(loss, weight) of residuals in units of their spread: quadratic up to the knee, then linear."""
    size = np.abs(standardised)
    within = np.minimum(size, knee)
    with np.errstate(over="ignore"):
        loss = within * (size - 0.5 * within)
    return loss, np.where(size <= knee, 1.0, within / np.maximum(size, 1e-300))


def minimise(
    evaluate: Callable[[np.ndarray, bool], tuple[np.ndarray, np.ndarray | None]],
    start: np.ndarray,
    spread: np.ndarray,
    scale: np.ndarray | float,
    *,
    prior: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]] | None = None,
    precision: np.ndarray | None = None,
    knee: float = np.inf,
    most: int = 40,
    tolerance: float = 1e-3,
    damping: float = 1e-3,
    enough: float = 0.0,
) -> Estimate:
    """`evaluate(u, with_jacobian)` gives (measured − predicted, d predicted/du or None); NaN residuals are
    left out. `scale` is the standard deviation of one residual (`knee` in units of it). The prior is normal
    with mean 0 and `spread` (infinite: none) in the unknowns, or in what `prior(u)` makes of them, given with
    its derivative; `precision` (the inverse of its covariance) where they are not independent. Ends when a
    step is shorter than `tolerance` standard errors or gains less than `enough` (half squared standard
    errors), or after `most` steps; `converged` says which. Close to the end derivatives are used twice, as
    they hardly change there and cost most of the time."""
    u = np.array(start, float)
    spread = np.asarray(spread, float)
    precision = np.diag(1.0 / spread**2) if precision is None else precision
    identity = np.eye(len(u))
    longest_each = np.where(np.isfinite(spread), np.maximum(spread, LONGEST_STEP), LONGEST_STEP)
    scale = np.asarray(scale, float)

    def weigh(residual: np.ndarray, at: np.ndarray):
        good = np.isfinite(residual)
        inverse = np.where(good, 1.0 / scale, 0.0)
        standard = np.where(good, residual, 0.0) * inverse
        loss, robust = huber(standard, knee)
        away = at if prior is None else prior(at)[0]
        cost = float(loss.sum() + 0.5 * away @ precision @ away)
        return (cost if np.isfinite(cost) else np.inf), standard, robust, inverse

    def priors(at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Slope and curvature of the prior's part."""
        away, turn = (at, identity) if prior is None else prior(at)
        return turn.T @ (precision @ away), turn.T @ precision @ turn

    def normal_of(jacobian: np.ndarray, robust: np.ndarray, inverse: np.ndarray, at: np.ndarray) -> np.ndarray:
        return jacobian.T @ (jacobian * (robust * inverse**2)[:, None]) + priors(at)[1]

    residual, jacobian = evaluate(u, True)
    cost, standard, robust, inverse = weigh(residual, u)
    converged, fresh, steps, harder = False, True, 0, 2.0
    normal = normal_of(jacobian, robust, inverse, u)
    while steps < most:
        slope = jacobian.T @ (standard * robust * inverse) - priors(u)[0]
        step = np.linalg.solve(normal + damping * np.diag(np.maximum(np.diag(normal), 1e-12)), slope)
        step = np.clip(step, -longest_each, longest_each)
        length = math.sqrt(max(0.0, float(step @ normal @ step)))  # in standard errors
        if length < tolerance and damping < 0.1:
            converged = True
            break
        trial, _ = evaluate(u + step, False)
        weighed = weigh(trial, u + step)
        steps += 1
        gained = cost - weighed[0]
        if not gained >= 0.0:
            if not fresh:
                _, jacobian = evaluate(u, True)
                normal, fresh = normal_of(jacobian, robust, inverse, u), True
                continue
            damping, harder = max(damping * harder, 1e-7), 2.0 * harder
            if damping > 1e8:
                # No step helps: at the minimum to rounding, or stuck; the slope in standard errors tells
                # which.
                converged = math.sqrt(max(0.0, float(slope @ np.linalg.solve(normal, slope)))) < 0.1
                break
            continue
        expected = float(step @ slope) - 0.5 * float(step @ normal @ step)
        u, residual = u + step, trial
        cost, standard, robust, inverse = weighed
        ratio = min(4.0, gained / max(expected, 1e-9 * gained + 1e-300))
        damping, harder = max(damping * max(0.1, 1.0 - (2.0 * ratio - 1.0) ** 3), 1e-10), 2.0
        if gained < enough and ratio > 0.25:
            converged = True
            most = steps
        reuse = fresh and length < 3.0 and ratio > 0.7
        if not reuse:
            _, jacobian = evaluate(u, True)
        normal, fresh = normal_of(jacobian, robust, inverse, u), not reuse
    if not converged:
        # Out of steps: what one more full step is expected to gain (Newton's decrement) tells whether it
        # matters.
        slope = jacobian.T @ (standard * robust * inverse) - priors(u)[0]
        converged = 0.5 * float(slope @ np.linalg.solve(normal, slope)) < 1.0
    covariance = np.linalg.pinv(normal, hermitian=True)
    return Estimate(u, covariance, residual, jacobian, robust * (inverse > 0.0), cost, steps, converged)
