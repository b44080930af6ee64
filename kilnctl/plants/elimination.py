"""Strips solved once per block for all their right-hand sides: (C + τK) x = C·base + load, tridiagonal in depth.

The inverse of each strip is a dense matrix, so that both stages of a step are one stack of small matrix–vector
products: small enough that no linear algebra library starts threads for them.
"""

import numpy as np


class Elimination:
    """`top` (S) is the response of each surface to one unit of right-hand side at it; `ratio` (n, S) the response of
    every node to it, relative to the surface's own. Matrix: `diagonal` (n, S) and the symmetric links (n − 1, S), all
    times τ already. A second stage starts from `ahead` times the first one's end plus (1 − ahead) times its base: each
    kelvin that heat adds to a hot face in the first stage adds `later` (S) to it in the second, without heat there, and
    `inside` (n, S) to the nodes where the second stage's hot faces are known."""

    def __init__(
        self, capacity: np.ndarray, link: np.ndarray, diagonal: np.ndarray, load: np.ndarray, ahead: float = 1.0
    ):
        n, s = diagonal.shape
        stack = np.zeros((s, n, n))
        i = np.arange(n)
        stack[:, i, i] = diagonal.T
        stack[:, i[:-1], i[1:]] = stack[:, i[1:], i[:-1]] = -link.T
        inverse = np.linalg.inv(stack)
        self.top = inverse[:, 0, 0].copy()
        self.ratio = (inverse[:, :, 0] / inverse[:, :1, 0]).T.copy()
        propagate = inverse * capacity.T[:, None, :]
        constant = np.matmul(inverse, load.T[:, :, None])
        # Without heat at the hot faces the first stage ends at P·base + c, and the second at P·(ahead·(P·base + c) +
        # (1 − ahead)·base) + c.
        both = np.empty((s, n + 2, n))
        both[:, 0], both[:, 1] = propagate[:, -1], propagate[:, 0]
        np.matmul(propagate, ahead * propagate, out=both[:, 2:])
        both[:, 2:] += (1.0 - ahead) * propagate
        always = np.empty((s, n + 2, 1))
        always[:, 0], always[:, 1] = constant[:, -1], constant[:, 0]
        np.matmul(propagate, ahead * constant, out=always[:, 2:])
        always[:, 2:] += constant
        self._propagate, self._constant = propagate, constant
        self._both, self._always = both, always
        later = np.matmul(propagate, ahead * self.ratio.T[:, :, None])[:, :, 0].T
        self.later, self.inside = later[0].copy(), later - self.ratio * later[0]

    def respond(self, base: np.ndarray) -> np.ndarray:
        """Strips (n, S) after a stage from `base` without heat at their hot faces."""
        return (np.matmul(self._propagate, base.T[:, :, None]) + self._constant)[:, :, 0].T

    def respond_twice(self, base: np.ndarray) -> np.ndarray:
        """(n + 2, S) without heat at the hot faces: last nodes and hot faces after the first stage, then all nodes
        after the second."""
        found = np.matmul(self._both, base.T[:, :, None])
        found += self._always
        return found[:, :, 0].T
