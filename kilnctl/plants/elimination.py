"""Strips solved once per block for all their right-hand sides: (C + τK) x = C·base + load, tridiagonal in depth.

The inverse of each strip is a dense matrix, so that a stage is one stack of small matrix–vector products: small enough
that no linear algebra library starts threads for them.
"""

import numpy as np


class Elimination:
    """`top` (S) is the response of each surface to one unit of right-hand side at it; `ratio` (n, S) the response of
    every node to it, relative to the surface's own. Matrix: `diagonal` (n, S) and the symmetric links (n − 1, S), all
    times τ already."""

    def __init__(self, capacity: np.ndarray, link: np.ndarray, diagonal: np.ndarray, load: np.ndarray):
        n, s = diagonal.shape
        stack = np.zeros((s, n, n))
        i = np.arange(n)
        stack[:, i, i] = diagonal.T
        stack[:, i[:-1], i[1:]] = stack[:, i[1:], i[:-1]] = -link.T
        inverse = np.linalg.inv(stack)
        self.top = inverse[:, 0, 0].copy()
        self.ratio = (inverse[:, :, 0] / inverse[:, :1, 0]).T.copy()
        self._constant = np.matmul(inverse, load.T[:, :, None])[:, :, 0].T.copy()
        self._propagate = inverse * capacity.T[:, None, :]

    def respond(self, base: np.ndarray) -> np.ndarray:
        """Strips after a stage from `base` without heat at their hot faces."""
        return np.matmul(self._propagate, base.T[:, :, None])[:, :, 0].T + self._constant
