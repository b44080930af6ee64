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
class LeastSquaresFit:
    """`residual` and `jacobian` at the solution, in the unit of the data; covariance of the unknowns."""

    unknowns: np.ndarray
    covariance: np.ndarray
    residual: np.ndarray
    jacobian: np.ndarray
    weights: np.ndarray
    cost: float
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
) -> LeastSquaresFit:
    """`evaluate(u, with_jacobian)` gives (measured − predicted, d predicted/du or None); NaN residuals are
    left out. `scale` is the standard deviation of one residual (`knee` in units of it). The prior is normal
    with mean 0 and `spread` (infinite: none) in the unknowns, or in what `prior(u)` makes of them, given with
    its derivative; `precision` (the inverse of its covariance) where they are not independent. Ends when a
    step is shorter than `tolerance` standard errors or gains less than `enough` (half squared standard
    errors), or after `most` steps; `converged` says which. Near the end derivatives are used twice, because they hardly
    change there and take most of the time."""
    spread = np.asarray(spread, float)
    precision = np.diag(1.0 / spread**2) if precision is None else precision
    objective = _Objective(evaluate, np.asarray(scale, float), knee, prior, precision)
    longest = np.where(np.isfinite(spread), np.maximum(spread, LONGEST_STEP), LONGEST_STEP)
    point, fit, _, converged = _descend(objective, start, longest, most, tolerance, damping, enough)
    if not converged:
        # Out of steps: what one more full step is expected to gain (Newton's decrement) tells whether it
        # matters.
        slope = objective.slope(point, fit.jacobian)
        converged = 0.5 * float(slope @ np.linalg.solve(fit.normal, slope)) < 1.0
    return LeastSquaresFit(
        unknowns=point.unknowns,
        covariance=np.linalg.pinv(fit.normal, hermitian=True),
        residual=point.residual,
        jacobian=fit.jacobian,
        weights=point.robust * (point.inverse > 0.0),
        cost=point.cost,
        converged=converged,
    )


@dataclass(frozen=True)
class _Point:
    """Unknowns, and the residuals there in the unit of the data and in units of `scale`, their robust weights, and
    1/scale (0 where a residual is missing)."""

    unknowns: np.ndarray
    residual: np.ndarray
    cost: float
    standard: np.ndarray
    robust: np.ndarray
    inverse: np.ndarray


@dataclass(frozen=True)
class _Tangent:
    """Jacobian, and the weighted normal matrix made of it."""

    jacobian: np.ndarray
    normal: np.ndarray


@dataclass(frozen=True)
class _Objective:
    """What is minimised: loss of the residuals and the prior's part. The arguments of `minimise`."""

    evaluate: Callable[[np.ndarray, bool], tuple[np.ndarray, np.ndarray | None]]
    scale: np.ndarray
    knee: float
    prior: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]] | None
    precision: np.ndarray

    def point(self, at: np.ndarray, residual: np.ndarray) -> _Point:
        good = np.isfinite(residual)
        inverse = np.where(good, 1.0 / self.scale, 0.0)
        standard = np.where(good, residual, 0.0) * inverse
        loss, robust = huber(standard, self.knee)
        away = at if self.prior is None else self.prior(at)[0]
        cost = float(loss.sum() + 0.5 * away @ self.precision @ away)
        return _Point(at, residual, cost if np.isfinite(cost) else np.inf, standard, robust, inverse)

    def with_jacobian(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        residual, jacobian = self.evaluate(at, True)
        assert jacobian is not None, "evaluate gives derivatives when asked for them"
        return residual, jacobian

    def slope(self, point: _Point, jacobian: np.ndarray) -> np.ndarray:
        """Downhill slope of the cost."""
        away, turn = self._prior_at(point.unknowns)
        data = jacobian.T @ (point.standard * point.robust * point.inverse)
        return data - turn.T @ (self.precision @ away)

    def tangent(self, point: _Point, jacobian: np.ndarray) -> _Tangent:
        _, turn = self._prior_at(point.unknowns)
        weighted = jacobian * (point.robust * point.inverse**2)[:, None]
        return _Tangent(jacobian, jacobian.T @ weighted + turn.T @ self.precision @ turn)

    def _prior_at(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return (at, np.eye(len(at))) if self.prior is None else self.prior(at)


def _descend(
    objective: _Objective,
    start: np.ndarray,
    longest: np.ndarray,
    most: int,
    tolerance: float,
    damping: float,
    enough: float,
) -> tuple[_Point, _Tangent, int, bool]:
    """Damped steps from `start`, each unknown by `longest` at most: (where it ends, tangent there, steps, whether it
    converged)."""
    u = np.array(start, float)
    residual, jacobian = objective.with_jacobian(u)
    point = objective.point(u, residual)
    tangent = objective.tangent(point, jacobian)
    fresh, steps, harder = True, 0, 2.0
    while steps < most:
        slope, normal = objective.slope(point, tangent.jacobian), tangent.normal
        step = np.linalg.solve(normal + damping * np.diag(np.maximum(np.diag(normal), 1e-12)), slope)
        step = np.clip(step, -longest, longest)
        length = math.sqrt(max(0.0, float(step @ normal @ step)))  # in standard errors
        if length < tolerance and damping < 0.1:
            return point, tangent, steps, True
        at = point.unknowns + step
        trial = objective.point(at, objective.evaluate(at, False)[0])
        steps += 1
        gained = point.cost - trial.cost
        if not gained >= 0.0:
            if not fresh:
                tangent = objective.tangent(point, objective.with_jacobian(point.unknowns)[1])
                fresh = True
                continue
            damping, harder = max(damping * harder, 1e-7), 2.0 * harder
            if damping > 1e8:
                # No step helps: at the minimum to rounding, or stuck; the slope in standard errors tells
                # which.
                at_minimum = math.sqrt(max(0.0, float(slope @ np.linalg.solve(normal, slope)))) < 0.1
                return point, tangent, steps, at_minimum
            continue
        expected = float(step @ slope) - 0.5 * float(step @ normal @ step)
        point = trial
        ratio = min(4.0, gained / max(expected, 1e-9 * gained + 1e-300))
        damping, harder = max(damping * max(0.1, 1.0 - (2.0 * ratio - 1.0) ** 3), 1e-10), 2.0
        reuse = fresh and length < 3.0 and ratio > 0.7
        jacobian = tangent.jacobian if reuse else objective.with_jacobian(point.unknowns)[1]
        tangent, fresh = objective.tangent(point, jacobian), not reuse
        if gained < enough and ratio > 0.25:
            return point, tangent, steps, True
    return point, tangent, steps, False
