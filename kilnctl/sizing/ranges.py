"""Ranges of the figures: what is uncertain in a description, how much, and how it adds up.

Each input is moved to both ends of its tolerance, one at a time. Between its ends it may be anywhere (a uniform
distribution, standard uncertainty = half width / √3); the effects are added root-sum-square and covered twice (JCGM
100, sections 4.3.7, 5.1 and 6.2), which holds about 95 % of the draws. `tools/bench/boxes --draws` prints how many.
"""

import math
from dataclasses import dataclass

from ..body.steady import Factors
from ..settings.oven import Oven

#: Natural convection, inside and outside: correlations against experiments (common practice).
FILM_UNCERTAINTY = 0.2
#: The door's gap as built: half or twice the leak.
LEAK_FACTOR = 2.0
#: What edges and corners add: layers butted, mitred or lapped, and what fastens them (an estimate).
EDGES = 0.25
#: Thickness as built; blanket is pressed, brick comes within 2 % (common practice).
THICKNESS = 0.05
#: Emissivity of the outside: paint, dust and oxide change it (absolute; an estimate).
OUTER_EMISSIVITY = 0.1
#: Of the room against the description, K: a workshop kept at a temperature (an estimate).
ROOM_K = 3.0
#: Resistance of the elements as wound against the description, relative: gauge and length (common practice).
WOUND = 0.05
#: From half widths of uniform distributions, added root-sum-square, to two standard uncertainties.
COVERAGE = 2.0 / math.sqrt(3.0)


@dataclass(frozen=True)
class Range:
    """A figure and the interval in which it should lie."""

    value: float
    low: float
    high: float


def pairs_of(oven: Oven) -> list[tuple[Factors, Factors]]:
    """The uncertain inputs of a steady state, each at both ends of its tolerance."""
    u = oven.uncertainty
    return [
        (Factors(conductivity=1 - u.conductivity), Factors(conductivity=1 + u.conductivity)),
        (Factors(emissivity=1 - u.emissivity), Factors(emissivity=1 + u.emissivity)),
        (Factors(film=1 - FILM_UNCERTAINTY), Factors(film=1 + FILM_UNCERTAINTY)),
        (Factors(leakage=1 / LEAK_FACTOR), Factors(leakage=LEAK_FACTOR)),
        (Factors(edges=1 - EDGES), Factors(edges=1 + EDGES)),
        (Factors(thickness=1 - THICKNESS), Factors(thickness=1 + THICKNESS)),
        (Factors(outside=1 - FILM_UNCERTAINTY), Factors(outside=1 + FILM_UNCERTAINTY)),
        (Factors(outer_emissivity=-OUTER_EMISSIVITY), Factors(outer_emissivity=OUTER_EMISSIVITY)),
    ]


def heat_up_pairs(oven: Oven, edge_share: float, leak_share: float) -> list[tuple[dict[str, float], dict[str, float]]]:
    """The uncertain inputs of a heat-up as factors on parameters of the control model, each at both ends. edge_share:
    of the walls' conduction, what edges and corners add. leak_share: of what bypasses the walls, what leaks round the
    door; the model has one conductance for that and for vent, ports and bridges, which are as stated."""
    u, t = oven.uncertainty, oven.supply.tolerance
    edges = EDGES * edge_share

    def both(heat: float, passed: float) -> dict[str, float]:
        return {"lining_j_per_k": heat, "lining_w_per_k": passed}

    def bypassing(leakage: float) -> dict[str, float]:
        return {"leak_w_per_k": 1.0 + leak_share * (leakage - 1.0)}

    def stored(factor: float) -> dict[str, float]:
        return {"lining_j_per_k": factor, "contents_j_per_k": factor, "element_j_per_k": factor}

    return [
        (stored(1 - u.heat_capacity), stored(1 + u.heat_capacity)),
        (both(1.0, 1 - u.conductivity), both(1.0, 1 + u.conductivity)),
        (both(1 - THICKNESS, 1 / (1 - THICKNESS)), both(1 + THICKNESS, 1 / (1 + THICKNESS))),
        (both(1 - edges, 1 - edges), both(1 + edges, 1 + edges)),
        (bypassing(1 / LEAK_FACTOR), bypassing(LEAK_FACTOR)),
        ({"power_w": (1 + t) ** 2}, {"power_w": (1 - t) ** 2}),
        ({"power_w": 1 + WOUND}, {"power_w": 1 - WOUND}),
    ]


def spread(value: float, changed: list[tuple[float, float]]) -> Range:
    """The range of a value from what it becomes at the two ends of each input."""
    up = COVERAGE * math.sqrt(sum(max(0.0, max(a, b) - value) ** 2 for a, b in changed))
    down = COVERAGE * math.sqrt(sum(max(0.0, value - min(a, b)) ** 2 for a, b in changed))
    return Range(float(value), float(value - down), float(value + up))


def spread_of_time(value_s: float, changed: list[tuple[float, float]]) -> Range:
    """The range of a time, s, above zero, from the factors by which the two ends of each input change it; an infinite
    one says that it may never come. Factors, not seconds: near what the power can hold a time grows without bound, and
    a sum of seconds would reach below zero."""
    logs = spread(0.0, [(math.log(a), math.log(b)) for a, b in changed])
    return Range(float(value_s), value_s * math.exp(logs.low), value_s * math.exp(logs.high))
