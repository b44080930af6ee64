"""Fit any small thermal network to any record with the machinery of the oven's own fit: exact sensitivities,
priors, robust loss.

Somebody with another apparatus (a hot plate, a lamp over a sample, a wall under test) says how unknowns make
a network; the fit returns them with their errors. The search starts from several given points, always the
same, and keeps the best."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from kilnctl.identification.network import Column, Network, recur, run, tangents
from kilnctl.model.least_squares import LeastSquaresFit, minimise


@dataclass(frozen=True)
class Built:
    """A network for one set of unknowns, and how it answers to them.

    columns[j] says where unknown j enters; start_c (nodes,) and start_by (nodes, unknowns) the starting
    temperatures and their derivatives; heat_w (steps, nodes), boundary_c (steps, boundaries), dt_s (steps,);
    `output(x)` gives what is measured from the temperatures (steps + 1, nodes), its derivative to them (steps
    + 1, nodes), and its own to the unknowns (or None)."""

    network: Network
    columns: Sequence[Column]
    start_c: np.ndarray
    start_by: np.ndarray
    heat_w: np.ndarray
    boundary_c: np.ndarray
    dt_s: np.ndarray
    output: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray | None]]


def free_run(built: Built) -> tuple[np.ndarray, np.ndarray]:
    """(what would be measured at every sample, its derivatives to the unknowns)."""
    x = run(built.network, built.start_c, built.heat_w, built.boundary_c, built.dt_s)
    a, b = tangents(built.network, x, built.boundary_c, built.dt_s, list(built.columns))
    s = recur(a, b, built.start_by, tuple(range(built.network.nodes)))
    value, by_node, direct = built.output(x)
    jacobian = np.einsum("in,inj->ij", by_node, s)
    return value, jacobian if direct is None else jacobian + direct


def fit_network(
    build: Callable[[np.ndarray], Built],
    measured: np.ndarray,
    starts: Sequence[Sequence[float]],
    spread: Sequence[float],
    scale: float,
    *,
    prior_mean: Sequence[float] | None = None,
    knee: float = np.inf,
    most: int = 100,
) -> LeastSquaresFit:
    """The unknowns that make the free run follow `measured` (NaN: left out). `spread` of the prior around
    `prior_mean` (infinite: none), `scale` standard deviation of one residual. Every start is tried; the best
    is returned. Raises ValueError when none works."""
    measured = np.asarray(measured, float)
    mean = np.zeros(len(spread)) if prior_mean is None else np.asarray(prior_mean, float)

    def evaluate(u: np.ndarray, with_jacobian: bool):
        try:
            value, jacobian = free_run(build(u))
        except (OverflowError, ValueError, np.linalg.LinAlgError):
            return np.full(len(measured), 1e30), None
        return measured - value, jacobian if with_jacobian else None

    def prior(u: np.ndarray):
        return u - mean, np.eye(len(u))

    best = None
    for start in starts:
        with np.errstate(over="ignore", invalid="ignore"):
            try:
                found = minimise(
                    evaluate,
                    np.array(start, float),
                    np.asarray(spread, float),
                    scale,
                    prior=prior,
                    knee=knee,
                    most=most,
                )
            except (np.linalg.LinAlgError, TypeError):
                continue  # this start leads nowhere
        if np.isfinite(found.cost) and (best is None or found.cost < best.cost):
            best = found
    if best is None:
        raise ValueError("starts: from none of them does the network follow the record at all")
    return best
