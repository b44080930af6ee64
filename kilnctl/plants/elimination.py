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
        stack, beside = np.zeros((s, n * n)), -link.T
        # Diagonals as views: indices as arrays take three times as long.
        stack[:, :: n + 1], stack[:, 1 :: n + 1], stack[:, n :: n + 1] = diagonal.T, beside, beside
        inverse = np.linalg.inv(stack.reshape(s, n, n))
        self.top = inverse[:, 0, 0].copy()
        self.ratio = (inverse[:, :, 0] / inverse[:, :1, 0]).T.copy()
        propagate = inverse * capacity.T[:, None, :]
        constant = np.matmul(inverse, load.T[:, :, None])
        self._propagate, self._constant, self._ahead = propagate, constant, ahead
        #: Both stages as one product; made once it is used again: a long step has its own elimination.
        self._both: np.ndarray | None = None
        self._always, self._used = constant, False
        later = np.matmul(propagate, ahead * self.ratio.T[:, :, None])[:, :, 0].T
        self.later, self.inside = later[0].copy(), later - self.ratio * later[0]

    def respond(self, base: np.ndarray) -> np.ndarray:
        """Strips (n, S) after a stage from `base` without heat at their hot faces."""
        return (np.matmul(self._propagate, base.T[:, :, None]) + self._constant)[:, :, 0].T

    def respond_twice(self, base: np.ndarray) -> np.ndarray:
        """(n + 2, S) without heat at the hot faces: last nodes and hot faces after the first stage, then all nodes
        after the second."""
        if not self._used:
            self._used = True
            once = self.respond(base)
            return np.concatenate((once[-1:], once[:1], self.respond(self._ahead * once + (1.0 - self._ahead) * base)))
        if self._both is None:
            self._both, self._always = self._together()
        found = np.matmul(self._both, base.T[:, :, None])
        found += self._always
        return found[:, :, 0].T

    def _together(self) -> tuple[np.ndarray, np.ndarray]:
        """The first stage ends at P·base + c, and the second at P·(ahead·(P·base + c) + (1 − ahead)·base) + c: matrices
        (S, n + 2, n) and constants (S, n + 2, 1) of what `respond_twice` returns."""
        propagate, constant, ahead = self._propagate, self._constant, self._ahead
        s, n = propagate.shape[:2]
        both = np.empty((s, n + 2, n))
        both[:, 0], both[:, 1] = propagate[:, -1], propagate[:, 0]
        np.matmul(propagate, ahead * propagate, out=both[:, 2:])
        both[:, 2:] += (1.0 - ahead) * propagate
        always = np.empty((s, n + 2, 1))
        always[:, 0], always[:, 1] = constant[:, -1], constant[:, 0]
        np.matmul(propagate, ahead * constant, out=always[:, 2:])
        always[:, 2:] += constant
        return both, always
