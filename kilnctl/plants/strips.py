"""The positions of the nodes in a wall or a load: at layer joints and, finer towards the hot face, inside the layers.

A node at a joint holds half a cell of either material, so the temperature of every joint is a node of its own and a
plane wall is second order in the spacing. All strips of an oven get the same number of nodes, which keeps the solver
free of loops; thin conductive layers get few, the insulation behind the hot face most.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np


@dataclass(frozen=True)
class StripLayer:
    """One layer as the solver needs it: a row of the property tables, its thickness, and scale factors for studies.

    `slices`: the layer's areas over the hot face's by depth, where a wall widens outward; (share of the thickness,
    what conducts, what holds heat). `insulance_m2k_per_w` is a contact resistance at the layer's *outer* side, on the
    area `spread` over the hot face's; zero for none.
    """

    row: int
    thickness_m: float
    density_kg_per_m3: float
    diffusivity_m2_per_s: float
    conductivity_scale: float = 1.0
    insulance_m2k_per_w: float = 0.0
    spread: float = 1.0
    slices: tuple[tuple[float, float, float], ...] = ((1.0, 1.0, 1.0),)

    def within(self, near: float, far: float) -> tuple[float, float]:
        """(thickness over area, thickness times area) between two depths, as shares of the layer's thickness."""
        resists = holds = at = 0.0
        for share, conducts, held in self.slices:
            part = max(0.0, min(far, at + share) - max(near, at))
            resists, holds, at = resists + part / conducts, holds + part * held, at + share
        return resists, holds


@dataclass(frozen=True)
class Strip:
    """One-dimensional column of nodes: arrays over its n − 1 intervals, per square metre of the hot face.

    row              row of the property tables
    per_length       conductivity scale / interval length, 1/m; 0 for a contact
    contact          conductance of a contact, W/(m²·K); 0 for material
    mass             half of the interval's mass, kg/m², which belongs to each of its two nodes
    depth_m          depth of the n nodes below the hot face
    """

    row: np.ndarray
    per_length: np.ndarray
    contact: np.ndarray
    mass: np.ndarray
    depth_m: np.ndarray


def fewest_nodes(slabs: Sequence[StripLayer]) -> int:
    """One node at each face and joint, two at a joint with contact resistance."""
    return 1 + len(slabs) + sum(s.insulance_m2k_per_w > 0.0 for s in slabs[:-1])


def divide(slabs: Sequence[StripLayer], nodes: int, first_s: float = 5.0, growth: float = 0.3, split: int = 1) -> Strip:
    """Place `nodes` nodes in the slabs, hot face first.

    The wanted spacing is `growth` times the depth below the hot face plus the distance that heat diffuses in `first_s`
    seconds, depth measured in diffusion lengths (m/sqrt(diffusivity)). `split` refines the grid that many times,
    keeping its grading. Raises ValueError when the nodes are too few.
    """
    if nodes < fewest_nodes(slabs):
        raise ValueError(f"{nodes} nodes cannot resolve {len(slabs)} layers")
    contacts = sum(s.insulance_m2k_per_w > 0.0 for s in slabs[:-1])
    first = math.sqrt(first_s)
    edges = [0.0]
    for slab in slabs:
        edges.append(edges[-1] + slab.thickness_m / math.sqrt(slab.diffusivity_m2_per_s))
    shares = [math.log((first + growth * b) / (first + growth * a)) for a, b in pairwise(edges)]
    counts = [count * split for count in _apportion(shares, nodes - 1 - contacts)]
    counts[0] += contacts * (split - 1)  # a contact is not split; every strip must still get the same number of nodes
    row, per_length, contact, mass, depth = [], [], [], [], [0.0]
    for i, (slab, count, (near, far)) in enumerate(zip(slabs, counts, pairwise(edges), strict=True)):
        ratio = (first + growth * far) / (first + growth * near)
        ends = [first + growth * near]
        ends += [ends[0] * ratio ** ((j + 1) / count) for j in range(count)]
        span = ends[-1] - ends[0]
        for a, b in pairwise(ends):
            resists, holds = slab.within((a - ends[0]) / span, (b - ends[0]) / span)
            row.append(slab.row)
            per_length.append(slab.conductivity_scale / (slab.thickness_m * resists))
            contact.append(0.0)
            mass.append(0.5 * slab.density_kg_per_m3 * slab.thickness_m * holds)
            depth.append(depth[-1] + slab.thickness_m * (b - a) / span)
        if slab.insulance_m2k_per_w > 0.0 and i < len(slabs) - 1:
            row.append(slab.row)
            per_length.append(0.0)
            contact.append(slab.spread / slab.insulance_m2k_per_w)
            mass.append(0.0)
            depth.append(depth[-1])
    return Strip(np.array(row), np.array(per_length), np.array(contact), np.array(mass), np.array(depth))


def _apportion(shares: Sequence[float], total: int) -> list[int]:
    """Whole numbers of at least one, in proportion to `shares`, summing to `total`."""
    counts = [1] * len(shares)
    for _ in range(total - len(shares)):
        # Give the next interval to the layer whose intervals are coarsest.
        worst = max(range(len(shares)), key=lambda i: (shares[i] / counts[i], -i))
        counts[worst] += 1
    return counts
