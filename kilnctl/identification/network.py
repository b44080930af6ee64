"""Thermal networks and their forward sensitivities: how every temperature of a run answers to every
parameter.

A network has nodes with a heat capacity, boundaries with a given temperature, and links between them that
carry

    q = g·(1 + r·(T1 + T2)/2)·(T1 − T2) + σ·m·(T1⁴ − T2⁴)      g in W/K, r in 1/°C, m in m², T⁴ in K

One linearly implicit Euler step (Rosenbrock form, exact tangents of q) solves, for the increments δ of the
nodes,

    C·(1 + s·T)/dt·δ = Σ ±(q + ∂q/∂T1·δ1 + ∂q/∂T2·δ2) + heat

The same equations, differentiated once more, give the exact tangent of the step; all steps of a run are
differentiated at once with the time as an array axis, and only the short recursion S ← A·S + B runs through
time. (Forward sensitivity equations: e.g. E. Hairer, S. Nørsett, G. Wanner, Solving Ordinary Differential
Equations I, 1993, I.14.)"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C


@dataclass(frozen=True)
class Network:
    """`capacity_j_per_k` per node at 0 °C, rising by the share `capacity_rise_per_k` a °C; for each link the
    two ends (nodes from 0, then boundaries), w_per_k, rise_per_k and m2."""

    capacity_j_per_k: np.ndarray
    first: tuple[int, ...]
    second: tuple[int, ...]
    w_per_k: np.ndarray
    rise_per_k: np.ndarray
    m2: np.ndarray
    capacity_rise_per_k: np.ndarray | None = None

    @property
    def nodes(self) -> int:
        return len(self.capacity_j_per_k)


#: Derivatives by the number of the node, link or boundary.
Entries = Mapping[int, float]


@dataclass(frozen=True)
class Column:
    """One unknown: for each entry of the network that it moves, the entry and its derivative with respect to
    the unknown.

    capacity {node: J/K}, capacity_rise {node: 1/°C}, w_per_k, rise_per_k, m2 {link: …}; heat {node: W at each
    step}; boundary {boundary number from 0: K}."""

    capacity: Entries = field(default_factory=dict)
    capacity_rise: Entries = field(default_factory=dict)
    w_per_k: Entries = field(default_factory=dict)
    rise_per_k: Entries = field(default_factory=dict)
    m2: Entries = field(default_factory=dict)
    heat: Mapping[int, np.ndarray] = field(default_factory=dict)
    boundary: Entries = field(default_factory=dict)


def run(
    network: Network, start_c: np.ndarray, heat_w: np.ndarray, boundary_c: np.ndarray, dt_s: np.ndarray
) -> np.ndarray:
    """Temperatures after every step, with the start in row 0: heat_w (steps, nodes), boundary_c (steps,
    boundaries), dt_s (steps,)."""
    n, links = (
        network.nodes,
        list(
            zip(
                network.first,
                network.second,
                network.w_per_k.tolist(),
                network.rise_per_k.tolist(),
                (STEFAN_BOLTZMANN * np.asarray(network.m2)).tolist(),
            )
        ),
    )
    capacity, warming = np.asarray(network.capacity_j_per_k).tolist(), _rise(network).tolist()
    x = [float(t) for t in start_c]
    out = [x]
    for heat, around, dt in zip(
        np.asarray(heat_w).tolist(), np.asarray(boundary_c).tolist(), np.asarray(dt_s).tolist()
    ):
        m = [[0.0] * n for _ in range(n)]
        right, t = list(heat), x + around
        for i in range(n):
            m[i][i] = capacity[i] * (1.0 + warming[i] * x[i]) / dt
        for one, two, g, r, s in links:
            t1, t2 = t[one], t[two]
            k1, k2 = t1 + ZERO_C, t2 + ZERO_C
            q = g * (1.0 + 0.5 * r * (t1 + t2)) * (t1 - t2) + s * (k1**4 - k2**4)
            a, b = g * (1.0 + r * t1) + 4.0 * s * k1**3, g * (1.0 + r * t2) + 4.0 * s * k2**3
            for here, sign in ((one, 1.0), (two, -1.0)):
                if here < n:
                    right[here] -= sign * q
                    if one < n:
                        m[here][one] += sign * a
                    if two < n:
                        m[here][two] -= sign * b
        x = [before + change for before, change in zip(x, _eliminate(m, right))]
        out.append(x)
    return np.array(out)


def _eliminate(m: list[list[float]], right: list[float]) -> list[float]:
    """Gaussian elimination in plain floats; a network's matrix is diagonally dominant and needs no pivoting."""
    n = len(right)
    for i in range(n):
        row, pivot = m[i], m[i][i]
        for j in range(i + 1, n):
            if m[j][i] != 0.0:
                factor = m[j][i] / pivot
                below = m[j]
                for k in range(i + 1, n):
                    below[k] -= factor * row[k]
                right[j] -= factor * right[i]
    for i in range(n - 1, -1, -1):
        right[i] = (right[i] - sum(m[i][k] * right[k] for k in range(i + 1, n))) / m[i][i]
    return right


def tangents(
    network: Network,
    x_c: np.ndarray,
    boundary_c: np.ndarray,
    dt_s: np.ndarray,
    columns: list[Column],
    feedback: dict[int, np.ndarray] | None = None,
):
    """(A, B) of every step: A (steps, nodes, nodes) to the temperatures before, B (steps, nodes, unknowns) to
    the unknowns.

    x_c (steps + 1, nodes) is the run itself; `feedback` {node: W/K at each step} how its heat depends on its
    own temperature. The tangent is exact for the discrete step, not only for the equation."""
    n = network.nodes
    x, delta = x_c[:-1], np.diff(x_c, axis=0)
    m, k, links = _assemble(network, x, boundary_c, delta, dt_s)
    for node, slope in (feedback or {}).items():
        k[:, node, node] += slope
    inverse = np.linalg.inv(m)
    a = np.matmul(inverse, k)
    a[:, range(n), range(n)] += 1.0
    b = np.zeros((len(x), n, len(columns)))
    padded = np.concatenate((inverse, np.zeros((len(x), n, boundary_c.shape[1]))), axis=2)

    def into(link: int) -> np.ndarray:
        """Answer of the nodes to one watt more in a link: out of its first end, into its second."""
        return padded[:, :, network.second[link]] - padded[:, :, network.first[link]]

    warming = 1.0 + _rise(network) * x
    for c, column in enumerate(columns):
        for kind in ("w_per_k", "rise_per_k", "m2"):
            for link, size in getattr(column, kind).items():
                b[:, :, c] += into(link) * (size * _by_parameter(network, links[link], link, kind))[:, None]
        for node, size in column.capacity.items():
            b[:, :, c] -= inverse[:, :, node] * (size * warming[:, node] * delta[:, node] / dt_s)[:, None]
        for node, size in column.capacity_rise.items():
            b[:, :, c] -= (
                inverse[:, :, node]
                * (size * network.capacity_j_per_k[node] * x[:, node] * delta[:, node] / dt_s)[:, None]
            )
        for node, watts in column.heat.items():
            b[:, :, c] += inverse[:, :, node] * np.asarray(watts)[:, None]
        for link, slope in _by_boundary(network, links, column.boundary):
            b[:, :, c] += into(link) * slope[:, None]
    return a, b


def _by_boundary(network: Network, links, boundary: Entries) -> Iterator[tuple[int, np.ndarray]]:
    """Links at these boundaries, each with the watts more that it carries, (steps,), per unit of the unknown. A
    boundary has no increment: only the flow itself moves, and the tangents kept in it."""
    for number, kelvin in boundary.items():
        node = network.nodes + number
        for link, (first, second) in enumerate(zip(network.first, network.second)):
            if first == node:
                yield link, kelvin * links[link][4]
            elif second == node:
                yield link, -(kelvin * links[link][5])


def recur(a: np.ndarray, b: np.ndarray, start: np.ndarray, keep: tuple[int, ...]) -> np.ndarray:
    """S ← A·S + B through all steps; rows `keep` of S after each step, with the start first: (steps + 1,
    len(keep), unknowns)."""
    s = np.array(start, float)
    out = np.empty((len(a) + 1, len(keep), s.shape[1]))
    rows = list(keep)
    out[0] = s[rows]
    for i in range(len(a)):
        s = a[i] @ s
        s += b[i]
        out[i + 1] = s[rows]
    return out


def _assemble(network: Network, x: np.ndarray, boundary: np.ndarray, delta: np.ndarray, dt: np.ndarray):
    """Matrix of the step, matrix of its derivative to the start, and what each link was made of."""
    n = network.nodes
    m = np.zeros((len(x), n, n))
    k = np.zeros((len(x), n, n))
    rate = np.asarray(network.capacity_j_per_k)[None, :] / dt[:, None]
    m[:, range(n), range(n)] = rate * (1.0 + _rise(network) * x)
    k[:, range(n), range(n)] = -rate * _rise(network) * delta
    links = []
    for link, (one, two) in enumerate(zip(network.first, network.second)):
        g, r, s = network.w_per_k[link], network.rise_per_k[link], STEFAN_BOLTZMANN * network.m2[link]
        t1, d1 = (x[:, one], delta[:, one]) if one < n else (boundary[:, one - n], 0.0)
        t2, d2 = (x[:, two], delta[:, two]) if two < n else (boundary[:, two - n], 0.0)
        k1, k2 = t1 + ZERO_C, t2 + ZERO_C
        a = g * (1.0 + r * t1) + 4.0 * s * k1**3
        b = g * (1.0 + r * t2) + 4.0 * s * k2**3
        # Derivatives of q + a·d1 − b·d2 to the two temperatures at the start of the step.
        to_1 = a + (g * r + 12.0 * s * k1**2) * d1
        to_2 = b + (g * r + 12.0 * s * k2**2) * d2
        links.append((t1, t2, d1, d2, to_1, to_2))
        for here, sign in ((one, 1.0), (two, -1.0)):
            if here >= n:
                continue
            if one < n:
                m[:, here, one] += sign * a
                k[:, here, one] -= sign * to_1
            if two < n:
                m[:, here, two] -= sign * b
                k[:, here, two] += sign * to_2
    return m, k, links


def _rise(network: Network) -> np.ndarray:
    return np.zeros(network.nodes) if network.capacity_rise_per_k is None else network.capacity_rise_per_k


def _by_parameter(network: Network, parts, link: int, kind: str) -> np.ndarray:
    """Derivative of q + a·d1 − b·d2 of a link to its conductance, its rise or its radiating area."""
    t1, t2, d1, d2, _, _ = parts
    if kind == "m2":
        k1, k2 = t1 + ZERO_C, t2 + ZERO_C
        return STEFAN_BOLTZMANN * (k1**4 - k2**4 + 4.0 * k1**3 * d1 - 4.0 * k2**3 * d2)
    curved = 0.5 * (t1 * t1 - t2 * t2) + t1 * d1 - t2 * d2
    if kind == "rise_per_k":
        return network.w_per_k[link] * curved
    return t1 - t2 + d1 - d2 + network.rise_per_k[link] * curved
