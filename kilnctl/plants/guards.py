"""What keeps the heat balance right in unusual ovens: foil that cools within a fraction of a step, an element that
melts within a tick."""

import math

import numpy as np

from .property_tables import HIGHEST_K, LOWEST_K, STEP_K

#: A step in which the air or a node moves by more than this, K, is halved: the frozen coefficients would change too
#: much within it.
LEAP_K = 100.0
#: A step that ends colder than everything around it by more than this, K, is halved too.
UNDERSHOOT_K = 0.5
#: Shortest step from halving, s.
SHORTEST_S = 0.02
#: Expected temperatures that differ by more than this, K, are limited to the range of everything around.
FAR_K = 25.0
#: Limit for expected temperatures, K: the end of the tables.
TOP_K = HIGHEST_K - 0.1
#: After a chord step a node may miss its temperature by this, K; else it is found by so many halvings of the tables.
MISSED_K, HALVINGS = 1e-3, 48
#: A tick in which an element may melt is cut into parts in which it rises by at most this, K.
MELTING_STEP_K = 150.0


def coldest_k(core) -> float:
    """The coldest temperature in and around the oven, K; nothing dry becomes colder."""
    return min(float(np.min(x)) for x in (core.nodes_k, core.surfaces_k, core.air_k, core.around.ambient_k))


def hottest_k(core) -> float:
    """The hottest temperature in and around the oven, K; nothing without its own heat source becomes hotter."""
    return max(float(np.max(x)) for x in (core.nodes_k, core.surfaces_k, core.air_k, core.around.ambient_k))


def enclosed(core, wanted_j: np.ndarray, capacity_j_per_k: np.ndarray) -> np.ndarray:
    """Temperatures, K, at which the nodes hold `wanted_j`, where a heat capacity is so steep that a chord misses them
    (steel at 735 °C): the enthalpy rises with the temperature, so halving an interval finds them."""
    nodes = core.nodes_k
    if not (np.abs(wanted_j - core.enthalpy_j(nodes)) > MISSED_K * capacity_j_per_k).any():
        return nodes
    low, high = np.full_like(nodes, LOWEST_K), np.full_like(nodes, HIGHEST_K - STEP_K)
    for _ in range(HALVINGS):
        nodes = 0.5 * (low + high)
        above = core.enthalpy_j(nodes) > wanted_j
        low, high = np.where(above, low, nodes), np.where(above, nodes, high)
    return nodes


def must_halve(core, after) -> bool:
    """Whether something has jumped in the step from the core's state to `after`, or has become colder than possible:
    the method damps fast changes, but does not stop them from overshooting their surroundings."""
    nodes, surfaces, air, star, _ = after
    if max(abs(air - core.air_k), core.moved_k) > LEAP_K:
        return True
    if star > 0.0 and min(nodes.min(), surfaces.min(), air) > core.around.ambient_k - UNDERSHOOT_K:
        return False
    lowest = min(float(np.min(x)) for x in (nodes, surfaces, air))
    return not (lowest > coldest_k(core) - UNDERSHOOT_K and star > 0.0)


def parts_to_melt(rise_k: float, element_c: float, melts_c: float) -> int:
    """Into how many parts a tick is cut so that a melting element is noticed before it is much hotter than its melting
    point. `rise_k`: its rise in this tick without losses, K."""
    if rise_k <= MELTING_STEP_K or element_c + rise_k < melts_c:
        return 1
    return min(math.ceil(rise_k / MELTING_STEP_K), 1000)


def beyond_range(plant, error: Exception) -> str:
    """The message for temperatures outside the range of every formula."""
    oven = plant.oven
    fan = f" and {oven.fan.power_w:g} W of the fan" if oven.fan else ""
    return (
        f"{oven.name}: after {plant.time_s:.0f} s the virtual oven is outside the range of its formulas ({error}); "
        f"the air is at {plant.air_c:.0f} °C, the elements are at {plant.element_c:.0f} °C. "
        f"More heat goes in than can get out of this chamber: {oven.elements.power_w:g} W of the elements{fan}"
    )
