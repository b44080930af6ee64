"""Strips solved once per block for all their right-hand sides: (C + τK) x = C·base + load, tridiagonal in
depth.

One oven: the inverse of each strip as a dense matrix, so that a stage is one stack of small matrix–vector
products (small enough that no linear algebra library starts threads for them). A batch: Thomas's algorithm
over the nodes, vectorised over strips and batch.
"""

import numpy as np


class Elimination:
    """`top` is the answer of each surface to one unit of right-hand side at it; `ratio` the answer of every
    node to it over the surface's own. Matrix: `diagonal` (n, S[, B]) and the symmetric links (n − 1, S[, B]),
    all times τ already."""

    def __init__(self, capacity: np.ndarray, link: np.ndarray, diagonal: np.ndarray, load: np.ndarray):
        self._single = capacity.ndim == 2
        if self._single:
            self._invert(capacity, link, diagonal, load)
        else:
            self._factor(capacity, link, diagonal, load)

    def _invert(self, capacity, link, diagonal, load) -> None:
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

    def _factor(self, capacity, link, diagonal, load) -> None:
        n = diagonal.shape[0]
        pivot, lower = diagonal.copy(), np.empty_like(link)
        for k in range(n - 1, 0, -1):
            lower[k - 1] = link[k - 1] / pivot[k]
            pivot[k - 1] -= lower[k - 1] * link[k - 1]
        self._lower, self._inverse_pivot, self._load, self._capacity = lower, 1.0 / pivot, load, capacity
        self.ratio = np.empty_like(diagonal)
        self.ratio[0] = 1.0
        for k in range(1, n):
            self.ratio[k] = self.ratio[k - 1] * lower[k - 1]
        self.top = 1.0 / pivot[0]

    def respond(self, base: np.ndarray) -> np.ndarray:
        """Strips after a stage from `base` without heat at their hot faces."""
        if self._single:
            return np.matmul(self._propagate, base.T[:, :, None])[:, :, 0].T + self._constant
        lower = self._lower
        x = self._capacity * base
        x += self._load
        for k in range(x.shape[0] - 1, 0, -1):
            x[k - 1] += lower[k - 1] * x[k]
        x *= self._inverse_pivot
        for k in range(1, x.shape[0]):
            x[k] += lower[k - 1] * x[k - 1]
        return x
